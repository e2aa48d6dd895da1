"""The validation page: every case runs, a failing one is shown with its reason, none is lost."""

import json
import math
import sys
import xml.etree.ElementTree as ET

import pytest
from click.testing import CliRunner

from wareleaf.cli.commands.validate import command
from wareleaf.measure import BadInput
from wareleaf.works.validate import all_cases, page, run_case, validate
from wareleaf.works.validate.case import (
    Case,
    Found,
    NotRun,
    Plot,
    at_least,
    at_most,
    between,
    near,
)

PLOT = Plot("x", "y", {"line": [(0.0, 1.0), (1.0, 2.0)]}, {"points": [(0.5, 1.5)]})
KNOWN_TO_MISS = {
    "vibrated-fluid-bed",
    "chain-dryer-exhaust",
    "minimum-fluidisation",
}


def case(result, miss="", missed=(), plot=PLOT):
    checks = (near("a number", "kg", result, 2.0, within=0.1), at_most("another", "1", 0.5, 1.0))
    return Case(
        "made-up",
        "Group",
        "Title <b>",
        "Source & co",
        "0.1",
        lambda: Found(checks, plot),
        miss,
        missed,
    )


@pytest.fixture(scope="module")
def outcomes():
    return validate()


@pytest.mark.slow
def test_every_case_holds_or_says_why_not(outcomes):
    assert [o.case.id for o in outcomes] == [c.id for c in all_cases()]
    assert not [o.case.id for o in outcomes if o.unexplained]
    failing = {o.case.id for o in outcomes if o.status == "fail"}
    assert failing == KNOWN_TO_MISS
    assert all(o.explanation for o in outcomes if o.status != "pass")
    assert all(o.found.checks for o in outcomes if o.found)


@pytest.mark.slow
def test_the_issue_names_every_case_on_the_page(outcomes):
    ids = {o.case.id for o in outcomes}
    assert {"ashrae-table-2", "ashrae-example-1", "coolprop", "psychrolib", "closure"} <= ids
    assert {"wet-bulb-limit", "thin-layer", "deep-bed-hukill", "slab-crank", "dryer-grid"} <= ids
    assert {"tunnel-wet-trays", "tunnel-examples", "dryer-loads", "vibrated-fluid-bed"} <= ids
    assert {"nist-strd", "drying-examples", "psychrometry-textbooks", "withering-hours"} <= ids
    nist = next(o for o in outcomes if o.case.id == "nist-strd")
    assert len(nist.found.checks) == 22


@pytest.mark.slow
def test_the_page_has_a_picture_and_the_numbers_of_every_case(outcomes, tmp_path):
    html_path, json_path = page.write(outcomes, tmp_path / "deep" / "page")
    text = html_path.read_text("utf-8")
    assert text.count("<svg ") == sum(o.found is not None for o in outcomes)
    assert text.count('class="fail"') == len(KNOWN_TO_MISS)
    assert "http://www.w3.org" in text  # only the name space of SVG
    assert "<script" not in text
    data = json.loads(json_path.read_text("utf-8"))
    assert data["summary"]["cases"] == len(outcomes)
    assert data["summary"]["fail_without_known_reason"] == 0
    for told, o in zip(data["cases"], outcomes, strict=True):
        assert told["id"] == o.case.id
        assert told["source"]
        assert told["status"] == o.status
        assert [c["pass"] for c in told["checks"]] == [c.holds for c in o.found.checks]


@pytest.mark.slow
def test_tunnels_and_belts_in_time_are_held_too(outcomes):
    by_id = {o.case.id: o.found.checks for o in outcomes}
    assert len([c for c in by_id["tunnel-wet-trays"] if c.name.startswith("exhaust")]) == 2
    assert len(by_id["dryer-loads"]) == 21
    names = {c.name.split(":")[0] for c in by_id["closure"]}
    assert {"TunnelDryer", "Belt in time"} <= names


def test_checks_hold_at_their_ends_and_never_without_a_number():
    assert near("a", "1", 2.1, 2.0, relative=0.05).holds
    assert not near("a", "1", 2.11, 2.0, relative=0.05).holds
    assert between("a", "1", 3.0, 3.0, 4.0).holds
    assert not at_most("a", "1", math.nan, 1.0).holds
    assert not at_least("a", "1", math.inf, 1.0).holds
    assert at_least("a", "1", 5.0, 1.0).tolerance == "at least 1"


