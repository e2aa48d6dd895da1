"""Act on a recall: hold it all, keep a drill, and hand on the elements an investigator asks for."""

import time
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from wareleaf.measure import BadInput
from wareleaf.works.bench import Found, record_result, take_sample
from wareleaf.works.handle_lot import correct, hold
from wareleaf.works.people import NotAllowed
from wareleaf.works.recall import recall
from wareleaf.works.recall_drill import drills, hold_all, keep_drill
from wareleaf.works.recall_elements import MISSING, elements
from wareleaf.works.recall_fault import Fault
from wareleaf.works.recall_subjects import KIND_NAMES, subjects
from wareleaf.works.ship import ship
from wareleaf.works.sight import sight
from wareleaf.works.watch import findings

pytestmark = pytest.mark.slow
LINE = Fault("source", "line-02")


def test_hold_all_reaches_every_lot_here_once_and_for_one_reason(demo_works):
    before = recall(demo_works, LINE)
    assert len(before.not_held) > 2
    hold(demo_works, "runa", before.not_held[0].lot.lot_id, "shells in it")
    free = recall(demo_works, LINE).not_held
    events = hold_all(demo_works, "bex", LINE, " shells ")
    assert {e.facts["lot_id"] for e in events} == {a.lot.lot_id for a in free}
    assert {e.facts["reason"] for e in events} == {"recall, Skarrin line 2: shells"}
    assert {e.who for e in events} == {"bex"}
    after = recall(demo_works, LINE)
    assert after.not_held == ()
    assert len(after.here) == len(before.here)
    assert after.last == before.last  # a hold moves nothing
    with pytest.raises(BadInput, match="every lot here"):
        hold_all(demo_works, "bex", LINE, "again")
    ready = [a.lot for a in before.here if a.lot.form == "packed" and a.lot.released_for]
    for lot in ready:
        with pytest.raises(BadInput):
            ship(demo_works, "jorun", "quillby", {lot.lot_id: None})
    assert demo_works.book.verify().ok


@pytest.mark.parametrize("who", ["runa", "mirel", "jorun", "auditor"])
def test_only_the_manager_and_the_quality_manager_run_a_recall(demo_works, who):
    entries = len(demo_works.book.events())
    with pytest.raises(NotAllowed, match="manager or quality_manager"):
        hold_all(demo_works, who, LINE, "shells")
    with pytest.raises(NotAllowed, match="manager or quality_manager"):
        keep_drill(demo_works, who, recall(demo_works, LINE), demo_works.now())
    with pytest.raises(BadInput, match="reason is empty"):
        hold_all(demo_works, "bex", LINE, " ")
    assert len(demo_works.book.events()) == entries


def test_a_drill_is_kept_with_its_result_and_its_time(demo_works):
    began = demo_works.now() - timedelta(minutes=42)
    found = recall(demo_works, LINE)
    entry = keep_drill(demo_works, "bex", found, began)
    later = recall(demo_works, LINE)
    keep_drill(demo_works, "ilsa", later, demo_works.now())
    newest, oldest = drills(demo_works)
    assert (newest.who, oldest.who) == ("ilsa", "bex")
    assert oldest.event_id == entry.event_id
    kept = oldest.result
    assert kept["taken_s"] == pytest.approx(42 * 60, abs=30)
    assert (kept["lots"], kept["here"]) == (len(found.lots), len(found.here))
    assert kept["accounted"] == found.last.accounted
    assert kept["total_dry_kg"] * 1000.0 == pytest.approx(found.last.total_g)
    assert recall(demo_works, LINE).lots == found.lots  # a drill changes nothing
    assert demo_works.book.verify().ok


@pytest.mark.parametrize("hours", [-1.0, 49.0])
def test_a_drill_that_has_not_begun_or_was_forgotten_is_refused(demo_works, hours):
    began = demo_works.now() - timedelta(hours=hours)
    with pytest.raises(BadInput, match="a drill begins before it ends"):
        keep_drill(demo_works, "bex", recall(demo_works, LINE), began)


def test_what_watch_finds_wrong_is_followed_to_its_end_in_seconds(demo_works):
    planted = [f for f in findings(demo_works) if f.kind in ("wet", "fill", "balance")]
    assert {"wet", "fill"} <= {f.kind for f in planted}
    lot_ids = {lot.lot_id for lot in demo_works.book.lots()}
    faults = [Fault("lot", s) for f in planted for s in f.subjects if s in lot_ids]
    assert faults
    faults += [Fault("meter", "kelp-quick"), LINE, Fault("machine", "belt-1")]
    for fault in faults:
        began = time.process_time()
        answer = recall(demo_works, fault)
        assert time.process_time() - began < 3.0  # CPU time; 0.1 s on a quiet machine
        assert answer.last.accounted_g + answer.last.unexplained_g == answer.last.total_g
        # 100 % within 5 %: what bulk plants argue for (practitioners, second hand)
        assert answer.last.accounted == pytest.approx(1.0, abs=0.05)


