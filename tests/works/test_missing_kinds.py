"""Site work, harvest, cooling, grades, pallets, returns, rework and destruction at the works.

Works, people and numbers are the demo's own.
"""

from __future__ import annotations

from datetime import timedelta

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import growing, pallets
from wareleaf.works.cool import cool
from wareleaf.works.correct_weights import correct_weights
from wareleaf.works.destroy import destroy, destroy_held
from wareleaf.works.doors import call
from wareleaf.works.dossier import dossier
from wareleaf.works.find_lots import find_lots
from wareleaf.works.handle_lot import correct, free, hold, split
from wareleaf.works.judge import grade
from wareleaf.works.people import MAY, NotAllowed
from wareleaf.works.properties import lot_properties
from wareleaf.works.recall import recall
from wareleaf.works.recall_drill import hold_all
from wareleaf.works.recall_elements import elements
from wareleaf.works.recall_fault import Fault
from wareleaf.works.returns import receive_back
from wareleaf.works.rework import Part, rework
from wareleaf.works.ship import ship
from wareleaf.works.sight import sight
from wareleaf.works.take_in import Load, take_in
from wareleaf.works.trace_lot import trace

SSCC = "340123450000000017"  # prefix invented; 3 x 14 + 11 = 53, to the next ten is 7


def who(works, job):
    return next(p.id for p in works.settings.person if not p.sites and MAY[job] & set(p.roles))


def a_load(works, **more):
    source = works.settings.source[0]
    scale = next(m for m in works.settings.meter if m.quantity == "mass_kg")
    said = {"gross_kg": 500.0, "tare_kg": 0.0, "meter": scale.id, **more}
    return take_in(works, who(works, "take in leaf"), Load(source=source.id, **said))[1]


def shipped_packs(works):
    """A packed lot that was shipped in part, its customer, and kg they have."""
    packed = works.book.lots(form="packed")
    lot = next(x for x in packed if x.away and not x.returned_mass_g)
    customer, (mass_g, _) = next(iter(lot.away.items()))
    return lot, customer, mass_g / 1000.0


def test_leaf_cut_in_a_waiting_interval_is_held_until_quality_frees_it(demo_works):
    works, source = demo_works, demo_works.settings.source[0]
    me, now = who(works, growing.JOB), works.now()
    growing.record_site_work(works, me, source.id, "sprayed", substance="algicide X", dose="1 l/ha",
                             interval_days=7, happened_at=now - timedelta(days=2))  # fmt: skip
    early = a_load(works, cut_at=now - timedelta(hours=3))
    assert early.status == "held"
    assert "before the waiting interval of algicide X ended" in early.held_because
    before = a_load(works, cut_at=now - timedelta(days=3))
    assert before.status == "open"
    free(works, who(works, "release a lot"), early.lot_id, "residue tested, see report 7")
    assert works.book.lot(early.lot_id).status == "open"


def test_a_treatment_entered_late_holds_what_came_in_and_what_was_made_of_it(demo_works):
    works, source = demo_works, demo_works.settings.source[0]
    me, now = who(works, growing.JOB), works.now()
    lot = a_load(works, cut_at=now - timedelta(hours=3))
    parts = split(works, who(works, "run a stage"), lot.lot_id, [200.0], drawn_kg=200.0)
    nine_hours_ago = now - timedelta(hours=9)
    _, held = growing.record_site_work(
        works, me, source.id, "sprayed", substance="X", interval_days=1, happened_at=nine_hours_ago
    )
    assert {lot.lot_id, parts[0].lot_id} <= set(held)
    assert works.book.lot(parts[0].lot_id).held_because.startswith(f"made of {lot.lot_id}: cut")


def test_a_substance_needs_its_interval(demo_works):
    me, source = who(demo_works, growing.JOB), demo_works.settings.source[0].id
    with pytest.raises(BadInput, match=r"needs its waiting interval; give facts\.interval_days"):
        growing.record_site_work(demo_works, me, source, "sprayed", substance="X")


