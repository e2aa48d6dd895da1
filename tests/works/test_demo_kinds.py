"""Every kind of event around the making stands in the demo's history, and what moves balances."""

from datetime import datetime, timedelta

import pytest

from wareleaf.works import growing, pallets
from wareleaf.works.demo.opening import DEMO_DAY
from wareleaf.works.recall import recall
from wareleaf.works.recall_elements import elements
from wareleaf.works.recall_fault import Fault
from wareleaf.works.returns import returned_of
from wareleaf.works.sight import sight
from wareleaf.works.trace_lot import trace

pytestmark = pytest.mark.slow

AROUND = ("site_work", "harvest", "cooling", "grade", "aggregate", "disaggregate")
AROUND += ("receive_back", "rework", "destroy")


@pytest.mark.parametrize("kind", [*AROUND, "hold"])
def test_the_month_has_each_kind(month_works, kind):
    assert month_works.book.events_in_force(kind=kind)


def test_nine_days_have_all_but_the_restacked_pallet(demo_works):
    for kind in set(AROUND) - {"disaggregate"}:
        assert demo_works.book.events_in_force(kind=kind), kind


def test_every_load_is_of_a_harvest_that_was_cut_before_it_came(month_works):
    book = month_works.book
    cut = {e.facts["harvest_id"]: e for e in book.events_in_force(kind="harvest")}
    loads = book.events_in_force(kind="intake")
    assert len(loads) == len(cut) > 100
    for load in loads:
        harvest = cut[load.facts["harvest"]]
        assert harvest.facts["source"] == load.facts["source"]
        assert harvest.facts["cut_at"] == load.facts["cut_at"]
        assert harvest.happened_at < load.happened_at
        assert load.outputs[0].mass_g / 1000.0 == pytest.approx(
            harvest.facts["estimated_kg"], rel=0.6
        )


def test_no_leaf_was_cut_in_a_waiting_interval(month_works):
    (wait,) = growing.waits_of(month_works, "field-c")
    loads = month_works.book.events_in_force(kind="intake")
    cut = [e.facts["cut_at"] for e in loads if e.facts["source"] == "field-c"]
    assert cut
    assert not any(wait.covers(datetime.fromisoformat(at)) for at in cut)


def test_kelp_leaves_on_pallets_and_some_tea_waits_for_the_next_van(month_works):
    ships = month_works.book.events_in_force(kind="ship")
    assert all(e.facts.get("pallets") for e in ships if e.site == "kelp")
    for ship in (e for e in ships if e.site == "kelp"):
        (sscc,) = ship.facts["pallets"]
        assert pallets.pallet_of(month_works, sscc).shipped == ship
    waiting = [x for on in pallets.pallets_here(month_works, "tea").values() for x in on]
    assert waiting
    assert all(lot.away and mass_g == lot.remaining_mass_g for lot, mass_g in waiting)
    (off,) = {e.facts["sscc"] for e in month_works.book.events_in_force(kind="disaggregate")}
    assert len(pallets.pallet_of(month_works, off).shipped.inputs) == 1


def test_what_came_back_is_opened_or_destroyed_and_nothing_of_it_is_lost(month_works):
    book = month_works.book
    returns = book.events_in_force(kind="receive_back")
    assert {e.site for e in returns} == {"kelp", "tea"}
    back = returned_of(book.events_in_force(kind="ship"), returns)
    assert sum(mass for mass, _ in back.values()) == sum(
        d.mass_g for e in returns for d in e.inputs
    )
    (opened,) = book.events_in_force(kind="rework")
    moved_g = sum(m.mass_g for m in opened.outputs) + sum(s.mass_g for s in opened.streams)
    assert moved_g == opened.inputs[0].mass_g
    (loose,) = (book.lot(m.lot_id) for m in opened.outputs)
    packed = book.lot(opened.inputs[0].lot_id)
    product = month_works.settings.product_of(packed.attributes["product"])
    assert (loose.form, loose.status) == (product.form, "open")
    (burnt,) = book.events_in_force(kind="destroy")
    assert burnt.document
    assert sum(s.mass_g for s in burnt.streams) == burnt.inputs[0].mass_g
    for back_days in (1, 2):
        start = datetime.combine(DEMO_DAY - timedelta(days=back_days), datetime.min.time())
        start = start.replace(tzinfo=month_works.settings.zone)
        for site in ("kelp", "tea"):
            day = book.balance(start, start + timedelta(days=1), site)
            assert (day.mass.left_over_g, day.dry.left_over_g) == (0, 0)


def test_a_recall_of_a_line_shows_the_whole_chain(month_works):
    """From the packs that came back: their sheets name harvest, cooling, packing and shipping."""
    (event,) = month_works.book.events_in_force(kind="receive_back", site="kelp")
    sent = event.inputs[0].lot_id
    found = recall(month_works, Fault("lot", sent))
    assert found.last.accounted_g + found.last.unexplained_g == found.last.total_g
    assert any(r.returned_kg > 0.0 for r in trace(month_works, sent).receipts)
    above = (month_works.book.lot(n.lot_id) for n in month_works.book.trace_back(sent).nodes)
    first = next(lot.lot_id for lot in above if lot.form == "fresh")
    sheets = {s.name: s for s in elements(sight(month_works), recall(
        month_works, Fault("lot", first)))}  # fmt: skip
    for name in ("Harvest", "Receiving", "Initial packing", "Transformation", "Shipping"):
        assert sheets[name].rows, name
