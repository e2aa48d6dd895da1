"""Blends from the store: proposals against hand sums, and what a made blend conserves."""

import pytest
from tests.works.plan_day_works import small_works

from wareleaf.measure import BadInput
from wareleaf.plan.blend import Limit
from wareleaf.works.bench import Found, record_result, take_sample
from wareleaf.works.blend_order import Order, make_blend, propose
from wareleaf.works.cost_lot import lot_cost
from wareleaf.works.handle_lot import hold
from wareleaf.works.run_stage import Off, finish_run


@pytest.fixture
def small(tmp_path):
    return small_works(tmp_path)


def flake(small, fresh_kg, moisture=0.09, source="line-01", off_kg=80.0):
    """A lot of kelp flake; more fresh leaf for the same flake makes it dearer."""
    lot = small.take(source, fresh_kg, 0.90)
    for machine, out in (
        ("wash-1", (fresh_kg, 0.90)),
        ("bath-1", (fresh_kg, 0.92)),
        ("belt-1", (off_kg, moisture)),
        ("mill-1", (off_kg, moisture)),
    ):
        run = small.start(machine, lot.lot_id)
        small.later(1.0)
        (lot,) = small.finish(run, out)
    return lot


def result(small, lot, parameter, value, sd, unit="mg/kg", basis="dry", **more):
    sample = take_sample(small.works, "mirel", lot.lot_id, 10)
    record_result(
        small.works,
        "mirel",
        lot.lot_id,
        sample,
        Found(parameter, value, sd, unit, basis, **more),
    )


def draws(proposal, at=0):
    return {d.lot_id: d.mass_kg for d in proposal.orders[at].draws}


@pytest.mark.slow
def test_the_cheaper_lot_is_drawn_first_and_the_cost_is_its_own(small):
    dear, cheap = flake(small, 1000.0), flake(small, 850.0)
    found = propose(small.works, [Order("A-1", "kelp-flake-500", 50.0, "quillby")])
    assert draws(found) == {cheap.lot_id: pytest.approx(50.0)}
    per_kg = lot_cost(small.works, cheap.lot_id).money_per_kg
    assert found.cost == pytest.approx(50.0 * per_kg)
    assert found.bound == pytest.approx(found.cost)
    assert per_kg < lot_cost(small.works, dear.lot_id).money_per_kg


@pytest.mark.slow
def test_a_laboratory_limit_forces_the_mix_worked_out_by_hand(small):
    clean, rich = flake(small, 1000.0), flake(small, 850.0)
    result(small, clean, "iodine", 200.0, 20.0)
    # The same content on wet basis and another unit: 0.091 g/100 g wet at 9 % is 1000 mg/kg dry.
    result(small, rich, "iodine", 0.091, 0.0091, "g/100 g", "wet", moisture_wb=0.09)
    order = Order("A-1", "kelp-flake-500", 60.0, "", {"iodine": Limit(max=500.0)})
    found = propose(small.works, [order])
    # Both lots lie at 9 %, so dry matter mixes as mass: 200 x + 1000 (1 - x) = 500 -> x = 5/8.
    assert draws(found)[clean.lot_id] == pytest.approx(37.5, rel=1e-3)
    assert draws(found)[rich.lot_id] == pytest.approx(22.5, rel=1e-3)
    iodine = next(p for p in found.orders[0].properties if p.name == "iodine")
    assert iodine.value == pytest.approx(500.0, rel=1e-3)
    # Each share carries its own uncertainty: (0.625 * 20)^2 + (0.375 * 100)^2.
    assert iodine.standard_uncertainty == pytest.approx((12.5**2 + 37.5**2) ** 0.5, rel=1e-2)
    assert iodine.chance == pytest.approx(0.5, abs=0.02)
    assert any("likely within" in s for s in found.orders[0].sentences)


def test_an_impossible_order_names_the_limits_that_clash(small):
    lot = flake(small, 1000.0)
    result(small, lot, "iodine", 900.0, 50.0)
    order = Order("A-7", "kelp-flake-500", 60.0, "", {"iodine": Limit(max=500.0)})
    found = propose(small.works, [order])
    assert found.cost is None
    assert draws(found) == {}
    assert any("A-7" in c and "iodine" in c for c in found.conflicts)


def test_more_than_the_store_holds_is_a_conflict_of_mass(small):
    flake(small, 1000.0)
    found = propose(small.works, [Order("A-1", "kelp-flake-500", 500.0)])
    assert any("mass" in c for c in found.conflicts)
    nothing = propose(small.works, [Order("B-1", "black-leaf-1000", 5.0)])
    assert "no lot in store" in nothing.conflicts[0]


