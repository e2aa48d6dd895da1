"""Every kind of entry typed at the shell bears its paper and time, and shows them where asked."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.fresh_works import fresh_works

import wareleaf.works.demo
from wareleaf.book import Made
from wareleaf.book.exchange import Naming
from wareleaf.cli.main import cli
from wareleaf.works import house
from wareleaf.works.exchange_book import document_of, set_naming
from wareleaf.works.house import open_works
from wareleaf.works.lot_papers import papers_of
from wareleaf.works.record import Entry, draw, record
from wareleaf.works.take_in import Load, take_in
from wareleaf.works.trace_lot import trace

MORNING = datetime(2026, 5, 8, 6, 0, tzinfo=UTC)
NOON = datetime(2026, 5, 8, 12, 0, tzinfo=UTC)
TYPED = "2026-05-08 13:10+02:00"  # typed with another zone than the works' own, which is UTC in May
DEMO = Path(wareleaf.works.demo.__file__).parent
SSCC = "340123450000000017"  # prefix invented; 3 x 14 + 11 = 53, to the next ten is 7
SCALE = ("--scale", "kelp-floor-scale")
OFF = ("--off", "50", "85", *SCALE, "--moisture-meter", "kelp-quick")


@pytest.fixture
def works(tmp_path, monkeypatch):
    """The demo's settings with a bin, and an empty book, in the morning; the shell is at noon."""
    monkeypatch.setattr(
        house, "open_works", lambda folder, **more: open_works(folder, lambda: NOON, **more)
    )
    fresh_works(tmp_path / "works", DEMO / "works.toml").book.close()
    text = (tmp_path / "works/works.toml").read_text()
    more = '\n[[room]]\nid = "bin"\nname = "Bin"\nsite = "kelp"\nrule = "in_order"\n'
    (tmp_path / "works/works.toml").write_text(text + more)
    made = open_works(tmp_path / "works", lambda: MORNING)
    set_naming(made, Naming("https://works.example/trace/"))
    yield made
    made.book.close()


def said(works, who: str, *words: str):
    more = ["--works", str(works.folder), "--who", who, "--json"]
    done = CliRunner().invoke(cli, [*words, *more])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def kelp(works) -> str:
    load = Load("line-11", 300.0, 0.0, "quay-scale")
    return take_in(works, "teo", load)[1].lot_id


def packed(works) -> str:
    """Kelp flake in packs, signed free for Australia by bare entries."""
    load = Load("line-01", 300.0, 0.0, "quay-scale", moisture_wb=0.9, moisture_meter="kelp-quick")
    lot = take_in(works, "teo", load)[1]
    made = Made("KP", "sugar_kelp_blanched", "packed", "pack store", 10_000, 9_000, 10, 10,
                attributes={"packs": 20, "product": "kelp-flake-500"})  # fmt: skip
    facts = {"film": "pet-pe", "nominal_g": 500}
    entry = Entry(kind="pack", site="kelp", who="jorun", facts=facts,
                  inputs=(draw(lot, 90.0),), outputs=(made,))  # fmt: skip
    record(works, entry)
    facts = {"lot_id": "KP", "markets": ["AU"]}
    record(works, Entry(kind="release", site="kelp", who="bex", facts=facts))
    return "KP"


def standing(works) -> str:
    lot = packed(works)
    said(works, "jorun", "pallet", "on", lot, "--number", SSCC, "--at", "2026-05-08 09:00")
    return lot


def shipped(works) -> str:
    lot = packed(works)
    said(works, "jorun", "ship", "southrim", f"{lot}=4", "--at", "2026-05-08 09:00")
    return lot


def held(works) -> str:
    lot = kelp(works)
    said(works, "teo", "hold", lot, "smells", "--at", "2026-05-08 09:00")
    return lot


def tipped(works) -> str:
    lot = kelp(works)
    put = ("room", "put", "bin", lot, "--at", "2026-05-08 09:00")
    (there,) = said(works, "teo", *put)["room"]["lots"]
    return str(there["lot_id"])