def test_a_bad_kit_reaches_what_it_judged_and_nothing_else(demo_works):
    lot = next(x for x in demo_works.book.lots(in_stock_only=True) if not x.on_runs)
    sample = take_sample(demo_works, "mirel", lot.lot_id, 50)
    found = Found("iodine", 300.0, 20.0, "mg/kg", method="strip", kit="KT-19")
    record_result(demo_works, "mirel", lot.lot_id, sample, found)
    reached = recall(demo_works, Fault("laboratory", "kt-19"))
    assert [a.lot.lot_id for a in reached.lots if a.level == 0] == [lot.lot_id]
    assert ("KT-19", "KT-19", "batch of a kit") in subjects(demo_works, "laboratory")


def test_every_subject_offered_can_be_asked(demo_works):
    for kind in KIND_NAMES:
        for value, words, _ in subjects(demo_works, kind):
            try:
                assert recall(demo_works, Fault(kind, value)).lots, words
            except BadInput as error:
                assert "No lot is affected" in str(error), words


def sheets_of(works, fault=LINE):
    found = recall(works, fault)
    return found, {s.name: s for s in elements(sight(works), found)}


def column(sheet, name):
    return [row[sheet.head.index(name)] for row in sheet.rows]


def test_the_elements_are_those_the_rule_names(demo_works):
    # 21 CFR 1.1325 to 1.1350 as listed in the project's traceability notes; 1.1330 items 1 to 10,
    # 1.1340 and 1.1345 were read there, the others are from memory and the sheets say so.
    _, sheets = sheets_of(demo_works)
    assert list(sheets) == [
        "Harvest",
        "Cooling",
        "Initial packing",
        "Receiving",
        "Transformation",
        "Shipping",
    ]
    assert len(sheets["Initial packing"].head) == 2 + 19
    for name, section in (("Shipping", "1.1340"), ("Receiving", "1.1345")):
        assert section in sheets[name].section
        assert "read" in sheets[name].section
        for element in (
            "Traceability lot code",
            "Quantity",
            "Unit of measure",
            "Product description",
            "Traceability lot code source",
            "Reference document type",
            "Reference document number",
        ):
            assert element in sheets[name].head
    assert "from memory" in sheets["Harvest"].section
    for sheet in sheets.values():
        assert all(len(row) == len(sheet.head) for row in sheet.rows)
        assert all(cell != "" and cell is not None for row in sheet.rows for cell in row)


def test_the_lines_are_the_books_own(demo_works):
    found, sheets = sheets_of(demo_works)
    reached = {a.lot.lot_id for a in found.lots}
    harvest = sheets["Harvest"]
    mine = [r for r in harvest.rows if r[1] == "yes"]
    assert {r[0] for r in mine} == {a.lot.lot_id for a in found.lots if a.level == 0}
    # leaf of other lines went into the same blends: it is on the sheet and said not to be reached
    assert {r[0] for r in harvest.rows if r[1] == "no"}.isdisjoint(reached)
    assert all(isinstance(cell, datetime) for cell in column(harvest, "Harvest date"))
    shipped = sheets["Shipping"]
    assert {(r.lot_id, r.document) for r in found.received} <= set(
        zip(
            column(shipped, "Traceability lot code"),
            column(shipped, "Reference document number"),
            strict=True,
        )
    )
    kg = {r.lot_id: 0.0 for r in found.received}
    for lot_id, mass in zip(
        column(shipped, "Traceability lot code"), column(shipped, "Quantity"), strict=True
    ):
        if lot_id in kg:
            kg[lot_id] += mass
    assert sum(kg.values()) == pytest.approx(sum(r.mass_kg for r in found.received))
    changed = sheets["Transformation"]
    made = {r[0] for r in changed.rows if r[2] == "new"}
    # what a customer sent back is a lot of its own, received and not transformed
    received = {r[0] for r in sheets["Receiving"].rows}
    assert reached - {a.lot.lot_id for a in found.lots if a.level == 0} <= made | received
    assert (reached & received) - made


def test_a_packed_lot_has_a_line_for_each_load_in_it(demo_works):
    _, sheets = sheets_of(demo_works, Fault("source", "kelp"))
    packing = sheets["Initial packing"]
    assert packing.rows
    lot_id = packing.rows[0][0]
    back = demo_works.book.trace_back(lot_id)
    lines = [r for r in packing.rows if r[0] == lot_id]
    assert len(lines) == len({n.lot_id for n in back.ends})


def test_what_is_not_in_the_book_is_shown_as_missing(demo_works):
    _, sheets = sheets_of(demo_works)
    cooled = column(sheets["Cooling"], "Location of cooling")
    lacking = cooled.count(MISSING)  # some loads were cooled, on a boat or in a cold room
    assert 0 < lacking < len(cooled)
    assert column(sheets["Cooling"], "Date of cooling").count(MISSING) == lacking
    assert sheets["Cooling"].missing >= 2 * lacking
    settings = demo_works.settings
    bare = [c.model_copy(update={"address": ""}) for c in settings.customer]
    without = replace(demo_works, settings=settings.model_copy(update={"customer": bare}))
    _, sheets = sheets_of(without)
    to = column(sheets["Shipping"], "Location of the immediate subsequent recipient")
    assert set(to) == {MISSING}
    sent = demo_works.book.events_in_force(kind="ship")
    correct(demo_works, "ilsa", sent[0].event_id, "paper lost", changes={"document": ""})
    _, sheets = sheets_of(demo_works, Fault("lot", sent[0].inputs[0].lot_id))
    assert MISSING in column(sheets["Shipping"], "Reference document number")