@pytest.mark.slow
def test_a_held_lot_is_left_out_and_an_unreleased_one_is_named(small):
    held, free = flake(small, 850.0), flake(small, 1000.0)
    hold(small.works, "bex", held.lot_id, "iodine in doubt")
    found = propose(small.works, [Order("A-1", "kelp-flake-500", 50.0, "merrow")])
    assert list(draws(found)) == [free.lot_id]
    assert any(held.lot_id in s and "iodine in doubt" in s for s in found.left_out)
    assert any("Not yet released for FR" in s for s in found.orders[0].sentences)


def test_the_products_own_moisture_promise_binds(small):
    flake(small, 1000.0, moisture=0.13)  # the product promises at most 12 %
    found = propose(small.works, [Order("A-1", "kelp-flake-500", 50.0)])
    assert any("moisture" in c for c in found.conflicts)


def test_two_orders_draw_on_one_stock(small):
    lot = flake(small, 1000.0)
    orders = [Order("A", "kelp-flake-500", 20.0), Order("B", "kelp-flake-500", 30.0)]
    found = propose(small.works, orders)
    assert [o.order.order_id for o in found.orders] == ["A", "B"]
    assert draws(found, 0) == {lot.lot_id: pytest.approx(20.0)}
    assert draws(found, 1) == {lot.lot_id: pytest.approx(30.0)}
    with pytest.raises(BadInput, match="twice"):
        propose(small.works, [orders[0], orders[0]])


def graded_tea(small):
    lot = small.take("field-a", 400.0, 0.76)
    for machine, out in (
        ("trough-1", (300.0, 0.68)),
        ("roller-1", (299.0, 0.68)),
        ("floor-1", (298.0, 0.68)),
        ("bed-1", (99.0, 0.035)),
    ):
        run = small.start(machine, lot.lot_id)
        small.later(2.0)
        (lot,) = small.finish(run, out)
    run = small.start("sifter-1", lot.lot_id)
    small.later(1.0)
    off = [
        Off(60.0, 0.035, "tea-oven", "tea-floor-scale", attributes={"grade": "OP"}),
        Off(38.5, 0.035, "tea-oven", "tea-floor-scale", attributes={"grade": "dust"}),
    ]
    return finish_run(small.works, "davin", run, off)


def test_grade_shares_can_be_limited_and_stay_with_the_blend(small):
    leafy, dust = graded_tea(small)
    order = Order("T-1", "black-leaf-1000", 40.0, "tarn-house", {"grade:dust": Limit(0.25, 0.25)})
    found = propose(small.works, [order])
    assert draws(found)[dust.lot_id] == pytest.approx(10.0)
    made = make_blend(
        small.works, "jorun", draws(found), product_id="black-leaf-1000", order_id="T-1"
    )
    assert made.form == "blended"
    assert made.attributes["grades"] == {"OP": pytest.approx(0.75), "dust": pytest.approx(0.25)}
    again = propose(small.works, [Order("T-2", "black-leaf-1000", 80.0)])
    assert made.lot_id in draws(again)  # a blend of graded leaf may be drawn for graded leaf
    assert leafy.lot_id in draws(again)


@pytest.mark.slow
def test_a_blend_conserves_mass_and_dry_matter_and_adds_variances(small):
    one, two = flake(small, 1000.0), flake(small, 900.0, moisture=0.11)
    made = make_blend(small.works, "jorun", {one.lot_id: 25.5, two.lot_id: 80.0})
    event = small.works.book.event(made.made_by).event
    assert made.mass_g == 105_500
    assert made.dry_g == sum(d.dry_g for d in event.inputs)
    assert made.dry_g == pytest.approx(25_500 * 0.91 + 80_000 * 0.89, abs=2)
    expected = ((one.dry_sd_g * 25.5 / 80.0) ** 2 + two.dry_sd_g**2) ** 0.5
    assert made.dry_sd_g == pytest.approx(expected, rel=1e-3)
    assert small.works.book.lot(two.lot_id).remaining_mass_g == 0
    # Cost follows the leaf.
    costs = [lot_cost(small.works, x.lot_id) for x in (one, two, made)]
    assert costs[2].money == pytest.approx(costs[0].money * 25.5 / 80.0 + costs[1].money, rel=1e-3)


def test_blends_that_cannot_be_are_refused_and_nothing_is_written(small):
    kelp, other = flake(small, 1000.0), small.take("field-a", 100.0)
    before = len(small.works.book.events())
    for who, kilos, said in (
        ("jorun", {}, "at least one"),
        ("jorun", {kelp.lot_id: 0.0}, "must be from"),
        ("jorun", {kelp.lot_id: 80.1}, "80 kg that are left"),
        ("jorun", {kelp.lot_id: 10.0, other.lot_id: 10.0}, "one leaf"),
        ("mirel", {kelp.lot_id: 10.0}, "may not"),
    ):
        with pytest.raises(BadInput, match=said):
            make_blend(small.works, who, kilos)
    assert len(small.works.book.events()) == before
    hold(small.works, "bex", kelp.lot_id, "in doubt")
    with pytest.raises(BadInput, match="hold"):
        make_blend(small.works, "jorun", {kelp.lot_id: 10.0})
