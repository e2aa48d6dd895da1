"""A recall at the shell: one fault, the answer, the papers, the hold and the drill."""

import csv
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from openpyxl import load_workbook
from pypdf import PdfReader
from tests.fresh_works import fresh_works

import wareleaf.works.demo
from wareleaf.cli.main import cli
from wareleaf.works.house import open_works
from wareleaf.works.import_sheets import import_sheets
from wareleaf.works.recall_drill import drills
from wareleaf.works.take_in import Load, take_in

DEMO = Path(wareleaf.works.demo.__file__).parent


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    made = fresh_works(tmp_path / "works", DEMO / "works.toml")
    at = datetime(2026, 4, 2, 12, 0, tzinfo=UTC)
    works = replace(made, clock=lambda: at)
    import_sheets(works, "ilsa", DEMO / "sheets", DEMO / "sheets" / "mapping.toml")
    take_in(works, "davin", Load("field-a", 240.0, 40.0, "leaf-scale"))
    made.book.close()
    return tmp_path / "works"


def run(folder: Path, *words: str, who: str = "") -> Result:
    more = ["--works", str(folder)] + (["--who", who] if who else [])
    return CliRunner().invoke(cli, ["recall", *words, *more])


@pytest.mark.slow
def test_a_recall_from_question_to_hold(folder, tmp_path):
    said = run(folder, "--site", "line-11", "--csv", "l.csv", "--xlsx", "r.xlsx", "--pdf", "r.pdf")
    assert said.exit_code == 0, said.output
    for words in ("accounted for", "Southrim Pantry", "+44 1632 960104", "local authority"):
        assert words in said.stdout
    data = json.loads(run(folder, "--site", "line-11", "--json").stdout)
    lots = [a["lot"]["lot_id"] for a in data["recall"]["lots"]]
    with Path("l.csv").open(newline="") as file:
        assert [row["Lot"] for row in csv.DictReader(file)] == lots
    assert "Shipping" in load_workbook("r.xlsx").sheetnames
    assert Path("r.pdf").read_bytes().startswith(b"%PDF")
    grower = json.loads(run(folder, "--supplier", "Brannoch family", "--json").stdout)
    assert set(lots) <= {a["lot"]["lot_id"] for a in grower["recall"]["lots"]}

    hold = ("--site", "tea", "--hold", "metal")
    assert run(folder, *hold).exit_code == 2  # who?
    assert run(folder, *hold, who="runa").exit_code == 2
    held = run(folder, *hold, who="bex")
    assert held.exit_code == 0, held.output
    assert "1 lot is on hold now" in held.stdout
    assert "on hold" in run(folder, *hold, who="bex").stderr


def test_a_drill_is_kept(folder):
    assert run(folder, "--lot", "nothing", "--drill", who="bex").exit_code == 2
    words = ("--supplier", "Brannoch family", "--drill", "--pdf", "d.pdf")
    said = run(folder, *words, who="bex")
    assert said.exit_code == 0, said.output
    paper = " ".join(page.extract_text() for page in PdfReader("d.pdf").pages)
    assert "Recall drill" in paper
    assert "time taken" in paper
    works = open_works(folder)
    (kept,) = drills(works)
    assert kept.who == "bex"
    works.book.close()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "0 faults named"),
        (("--lot", "a", "--kit", "b"), "2 faults named"),
        (("--lot", "a", "--drill", "--hold", "x"), "In a drill nothing is held"),
        (("--lot", "a", "--hold", "x", "--as-known", "2026-04-01"), "drop --as-known"),
        (("--bath", "bath-1", "--carry-over", "long"), "carry_over"),
        (("--site", "line-11", "--csv", "l.csv", "--table", "x"), "table is 'x'"),
        (("--site", "line-11", "--pdf", "no/such/r.pdf"), "cannot be written"),
        (("--site", "line-11", "--as-known", "noon"), "as_known is 'noon'"),
    ],
)
def test_what_cannot_be_is_said_in_a_sentence(folder, words, said):
    done = run(folder, *words, who="bex")
    assert done.exit_code == 2
    assert said in done.stderr