def start(works, lot: str, machine: str = "wash-1") -> str:
    began = ("--at", "2026-05-08 09:00")
    return str(said(works, "teo", "start", machine, lot, *began)["run_id"])


KINDS = {  # what is typed of a lot: who, which event, whose lot, the words
    "take-in": ("teo", "intake", None, ["take-in", "line-11", "--gross", "9", "--scale",
                                        "quay-scale"]),
    "reading": ("teo", "reading", kelp, ["reading", "LOT", "kelp-quick", "85"]),
    "sample": ("mirel", "sample", kelp, ["sample", "LOT", "50 g"]),
    "split": ("teo", "split", kelp, ["split", "LOT", "100", "--drawn", "100"]),
    "combine": ("teo", "combine", kelp, ["combine", "LOT", "OTHER"]),
    "grade": ("bex", "grade", kelp, ["grade", "LOT", "A", "--by", "hand"]),
    "start": ("teo", "stage_started", kelp, ["start", "wash-1", "LOT"]),
    "finish": ("teo", "stage_finished", kelp, ["finish", "RUN", *OFF]),
    "reading on a run": ("teo", "reading", kelp, ["reading", "RUN", "kelp-probe", "11"]),
    "blend": ("ilsa", "blend", kelp, ["blend", "make", "LOT=10", "OTHER=5"]),
    "hold": ("teo", "hold", kelp, ["hold", "LOT", "smells"]),
    "free": ("bex", "release", held, ["free", "LOT", "clean"]),
    "write-off": ("teo", "waste", kelp, ["write-off", "LOT", "wet", "--mass", "1"]),
    "destroy": ("ilsa", "destroy", kelp, ["destroy", "LOT", "smells", "--method", "burnt",
                                          "--witness", "Ro"]),
    "rework": ("ilsa", "rework", kelp, ["rework", "LOT=10", "--into", "washed=10", "--because",
                                        "sand"]),
    "pallet on": ("jorun", "aggregate", packed, ["pallet", "on", "LOT", "--number", SSCC]),
    "pallet off": ("jorun", "disaggregate", standing, ["pallet", "off", SSCC]),
    "cool": ("teo", "cooling", kelp, ["cool", "LOT", "--method", "ice", "--temperature", "1"]),
    "result": ("mirel", "result", kelp, ["result", "LOT", "SAMPLE", "iodine", "9", "--unit",
                                         "mg/kg", "--uncertainty", "1"]),
    "ship": ("jorun", "ship", packed, ["ship", "southrim", "LOT=4"]),
    "receive back": ("jorun", "receive_back", shipped, ["receive-back", "southrim", "LOT=1",
                                                        "--because", "torn"]),
    "put in a room": ("teo", "split", kelp, ["room", "put", "bin", "LOT"]),
    "take out of a room": ("teo", "combine", tipped, ["room", "take", "bin", "5", *SCALE]),
}  # fmt: skip


@pytest.mark.parametrize("name", KINDS)
def test_an_entry_bears_its_paper_and_its_time(works, name):
    who, kind, lot_of, words = KINDS[name]
    lot = lot_of(works) if lot_of else ""
    given = {"LOT": lot}
    if "RUN" in words:
        given["RUN"] = start(works, lot)
    if any(w.startswith("OTHER") for w in words):
        given["OTHER"] = kelp(works)
    if "SAMPLE" in words:
        given["SAMPLE"] = said(works, who, "sample", lot, "50 g")["sample_id"]
    for key, value in given.items():
        words = [w.replace(key, value) for w in words]
    before = {e.event_id for e in works.book.events_in_force()}
    when = "--from" if name == "cool" else "--at"
    said(works, who, *words, "--document", " P-77 ", when, TYPED)
    (event,) = (e for e in works.book.events_in_force() if e.event_id not in before)
    assert (event.kind, event.document) == (kind, "P-77")
    assert event.happened_at.isoformat() == "2026-05-08T13:10:00+02:00"
    assert event.recorded_at == NOON
    if not lot:
        lot = event.outputs[0].lot_id
    assert ("P-77", kind) in {(p.name, p.kind) for p in papers_of(works, trace(works, lot))}
    sent = document_of(works)["epcisBody"]["eventList"]
    papers = [p["bizTransaction"] for e in sent for p in e.get("bizTransactionList", [])]
    assert [p for p in papers if "P-77" in p]