def test_harvest_and_cooling_fill_the_sheets(demo_works):
    works, source = demo_works, demo_works.settings.source[0]
    me, now = who(works, growing.JOB), works.now()
    cut = now - timedelta(hours=4)
    harvest = growing.record_harvest(works, me, source.id, 480.0, harvest_id="H-7", cut_at=cut,
                                     vessel="Tern", people=["Ro"], document="HV/7")  # fmt: skip
    assert (harvest.taken_in_kg, harvest.waits) == (0.0, ())
    with pytest.raises(BadInput, match="There is a harvest H-7 already"):
        growing.record_harvest(works, me, source.id, 1.0, harvest_id="H-7")
    other = next(s for s in works.settings.source if s.id != source.id)
    with pytest.raises(BadInput, match="this load is from"):
        scale = next(m.id for m in works.settings.meter if m.quantity == "mass_kg")
        take_in(works, me, Load(other.id, 10.0, 0.0, scale, harvest="H-7"))
    lot = a_load(works, harvest="H-7")
    assert lot.attributes["cut_at"] == cut.isoformat()
    assert growing.harvest_of(works, "H-7").taken_in_kg == pytest.approx(500.0)
    cool(
        works, me, [], "ice", 1.5, began=cut + timedelta(minutes=20), harvest_id="H-7", place="Tern"
    )
    found = recall(works, Fault("lot", lot.lot_id))
    sheets = {s.name: s for s in elements(sight(works), found)}
    row = dict(zip(sheets["Harvest"].head, sheets["Harvest"].rows[0], strict=True))
    assert row["Harvest date"] == cut
    assert row["Reference document number"] == "HV/7"
    row = dict(zip(sheets["Cooling"].head, sheets["Cooling"].rows[0], strict=True))
    assert ("harvest H-7", "cooled, ice", 1.5) in [
        (m.on, m.quantity, m.value) for m in dossier(works, lot.lot_id).measured
    ]
    assert (row["Location of cooling"], row["Date of cooling"]) == (
        "Tern",
        cut + timedelta(minutes=20),
    )


def test_cooling_before_a_lot_was_there_is_refused(demo_works):
    lot = a_load(demo_works)
    early = demo_works.now() - timedelta(days=1)
    with pytest.raises(BadInput, match="before its lot"):
        cool(demo_works, who(demo_works, "cool leaf"), [lot.lot_id], "ice", 1.0, began=early)
    with pytest.raises(BadInput, match="must be one of ice, chilled sea water, cold room"):
        cool(demo_works, who(demo_works, "cool leaf"), [lot.lot_id], "wind", 1.0)


def test_the_grade_of_a_lot_follows_the_last_grading_and_its_corrections(demo_works):
    works = demo_works
    lot = a_load(works)
    me = who(works, "grade a lot")
    assert grade(works, me, lot.lot_id, "A", "hand").attributes["grade"] == "A"
    assert grade(works, me, lot.lot_id, "B", "taste").attributes["grade"] == "B"
    assert set(lot_properties(works, lot.lot_id).grades) == {"B"}
    last = works.book.events_in_force(kind="grade", lot_id=lot.lot_id)[-1]
    correct(works, who(works, "correct the book"), last.event_id, "wrong lot", void=True)
    assert works.book.lot(lot.lot_id).attributes["grade"] == "A"
    assert works.book.verify().ok


def test_a_pallet_is_found_by_its_number_and_ships_as_a_whole(demo_works):
    works, me = demo_works, who(demo_works, pallets.JOB)
    lot = next(
        x
        for x in works.book.lots(form="packed", in_stock_only=True)
        if x.released_for and x.attributes["packs"] > 20 and x.remaining_mass_g == x.mass_g
    )
    with pytest.raises(BadInput, match="18 digits with a right check digit"):
        pallets.put_on(works, me, {lot.lot_id: 3}, sscc="340123450000000018")
    pallet = pallets.put_on(works, me, {lot.lot_id: 10}, sscc=f"(00){SSCC}")
    assert pallet.on_it[0][1] == round(10 * lot.mass_g / lot.attributes["packs"])
    assert find_lots(works, None, text=f"]C100{SSCC}").pallet == SSCC
    assert [x.lot_id for x in find_lots(works, None, text=SSCC).lots] == [lot.lot_id]
    packs = lot.attributes["packs"]
    with pytest.raises(BadInput, match=f"{packs - 10} are here and on none"):
        pallets.put_on(works, me, {lot.lot_id: packs - 9}, sscc=SSCC)
    customer = next(c for c in works.settings.customer if c.market in lot.released_for)
    with pytest.raises(BadInput, match=f"take it off pallet {SSCC} first"):
        ship(works, me, customer.id, {lot.lot_id: None})
    event = ship(works, me, customer.id, {}, pallets=[SSCC])
    assert event.inputs[0].mass_g == pallet.on_it[0][1]
    gone = pallets.pallet_of(works, SSCC)
    assert (gone.on_it, gone.shipped) == ((), event)
    assert works.book.lot(lot.lot_id).pallets == {}


