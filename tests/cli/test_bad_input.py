"""Each row of docs/look-up/bad-input.md, typed as it stands: that sentence, and nothing written."""

import json
import os
import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

import wareleaf.works.demo
from wareleaf.cli.main import cli
from wareleaf.works.house import create_works, open_works
from wareleaf.works.take_in import Load, take_in

PAGE = Path(__file__).resolve().parents[2] / "docs" / "look-up" / "bad-input.md"
DEMO = Path(wareleaf.works.demo.__file__).parent
ROW = re.compile(r"^\| (.+?) \| `wareleaf (.+?)` \| (.+) \|$", re.M)
MAPPING = """[[sheet]]
file = "weighment.csv"
job = "intake"
[sheet.columns]
lot = "Load"
source = "Line"
arrived_at = "Time"
gross_kg = "Gross"
[sheet.same]
scale = "quay-scale"
"""
GOOD = "Load,Line,Time,Gross\n7,line-01,2026-04-01 07:00,640\n"
ISSUE = {
    "a negative mass",
    "a moisture of 130 %",
    "a wet bulb above the dry bulb",
    "a lot used twice over",
    "an event in the future",
    "a cycle in the genealogy",
    "an unknown market",
    "an empty file",
    "a 200 MB file",
    "a file in the wrong encoding",
}


def rows() -> list[tuple[str, str, str]]:
    return ROW.findall(PAGE.read_text("utf-8"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    here = tmp_path_factory.mktemp("bad-input")
    works = create_works(here / "works", DEMO / "works.toml")
    take_in(works, "teo", Load("line-01", 1000.0, 40.0, "quay-scale"))
    works.book.close()
    sheets = {
        "empty": b"",
        "huge": b"",
        "cp1252": "Load,Line,Time,Gross\n7,Brücke,2026-04-01 07:00,640\n".encode("cp1252"),
        "row": GOOD.replace("640", "-12").encode(),
        "bare": GOOD.encode(),
    }
    for name, content in sheets.items():
        sheet = here / f"sheets-{name}"
        sheet.mkdir()
        (sheet / "weighment.csv").write_bytes(content)
        if name != "bare":
            (sheet / "mapping.toml").write_text(MAPPING, "utf-8")
    os.truncate(here / "sheets-huge" / "weighment.csv", 200_000_000)  # a hole, no room on disk
    (here / "empty.toml").write_bytes(b"")
    (here / "utf16.toml").write_bytes((DEMO / "works.toml").read_text("utf-8").encode("utf-16"))
    (here / "huge.toml").write_bytes(b"")
    os.truncate(here / "huge.toml", 200_000_000)
    return here


@pytest.fixture
def there(folder, monkeypatch):
    monkeypatch.chdir(folder)
    monkeypatch.setenv("WARELEAF_WHO", "ilsa")
    monkeypatch.delenv("WARELEAF_WORKS", raising=False)
    return folder


def state(folder: Path) -> tuple[int, list[str]]:
    works = open_works(folder / "works")
    try:
        return len(works.book.events()), [lot.lot_id for lot in works.book.lots()]
    finally:
        works.book.close()


def said(result) -> list[str]:
    """The sentences, from standard error or, for a door, from the JSON it answers."""
    if result.stdout.startswith("{"):
        return [p["message"] for p in json.loads(result.stdout)["error"]]
    lines = [x for x in result.stderr.splitlines() if not x.startswith("Works: ")]
    assert all(x.startswith("wareleaf: ") for x in lines), result.output
    return [x.removeprefix("wareleaf: ") for x in lines]


def as_pattern(sentence: str) -> str:
    now = r"\d{4}-\d\d-\d\d [\d:]{8}"
    return re.escape(sentence).replace("NOW", now).replace("LOT", r"K6-\S+?")


def test_the_table_has_every_case_that_was_asked_for():
    assert {name for name, _, _ in rows()} >= ISSUE


@pytest.mark.parametrize(("name", "typed", "sentence"), rows(), ids=[r[0] for r in rows()])
def test_a_row_of_the_table(there, name, typed, sentence):
    before = state(there)
    words = [before[1][0] if word == "LOT" else word for word in shlex.split(typed)]
    result = CliRunner().invoke(cli, words)
    assert result.exit_code == 2, result.output
    assert len(said(result)) == 1
    assert re.fullmatch(as_pattern(sentence), said(result)[0]), said(result)[0]
    assert state(there) == before


def test_json_says_the_same_as_data(there):
    words = shlex.split("take-in line-01 --gross -640 --scale quay-scale --json")
    result = CliRunner().invoke(cli, words)
    assert result.exit_code == 2
    problem = json.loads(result.stdout)["error"][0]
    assert (problem["field"], problem["value"]) == ("gross_kg", -640.0)


def test_several_mistakes_are_one_sentence_each(there):
    text = (DEMO / "works.toml").read_text("utf-8")
    text = text.replace('crop = "tea"', 'crop = "hops"').replace("haul_h = 1.1", "haul_h = -1")
    (there / "two.toml").write_text(text, "utf-8")
    result = CliRunner().invoke(cli, ["settings", "check", "two.toml"])
    assert result.exit_code == 2
    assert len(said(result)) == 2
    assert all(re.match(r"two\.toml, line \d+, ", s) for s in said(result))


@pytest.mark.parametrize("mass", ["1e999", "1e306", "nan", "inf", "--", ""])
@pytest.mark.parametrize("line", ["write-off LOT gone --mass={}", "split LOT -- {}"])
def test_numbers_that_cannot_be_meant(there, mass, line):
    before = state(there)
    words = [before[1][0] if w == "LOT" else w.format(mass) for w in line.split()]
    result = CliRunner().invoke(cli, words)
    assert result.exit_code == 2, result.output
    assert state(there) == before
