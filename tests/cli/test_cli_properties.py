"""What a lot holds and what to test next, at the shell."""

import json
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.fresh_works import fresh_works

from wareleaf.cli.main import cli
from wareleaf.works import bench
from wareleaf.works.handle_lot import split
from wareleaf.works.run_stage import Off, finish_run, start_run
from wareleaf.works.take_in import Load, take_in

SETTINGS = Path(str(resources.files("wareleaf.works.demo") / "works.toml"))


@pytest.fixture
def shelf(tmp_path):
    """Two bags of one dried lot of wakame, one of them tested; the folder and both."""
    works = fresh_works(tmp_path / "works", SETTINGS)
    _, fresh = take_in(works, "teo", Load("line-11", 320.0, 20.0, "quay-scale"))
    run = start_run(works, "runa", "belt-1", [fresh.lot_id])
    off = [Off(36.0, 0.09, moisture_meter="kelp-oven", scale="kelp-floor-scale")]
    dried = finish_run(works, "runa", run, off)[0].lot_id
    bags = split(works, "runa", dried, [20.0, 16.0], meter="kelp-floor-scale")
    one, other = (bag.lot_id for bag in bags)
    sample = bench.take_sample(works, "mirel", one, 20)
    found = bench.Found("iodine", 980.0, 40.0, "mg/kg", "dry")
    bench.record_result(works, "mirel", one, sample, found)
    works.book.close()
    return tmp_path / "works", one, other


def says(folder, *words):
    done = CliRunner().invoke(cli, [*words, "--works", str(folder)])
    assert done.exit_code == 0, done.output
    return done.stdout


def test_properties_name_value_doubt_and_grounds(shelf):
    folder, one, other = shelf
    said = says(folder, "properties", other)
    assert "of dry matter, from relatives" in said
    assert f"mg/kg on {one}, shares leaf with it" in said
    assert "from Holm Bight line 11: 100.0 ± 0.0 % of its dry matter" in said
    assert "ash" not in said
    assert "ash" in says(folder, "properties", other, "--full")
    data = json.loads(says(folder, "properties", other, "--json"))
    kinds = {p["parameter"]: p["kind"] for p in data["properties"]["properties"]}
    assert kinds["iodine"] == "from relatives"


def test_test_next_says_which_and_why(shelf):
    folder, one, other = shelf
    said = says(folder, "test-next")
    assert "1. Test " in said
    assert "the chance of a wrong answer on it falls from" in said
    tests = json.loads(says(folder, "test-next", "--most", "1", "--json"))
    assert len(tests) == 1
    assert tests[0]["lot_id"] in (one, other)
    assert "No test would change" in says(folder, "test-next", "--site", "tea")


def test_an_unknown_lot_or_site_is_one_sentence(shelf):
    folder, _, _ = shelf
    for words in (("properties", "NOPE"), ("test-next", "--site", "moon")):
        done = CliRunner().invoke(cli, [*words, "--works", str(folder)])
        assert done.exit_code != 0