def test_new_pallet_numbers_never_come_twice(demo_works):
    demo_works.book.settings_put(pallets.KEY, None)
    with pytest.raises(BadInput, match="needs your GS1 company prefix"):
        pallets.next_number(demo_works)
    pallets.set_numbers(demo_works, "0614141")
    numbers = {pallets.next_number(demo_works) for _ in range(3)}
    # GS1 General Specifications' usual example prefix (from memory); digits worked out by hand:
    # 00614141 000000001: 3 x (0+6+4+4+0+0+0+0+1) + (0+1+1+1+0+0+0+0) = 3 x 15 + 3 = 48, so 2
    assert "006141410000000012" in numbers
    assert len(numbers) == 3


def test_what_comes_back_is_held_and_is_never_more_than_was_shipped(demo_works):
    works, me = demo_works, who(demo_works, "receive back")
    lot, customer, has_kg = shipped_packs(works)
    with pytest.raises(BadInput, match="no more can come back than was shipped"):
        receive_back(works, me, customer, {lot.lot_id: has_kg * 1.5}, "torn")
    other = next(c.id for c in works.settings.customer if c.id not in lot.away)
    with pytest.raises(BadInput, match=f"{other} has nothing of {lot.lot_id}"):
        receive_back(works, me, other, {lot.lot_id: 0.1}, "torn")
    stock_g = works.book.lot(lot.lot_id).remaining_mass_g
    (back,) = receive_back(works, me, customer, {lot.lot_id: has_kg / 2}, "torn packs")
    assert back.held_because == f"came back from {customer}: torn packs"
    after = works.book.lot(lot.lot_id)
    assert after.remaining_mass_g == stock_g
    assert after.away[customer][0] == pytest.approx(has_kg * 500.0, abs=1)
    assert [n.lot_id for n in works.book.trace_back(back.lot_id).nodes][:2] == [
        back.lot_id,
        lot.lot_id,
    ]
    receipts = [r for r in trace(works, lot.lot_id).receipts if r.lot_id == lot.lot_id]
    assert sum(r.returned_kg for r in receipts) == pytest.approx(has_kg / 2, abs=0.001)
    told = call("trace", {"book": str(works.folder), "lot_id": lot.lot_id, "direction": "forward"})
    of_lot = [r for r in told["receipts"] if r["lot_id"] == lot.lot_id]
    assert sum(r["returned_kg"] for r in of_lot) == pytest.approx(has_kg / 2, abs=0.001)
    found = recall(works, Fault("lot", lot.lot_id))
    mine = [r for r in found.received if r.lot_id == lot.lot_id]
    assert sum(r.net_kg for r in mine) == pytest.approx(sum(r.mass_kg for r in mine) - has_kg / 2,
                                                        abs=0.001)  # fmt: skip
    assert any(a.lot.lot_id == back.lot_id for a in found.here)
    assert found.last.accounted_g + found.last.unexplained_g == found.last.total_g
    (receive_back(works, me, customer, {lot.lot_id: None}, "the rest"),)
    assert customer not in works.book.lot(lot.lot_id).away
    today = works.now().replace(hour=0, minute=0)
    day = works.book.balance(today, today + timedelta(days=1), lot.site)
    assert day.mass.came_back_g == pytest.approx(has_kg * 1000.0, abs=1)
    assert (day.mass.left_over_g, day.dry.left_over_g) == (0, 0)
    assert works.book.verify().ok