def test_a_lot_shows_the_papers_of_its_harvest_and_of_its_cooling_on_the_way(works):
    harvest = ["harvest", "line-11", "300", "--number", "H-9", "--cut", TYPED]
    said(works, "teo", *harvest, "--document", "CUT-9")
    cool = ["cool", "--harvest", "H-9", "--method", "ice", "--temperature", "1"]
    said(works, "teo", *cool, "--document", "ICE-9")
    words = ["take-in", "line-11", "--gross", "290", "--scale", "quay-scale"]
    other = said(works, "teo", *words)["lot"]["lot_id"]
    lot = said(works, "teo", *words, "--harvest", "H-9")["lot"]["lot_id"]
    shown = {(p.name, p.kind) for p in papers_of(works, trace(works, lot))}
    assert shown == {("CUT-9", "harvest"), ("ICE-9", "cooling")}
    assert papers_of(works, trace(works, other)) == ()


def test_a_reading_of_the_minute_in_which_a_run_ended_is_among_the_papers(works):
    lot = kelp(works)
    run, other = start(works, lot), start(works, kelp(works), "belt-1")
    for each, paper in ((run, "R-1"), (other, "R-2")):
        said(works, "teo", "reading", each, "kelp-probe", "11", "--document", paper, "--at", TYPED)
    made = said(works, "teo", "finish", run, *OFF, "--document", "F-1", "--at", TYPED)["lots"][0]
    for each in (lot, made["lot_id"]):
        shown = papers_of(works, trace(works, each))
        assert {p.name for p in shown} == {"R-1", "F-1"}


def test_work_on_a_line_bears_its_paper(works):
    said(works, "teo", "site-work", "line-11", "thinned", "--document", "SW-1", "--at", TYPED)
    (event,) = works.book.events_in_force(kind="site_work")
    assert (event.document, event.happened_at.hour) == ("SW-1", 13)


def test_a_hold_told_late_holds_what_was_made_since_from_its_making(works):
    lot = kelp(works)
    (part,) = said(works, "teo", "split", lot, "9", "--drawn", "9", "--at", "2026-05-08 09:00")[
        "lots"
    ]
    said(works, "teo", "hold", lot, "smells", "--at", "2026-05-08 08:00", "--document", "H-1")
    found = {e.facts["lot_id"]: e for e in works.book.events_in_force(kind="hold")}
    assert {k: (e.document, e.happened_at.hour) for k, e in found.items()} == {
        lot: ("H-1", 8),
        part["lot_id"]: ("H-1", 9),
    }


def test_a_paper_and_a_time_are_put_right_in_one_correction(works):
    lot = kelp(works)
    wrong = said(works, "teo", "grade", lot, "A", "--by", "hand", "--document", "G-1")
    assert wrong["lot_id"] == lot
    (event,) = works.book.events_in_force(kind="grade")
    right = ["--document", "G-7", "--when", TYPED]
    said(works, "bex", "correct", event.event_id, "misread", *right)
    (event,) = works.book.events_in_force(kind="grade")
    assert (event.document, event.happened_at.hour) == ("G-7", 13)
    shown = {(p.name, p.kind) for p in papers_of(works, trace(works, lot))}
    assert [name for name, _ in shown] == ["G-7"]


def test_a_refused_time_is_told_on_the_clock_of_the_one_who_typed_it(works):
    lot = kelp(works)
    words = ["grade", lot, "A", "--by", "hand", "--who", "bex", "--works", str(works.folder)]
    early = CliRunner().invoke(cli, [*words, "--at", "2026-05-08 05:30"])
    assert early.output.endswith(
        "This grade happened at 2026-05-08 05:30:00, before its lot "
        f"{lot} was made at 2026-05-08 06:00:00.\n"
    )
    ahead = CliRunner().invoke(cli, [*words, "--at", "2026-05-08 15:00+02:00"])
    assert "15:00:00, in the future; it is 2026-05-08 14:00:00 now." in ahead.output
