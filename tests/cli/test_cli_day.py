"""A works day at the shell, from the quay to the lorry, and the answers a script can read."""

import json
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
import sqlalchemy as sa
from click.testing import CliRunner, Result
from tests.fresh_works import fresh_works

import wareleaf.works.demo
from wareleaf.cli.main import cli
from wareleaf.store import open_book
from wareleaf.works import house
from wareleaf.works.house import open_works
from wareleaf.works.people import pin_fits

MORNING = datetime(2026, 5, 8, 7, 0, tzinfo=UTC)
DEMO = Path(wareleaf.works.demo.__file__).parent


class Shell:
    """Types commands for a person in one works."""

    def __init__(self, folder: Path):
        self.folder = folder

    def run(self, who: str, *words: str, stdin: str | None = None) -> Result:
        more = ["--works", str(self.folder)] + (["--who", who] if who else [])
        return CliRunner().invoke(cli, [*words, *more], input=stdin)

    def says(self, who: str, *words: str, stdin: str | None = None) -> str:
        done = self.run(who, *words, stdin=stdin)
        assert done.exit_code == 0, done.output
        return done.stdout

    def data(self, who: str, *words: str):
        return json.loads(self.says(who, *words, "--json"))


@pytest.fixture
def shell(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(
        house, "open_works", lambda folder, **more: open_works(folder, lambda: MORNING, **more)
    )
    fresh_works(tmp_path / "works", DEMO / "works.toml").book.close()
    return Shell(tmp_path / "works")


def dried_wakame(shell: Shell) -> str:
    """Take in wakame, wash it, dry it: the lot that comes off the belt."""
    lot = shell.data(
        "teo", "take-in", "line-11", "--gross", "640", "--tare", "66.1 lb", "--scale", "quay-scale",
        "--moisture", "85,2 %", "--moisture-meter", "kelp-quick", "--ticket", "612",
    )["lot"]["lot_id"]  # fmt: skip
    run = shell.data("teo", "start", "wash-1", lot)["run_id"]
    off = ("--scale", "kelp-floor-scale", "--moisture-meter", "kelp-quick")
    lot = shell.data("teo", "finish", run, "--off", "618", "85.4", *off)["lots"][0]["lot_id"]
    run = shell.data("runa", "start", "belt-1", lot, "--set", "residence_h=190 min")["run_id"]
    reading = shell.data("runa", "reading", run, "kelp-probe", "131 F")
    assert reading["facts"]["value"] == pytest.approx(55.0)
    made = shell.data("runa", "finish", run, "--off", "99600 g", "9.6", *off)["lots"][0]
    assert made["moisture_wb"] == pytest.approx(0.096, abs=1e-5)
    return str(made["lot_id"])


@pytest.mark.slow
def test_a_load_becomes_packs_on_a_lorry(shell):
    lot = dried_wakame(shell)
    sample = shell.data("mirel", "sample", lot, "120 g")["sample_id"]
    for parameter, value, doubt in (("iodine", "92", "7"), ("inorganic_arsenic", "0.11", "0.02")):
        shell.says(
            "mirel", "result", lot, sample, parameter, value, "--unit", "mg/kg", "--uncertainty",
            doubt, "--moisture", "9.6",
        )  # fmt: skip
    assert shell.data("mirel", "sample", "--waiting") == []
    assert shell.data("", "assess", lot, "AU")[0]["may_release"]
    assert shell.run("ilsa", "release", lot, "AU").exit_code == 2  # only the quality manager
    assert "released for AU" in shell.says("bex", "release", lot, "AU", "--note", "report LR-9")

    net = ",".join(["250.4", "251.0", "250.9", "250.1", "251.3"] * 10)
    few = shell.run(
        "jorun", "pack", "wakame-cut-250", f"{lot}=25.2", "--packs", "100", "--net", "250,251",
        "--scale", "kelp-pack-balance",
    )  # fmt: skip
    assert (few.exit_code, "needs at least 50" in few.stderr) == (2, True)
    assert shell.data("", "lot", lot)["lot"]["drawn_mass_g"] == 120  # the sample alone
    packed = shell.data(
        "jorun", "pack", "wakame-cut-250", f"{lot}=25.2", "--packs", "100", "--net", net,
        "--spill", "126 g", "--scale", "kelp-pack-balance",
    )  # fmt: skip
    packs = packed["lot"]["lot_id"]
    assert packed["lot"]["released_for"] == ["AU"]
    shell.says("jorun", "ship", "southrim", f"{packs}=20", "--document", "DN-7")
    assert shell.run("jorun", "ship", "quillby", packs).exit_code == 2  # not released for the EU

    seen = shell.data("", "trace", packs)
    assert [o["source_id"] for o in seen["trace"]["origins"]] == ["line-11"]
    assert seen["trace"]["receipts"][0]["document"] == "DN-7"
    assert "Southrim Pantry (AU)" in shell.says("", "trace", lot)
    shell.says("", "dossier", packs, "-o", "paper.pdf")
    assert Path("paper.pdf").read_bytes().startswith(b"%PDF-")
    report = shell.data("", "verify")["report"]
    assert report["ok"]
    assert shell.data("", "watch") == []
    balance = shell.data("", "balance", "kelp")
    assert balance["dry"]["taken_in_g"] == round(610_020 * 0.148)  # 66.1 lb are 29.98 kg
    assert "taken in" in shell.says("", "balance", "kelp")
    today = shell.data("", "reconcile", "kelp")["start"][:10]
    for when in ([], ["--week", today], ["--season"], ["--from", today]):
        assert "numbers check each other" in shell.says("", "reconcile", "kelp", *when)
    fit = shell.data("", "reconcile", "kelp", "--season")
    assert fit["doubts"] == []
    assert {"lot_id", "event_id", "dry", "mass"} == set(fit["lots"][0])
    assert lot in shell.says("", "reconcile", "kelp", "--lots")
    both = shell.run("", "reconcile", "kelp", "--season", "--day", today)
    assert both.exit_code == 2


@pytest.mark.slow
def test_looking_ahead_records_nothing(shell):
    lot = shell.data("teo", "take-in", "line-11", "--gross", "600", "--scale", "quay-scale")
    lot_id = lot["lot"]["lot_id"]
    before = shell.data("", "verify")["report"]["events"]
    seen = shell.data("", "predict", "belt-1", lot_id, "--aim")
    assert seen["prediction"]["moisture_wb_out"] < 0.2
    assert seen["heat"]["margin_k"] == pytest.approx(60.0 - seen["heat"]["leaf_max_c"])
    said = shell.says("", "predict", "belt-1", lot_id)
    assert "kg off at" in said and "No published constant" in said
    ask = ("adviser", "belt-1", "wakame_blade", "--dry-kg-year", "5000", "--limit-at", "12 %")
    told = shell.data("", *ask, "--risk", "2 %")
    assert told["advice"]["cost"]["share_over"] == pytest.approx(0.02)
    assert "Aim at" in shell.says("", *ask)
    wrong = shell.run("", "adviser", "mill-1", "wakame_blade")
    assert wrong.exit_code == 2 and "does not dry leaf" in wrong.output
    assert shell.data("", "verify")["report"]["events"] == before


@pytest.mark.slow
def test_hold_free_split_combine_write_off_and_correct(shell):
    lot = dried_wakame(shell)
    assert shell.says("runa", "hold", lot, "shells in it").startswith(f"Lot {lot} is on hold")
    assert [x["lot_id"] for x in shell.data("", "lots", "--state", "held")["lots"]] == [lot]
    shell.says("bex", "free", lot, "picked over")
    parts = shell.data("runa", "split", lot, "40", "59.5", "--scale", "kelp-floor-scale")["lots"]
    both = [p["lot_id"] for p in parts]
    joined = shell.data("runa", "combine", *both)["lot"]
    assert joined["mass_g"] == 99_500
    event = shell.data("runa", "write-off", joined["lot_id"], "swept up", "--mass", "500 g")
    assert event["streams"][0]["mass_g"] == 500
    event = shell.data("ilsa", "correct", event["event_id"], "misheard", "--said", "torn bag")
    assert event["facts"]["event_reason"] == "torn bag"
    shell.says("ilsa", "correct", event["event_id"], "it was not wasted", "--void")
    left = shell.data("", "lots", joined["lot_id"])["lots"][0]["remaining_mass_g"]
    assert left == 99_500
    reading = shell.data("runa", "reading", joined["lot_id"], "kelp-quick", "9.9")
    shell.says("ilsa", "correct", reading["event_id"], "misread", "--value", "0.102")
    assert "corrected by" in shell.says("", "lot", joined["lot_id"])
    both_ways = shell.run("ilsa", "correct", reading["event_id"], "x", "--void", "--value", "1")
    assert (both_ways.exit_code, "exactly one of" in both_ways.stderr) == (2, True)


def test_a_weight_is_corrected_with_its_water(shell):
    lot = shell.data("teo", "take-in", "line-11", "--gross", "600", "--scale", "quay-scale")
    event, lot_id = lot["event_id"], lot["lot"]["lot_id"]
    shell.says("ilsa", "correct", event, "typed wrong", "--weight", lot_id, "610", "85")
    now = shell.data("", "lot", lot_id)["lot"]
    assert (now["mass_g"], now["dry_g"]) == (610_000, 91_500)


def test_the_day_and_the_floor(shell):
    lot = shell.data("davin", "take-in", "field-a", "--gross", "300", "--scale", "leaf-scale")
    assert lot["lot"]["lot_id"] in shell.says("", "day", "tea")
    shell.says("davin", "start", "trough-1", lot["lot"]["lot_id"], "--set", "heating_k=6")
    on = next(m for m in shell.data("", "floor", "tea") if m["run"])
    assert (on["machine"], on["run"]["settings"]["heating_k"]) == ("trough-1", 6.0)
    assert on["run"]["run_id"] in shell.says("", "floor", "tea")
    assert shell.says("", "predict", on["run"]["run_id"])
    assert set(shell.data("", "day")) == {"kelp", "tea"}


def test_a_backup_comes_back_whole(shell, tmp_path):
    shell.data("teo", "take-in", "line-11", "--gross", "600", "--scale", "quay-scale")
    shell.says("", "backup", str(tmp_path / "safe"))
    done = CliRunner().invoke(cli, ["restore", str(tmp_path / "safe"), str(tmp_path / "back")])
    assert done.exit_code == 0, done.output
    old, new = shell.data("", "verify"), Shell(tmp_path / "back").data("", "verify")
    assert old == new
    again = CliRunner().invoke(cli, ["restore", str(tmp_path / "safe"), str(tmp_path / "back")])
    assert (again.exit_code, "already holds" in again.stderr) == (2, True)
    none = CliRunner().invoke(cli, ["restore", str(tmp_path), str(tmp_path / "other")])
    assert (none.exit_code, "is no backup" in none.stderr) == (2, True)


def test_sheets_are_shown_and_then_recorded(shell):
    sheets = str(DEMO / "sheets")
    shown = shell.says("ilsa", "import", sheets, "--preview")
    assert "Would record 37 events and 14 lots." in shown
    assert shell.data("", "verify")["report"]["events"] == 0
    assert shell.data("ilsa", "import", sheets)["recorded"]
    assert shell.data("", "verify")["report"]["events"] == 37


def test_a_pin_is_asked_for_twice(shell):
    shell.says("", "pin", "teo", stdin="4711\n4711\n")
    works = open_works(shell.folder)
    assert pin_fits(works, "teo", "4711")
    assert not pin_fits(works, "teo", "4712")
    works.book.close()


def test_which_works_is_said_when_nobody_named_it(shell, monkeypatch):
    found = CliRunner().invoke(cli, ["lots"])
    assert (found.exit_code, found.stderr) == (0, "Works: works (by the usual place)\n")
    monkeypatch.setenv("WARELEAF_WORKS", str(shell.folder))
    assert "by $WARELEAF_WORKS" in CliRunner().invoke(cli, ["lots"]).stderr
    assert CliRunner().invoke(cli, ["lots", "--json"]).stderr == ""
    monkeypatch.delenv("WARELEAF_WORKS")
    monkeypatch.chdir("/")
    lost = CliRunner().invoke(cli, ["lots"])
    assert (lost.exit_code, "Which works?" in lost.stderr) == (2, True)


def test_a_book_that_was_changed_from_outside_exits_with_1(shell):
    shell.data("teo", "take-in", "line-11", "--gross", "600", "--scale", "quay-scale")
    book = open_book(shell.folder / "book.db")
    with book.engine.begin() as raw:
        raw.execute(sa.text("UPDATE lot SET mass_g = mass_g + 1000"))
    book.close()
    done = shell.run("", "verify")
    assert done.exit_code == 1
    assert re.search(r"The table of lots does not say", done.stdout)


@pytest.mark.slow
@pytest.mark.slow
def test_a_blend_is_proposed_and_made(shell):
    first, second = dried_wakame(shell), dried_wakame(shell)
    for lot, iodine in ((first, "60"), (second, "200")):
        sample = shell.data("mirel", "sample", lot, "50 g")["sample_id"]
        more = ("--unit", "mg/kg", "--uncertainty", "1")
        shell.says("mirel", "result", lot, sample, "iodine", iodine, *more)
        run = shell.data("runa", "start", "mill-1", lot)["run_id"]
        off = ("--scale", "kelp-floor-scale", "--moisture-meter", "kelp-quick")
        shell.says("runa", "finish", run, "--off", "99.4", "9.6", *off)
    ask = ("blend", "propose", "wakame-cut-250", "150", "--most", "iodine", "130")
    found = shell.data("", *ask)
    drawn = {d["lot_id"]: d["mass_kg"] for d in found["orders"][0]["draws"]}
    assert sum(drawn.values()) == pytest.approx(150.0, abs=0.01)
    iodine = next(p for p in found["orders"][0]["properties"] if p["name"] == "iodine")
    assert iodine["value"] <= 130.0 + 1e-6
    line = shell.says("", *ask).splitlines()[-1]
    assert line.startswith("Next: wareleaf blend make ")
    made = shell.data("jorun", *line.removeprefix("Next: wareleaf ").split())["lot"]
    assert made["form"] == "blended"
    assert made["mass_g"] == pytest.approx(150_000, abs=10)
    none = shell.run("jorun", "blend", "make", next(iter(drawn)))
    assert (none.exit_code, "Say how much" in none.stderr) == (2, True)


@pytest.mark.slow
def test_a_day_is_planned_at_the_shell(shell):
    shell.data("davin", "take-in", "field-a", "--gross", "400", "--scale", "leaf-scale")
    tomorrow = "2026-05-09 05:30"
    load = shell.data("davin", "plan", "announce", "field-b", "300", "--at", tomorrow)
    assert load["expected_id"] in shell.says("", "plan", "expected", "tea")
    assert "has no plan" in shell.says("", "plan", "show", "tea")
    made = shell.data("ilsa", "plan", "now", "tea", "--seconds", "0")
    assert {r["stage"] for r in made["runs"]} >= {"wither", "roll", "dry"}
    shown = shell.says("", "plan", "show", "tea")
    assert "Trough" in shown and "wither" in shown
    assert "kg" in shell.says("", "plan", "room", "tea", "field-a", "--at", tomorrow)
    shell.says("davin", "plan", "withdraw", load["expected_id"], "--note", "fog")
    assert shell.data("", "plan", "expected", "tea") == []
    later = "2026-05-09 13:00"
    again = shell.data(
        "ilsa", "plan", "again", "tea", "--machine", "trough-1", "--until", later, "--seconds", "0"
    )
    assert [o["machine_id"] for o in again["outages"]] == ["trough-1"]
    assert all(r["machine_id"] != "trough-1" for r in again["runs"])
    assert shell.run("davin", "plan", "now", "tea").exit_code == 2  # only the manager plans


def test_moisture_is_wet_basis_unless_said_and_the_rest_dry(shell: Shell) -> None:
    lot = dried_wakame(shell)
    sample = shell.data("mirel", "sample", lot, "50 g")["sample_id"]
    words = ("--unit", "%", "--uncertainty", "0.2")
    wet = shell.data("mirel", "result", lot, sample, "moisture", "9.6", *words)
    assert wet["facts"]["basis"] == "wet"
    assert (
        shell.data("mirel", "result", lot, sample, "ash", "24", *words)["facts"]["basis"] == "dry"
    )