def test_a_shipment_cannot_be_taken_out_of_the_book_when_some_of_it_came_back(demo_works):
    works = demo_works
    lot, customer, _ = shipped_packs(works)
    receive_back(works, who(works, "receive back"), customer, {lot.lot_id: None}, "torn")
    sent = works.book.events_in_force(kind="ship", lot_id=lot.lot_id)[0]
    with pytest.raises(BadInput, match="would come back from"):
        correct(works, who(works, "correct the book"), sent.event_id, "never left", void=True)


def test_packs_are_opened_back_to_loose_leaf(demo_works):
    works = demo_works
    loose = (x for x in works.book.lots(form="packed", in_stock_only=True) if not x.pallets)
    lot = next(x for x in loose if x.released_for)
    kg = lot.remaining_mass_g / 1000.0
    with pytest.raises(BadInput, match="form is 'packed'; rework gives"):
        rework(works, who(works, "rework"), {lot.lot_id: None}, [Part(kg, "packed")], "torn")
    with pytest.raises(BadInput, match="weigh again"):
        rework(works, who(works, "rework"), {lot.lot_id: None}, [Part(kg * 1.2, "flake")], "torn")
    (bulk,) = rework(works, who(works, "rework"), {lot.lot_id: None}, [Part(kg - 0.2, "flake")],
                     "seals leak", waste_kg=0.2)  # fmt: skip
    assert (bulk.form, bulk.released_for) == ("flake", ())
    assert "product" not in bulk.attributes
    assert bulk.moisture_wb == pytest.approx(lot.moisture_wb, abs=0.002)
    assert works.book.lot(lot.lot_id).remaining_mass_g == 0


def test_destroying_takes_a_witness_a_paper_and_the_right_role(demo_works):
    works = demo_works
    lot = a_load(works)
    me = who(works, "destroy leaf")
    said = {"method": "composted", "witness": "Inspector Reed", "document": "D/1", "reason": "rot"}
    for name in said:
        with pytest.raises(BadInput, match=f"{name} is empty"):
            destroy(works, me, lot.lot_id, None, **{**said, name: " "})
    with pytest.raises(BadInput, match="the witness is someone else"):
        destroy(works, me, lot.lot_id, None, **{**said, "witness": me})
    operator = next(p.id for p in works.settings.person if p.roles == ["operator"])
    with pytest.raises(NotAllowed):
        destroy(works, operator, lot.lot_id, None, **said)
    event = destroy(works, me, lot.lot_id, 100.0, **said)
    assert (event.document, event.streams[0].name) == ("D/1", "destroyed")
    assert works.book.lot(lot.lot_id).remaining_mass_g == 400_000
    today = works.now().replace(hour=0, minute=0)
    day = works.book.balance(today, today + timedelta(days=1), lot.site)
    assert day.mass.losses_g["destroyed"] == 100_000


def test_what_a_recall_holds_is_destroyed_and_nothing_else(demo_works):
    works = demo_works
    lot = a_load(works)
    part, rest = split(works, who(works, "run a stage"), lot.lot_id, [200.0, 300.0])
    fault = Fault("lot", lot.lot_id)
    me = who(works, "destroy leaf")
    said = {"method": "composted", "witness": "Inspector Reed", "document": "D/2", "reason": "rot"}
    with pytest.raises(BadInput, match="Nothing to destroy"):
        destroy_held(works, me, fault, **said)
    hold(works, me, part.lot_id, "smells")
    destroy_held(works, me, fault, **said)
    assert works.book.lot(part.lot_id).remaining_mass_g == 0
    assert works.book.lot(rest.lot_id).remaining_mass_g == 300_000
    hold_all(works, who(works, "run a recall"), fault, "all of it")
    destroy_held(works, me, fault, **{**said, "document": "D/3"})
    found = recall(works, fault)
    assert (found.last.in_stock_g, found.last.waste_g) == (0, found.last.total_g)