def test_a_case_that_misses_without_a_reason_is_a_defect():
    found = run_case(case(3.0))
    assert found.status == "fail"
    assert found.unexplained
    assert "defect" in found.explanation


def test_a_known_reason_covers_only_the_numbers_it_names():
    excused = run_case(case(3.0, "Known miss.", ("a number",)))
    assert excused.status == "fail"
    assert not excused.unexplained
    assert excused.explanation == "Known miss."
    other = run_case(case(3.0, "Known miss.", ("another",)))
    assert other.unexplained
    assert "a number" in other.explanation


def test_a_known_miss_that_holds_again_is_shown_as_holding():
    assert run_case(case(2.0, "Known miss.", ("a number",))).status == "pass"


def test_a_case_that_breaks_down_fails_and_says_so():
    def broken():
        raise ZeroDivisionError("by nothing")

    found = run_case(Case("x", "g", "t", "s", "tol", broken))
    assert found.status == "fail"
    assert found.unexplained
    assert "ZeroDivisionError" in found.explanation


def test_a_case_without_numbers_does_not_pass():
    assert run_case(Case("x", "g", "t", "s", "tol", lambda: Found((), PLOT))).status == "fail"


def test_a_library_that_is_missing_is_said_and_not_counted(monkeypatch):
    monkeypatch.setitem(sys.modules, "psychrolib", None)
    known = next(c for c in all_cases() if c.id == "psychrolib")
    found = run_case(known)
    assert found.status == "not run"
    assert "not installed" in found.explanation
    assert page.summary([found])["not_run"] == 1


def test_not_run_is_on_the_page():
    def absent():
        raise NotRun("not here")

    text = page.as_html([run_case(Case("x", "g", "t", "s", "tol", absent))])
    assert "not run" in text
    assert "not here" in text


def test_text_is_escaped_and_pictures_are_whole_svg():
    text = page.as_html([run_case(case(2.0))])
    assert "Title &lt;b&gt;" in text
    assert "Source &amp; co" in text
    svg = text[text.index("<svg ") : text.index("</svg>") + 6]
    root = ET.fromstring(svg)
    assert root.attrib["role"] == "img"
    assert "line" in root.attrib["aria-label"]


def test_points_that_are_no_numbers_are_left_out_of_the_picture():
    plot = Plot("x", "y", {"line": [(0.0, 1.0), (1.0, math.nan), (2.0, 3.0)]}, {}, log_y=True)
    assert "<svg" in page.picture(plot)


def test_a_folder_that_cannot_be_written_is_refused(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("x", "utf-8")
    with pytest.raises(BadInput, match="must be a folder"):
        page.write([run_case(case(2.0))], blocked)


def test_the_command_runs_one_case_and_writes(tmp_path):
    out = tmp_path / "page"
    done = CliRunner().invoke(command, ["--case", "lethality", "--out", str(out)])
    assert done.exit_code == 0
    assert "1 hold, 0 fail" in done.output
    assert (out / "index.html").exists()
    assert (out / "validation.json").exists()


def test_the_command_answers_in_json_and_refuses_unknown_cases():
    done = CliRunner().invoke(command, ["--case", "fao-56", "--json"])
    assert json.loads(done.output)["cases"][0]["status"] == "pass"
    wrong = CliRunner().invoke(command, ["--case", "weather", "--json"])
    assert wrong.exit_code == 2
    assert json.loads(wrong.output)["error"][0]["field"] == "case"


def test_the_command_exits_with_one_on_a_defect(monkeypatch):
    import wareleaf.works.validate as package

    monkeypatch.setattr(package, "all_cases", lambda: (case(3.0),))
    done = CliRunner().invoke(command, ["--case", "made-up"])
    assert done.exit_code == 1
    assert "FAILS" in done.output


def test_the_command_passes_a_known_miss(monkeypatch):
    import wareleaf.works.validate as package

    monkeypatch.setattr(package, "all_cases", lambda: (case(3.0, "Known miss.", ("a number",)),))
    done = CliRunner().invoke(command, ["--case", "made-up"])
    assert done.exit_code == 0
    assert "Known miss." in done.output
