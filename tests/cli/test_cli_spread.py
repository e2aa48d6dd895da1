"""`wareleaf spread` at the shell: from a file and from a works, here and on a cluster."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

import wareleaf.works.demo
from wareleaf.cli.main import cli
from wareleaf.works import cluster as clusters
from wareleaf.works.house import create_works

DEMO = Path(wareleaf.works.demo.__file__).parent
BELT = {
    "leaf": "sugar_kelp_blanched",
    "moisture_wb": 0.9,
    "residence_h": 2.5,
    "feed_kg_h": 300.0,
    "runs": 60,
    "dryer": {
        "area_m2": 40.0,
        "zones": [{"share": 1.0, "inlet_c": 60.0, "velocity_m_s": 1.0, "recirculated": 0.6}],
        "layers": 3,
        "steps": 10,
    },
}


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "belt.json"
    path.write_text(json.dumps(BELT), "utf-8")
    return str(path)


def run(*words, stdin=None):
    return CliRunner().invoke(cli, ["spread", *words], input=stdin)


def test_from_a_file_with_a_histogram_for_people(file):
    done = run("--input", file, "--limit", "20 %", "--workers", "1")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("60 runs: ")
    assert "wetter than 20.0 %" in done.stdout
    assert "█" in done.stdout


def test_from_standard_input_in_json_as_the_door_gives_it():
    from wareleaf.works import doors

    done = run("--input", "-", "--json", "--runs", "40", stdin=json.dumps(BELT))
    assert done.exit_code == 0, done.output
    made = json.loads(done.stdout)
    door = doors.call("dryer-spread", BELT | {"runs": 40})
    assert made == {k: v for k, v in door.items() if k not in ("sources", "warnings")}


def test_lots_on_a_dryer_of_the_works(tmp_path):
    folder = tmp_path / "works"
    create_works(folder, DEMO / "works.toml").book.close()
    here = ["--works", str(folder)]
    take = ["take-in", "line-11", "--gross", "640", "--tare", "30", "--scale", "quay-scale"]
    meter = ["--moisture", "85.2 %", "--moisture-meter", "kelp-quick"]
    lot = json.loads(
        CliRunner().invoke(cli, [*take, *meter, "--who", "teo", "--json", *here]).stdout
    )["lot"]["lot_id"]
    done = run("belt-1", lot, "--runs", "40", "--set", "residence_h=190 min", "--json", *here)
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["moisture_wb_sd"] > 0.0
    refused = run("trough-1", lot, *here)
    assert refused.exit_code == 2
    assert "is not a dryer" in refused.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "--input FILE"),
        (["belt-1"], "--input FILE"),
        (["--input", "nowhere.json"], "cannot be read"),
        (["--runs", "3"], "runs"),
        (["--workers", "0"], "workers is 0"),
        (["--limit", "wet"], "limit"),
        (["--cluster", "10.0.0.5"], "is no address"),
        (["--cluster", "tcp://127.0.0.1:9"], "does not answer"),
    ],
)
def test_bad_asks_are_one_sentence(words, said, file, monkeypatch):
    monkeypatch.setattr(clusters, "_CONNECT_S", 0.5)
    plain = not words or words[0] in ("belt-1", "--input")
    done = run(*words) if plain else run("--input", file, *words)
    assert done.exit_code == 2, done.output
    assert said in done.stderr
    assert "Traceback" not in done.output