def test_a_longer_waiting_interval_holds_what_it_says_was_cut_too_early(demo_works):
    """A correction holds the load, in its own writing, as a treatment entered late does."""
    works, source = demo_works, demo_works.settings.source[0]
    me, now = who(works, growing.JOB), works.now()
    then = now - timedelta(days=2)
    work, _ = growing.record_site_work(
        works, me, source.id, "sprayed", substance="X", interval_days=1, happened_at=then
    )
    lot = a_load(works, cut_at=now - timedelta(hours=3))
    assert lot.status == "open"
    boss = who(works, "correct the book")
    facts = {**work.facts, "interval_days": 7}
    correct(works, boss, work.event_id, "misread the label", changes={"facts": facts})
    assert "waiting interval of X ended" in works.book.lot(lot.lot_id).held_because
    other = a_load(works, cut_at=now - timedelta(days=3))
    assert other.status == "open"
    facts = {**works.book.event(other.made_by).event.facts,
             "cut_at": (now - timedelta(hours=5)).isoformat()}  # fmt: skip
    correct(works, boss, other.made_by, "wrong day", changes={"facts": facts})
    assert "waiting interval of X ended" in works.book.lot(other.lot_id).held_because


def test_a_harvest_that_a_load_names_keeps_its_number_and_place(demo_works):
    works, source = demo_works, demo_works.settings.source[0]
    me, boss = who(works, growing.JOB), who(works, "correct the book")
    for name in ("H-8", "H-9"):
        growing.record_harvest(works, me, source.id, 480.0, harvest_id=name,
                               cut_at=works.now() - timedelta(hours=4))  # fmt: skip
    lot = a_load(works, harvest="H-8")
    by_name = {e.facts["harvest_id"]: e for e in works.book.events_in_force(kind="harvest")}
    for change in ({"void": True}, {"changes": {"facts": {**by_name["H-8"].facts,
                                                           "harvest_id": "H-88"}}}):  # fmt: skip
        with pytest.raises(BadInput, match=f"Harvest H-8 is named by load {lot.lot_id}; correct"):
            correct(works, boss, by_name["H-8"].event_id, "another boat", **change)
    with pytest.raises(BadInput, match="There is a harvest H-8 already"):
        renamed = {**by_name["H-9"].facts, "harvest_id": "H-8"}
        correct(works, boss, by_name["H-9"].event_id, "misread", changes={"facts": renamed})
    intake = works.book.event(lot.made_by).event
    with pytest.raises(BadInput, match="There is no harvest H-7"):
        wrong = {**intake.facts, "harvest": "H-7"}
        correct(works, boss, lot.made_by, "misread", changes={"facts": wrong})
    correct(works, boss, by_name["H-9"].event_id, "never cut", void=True)
    assert works.book.verify().ok


def test_a_correction_of_a_return_a_rework_or_a_destruction_is_asked_as_the_job_is(demo_works):
    works, boss = demo_works, who(demo_works, "correct the book")
    lot, customer, _ = shipped_packs(works)
    receive_back(works, who(works, "receive back"), customer, {lot.lot_id: None}, "torn")
    back = works.book.events_in_force(kind="receive_back", lot_id=lot.lot_id)[-1]
    with pytest.raises(BadInput, match="before it was first shipped"):
        early = {"happened_at": lot.made_at}
        correct(works, boss, back.event_id, "another day", changes=early)
    load = a_load(works)
    (loose,) = rework(works, who(works, "rework"), {load.lot_id: 100.0}, [Part(99.0, "washed")],
                      "sandy")  # fmt: skip
    with pytest.raises(BadInput, match="120 kg came of 100 kg; weigh again"):
        correct_weights(works, boss, loose.made_by, "misread", {loose.lot_id: (120.0, 0.9)})
    said = {"method": "composted", "witness": "Inspector Reed", "document": "D/9", "reason": "rot"}
    me = who(works, "destroy leaf")
    gone = destroy(works, me, loose.lot_id, None, **said)
    with pytest.raises(BadInput, match="the witness is someone else"):
        own = {**gone.facts, "witness": works.settings.person_of(me).name}
        correct(works, boss, gone.event_id, "it was me", changes={"facts": own})
