"""Cost, energy and carbon of a lot, against sums done by hand from the settings."""

import pytest
from tests.works.plan_day_works import small_works

from wareleaf.accounts import fuel
from wareleaf.measure import BadInput
from wareleaf.works import cost_lot_charges
from wareleaf.works.cost_lot import lot_cost, lot_costs, set_grid_factor
from wareleaf.works.handle_lot import split
from wareleaf.works.pack_lot import PackRun, pack


@pytest.fixture
def small(tmp_path):
    return small_works(tmp_path)


def test_fresh_leaf_costs_what_was_paid_for_it(small):
    lot = small.take("line-01", 1000.0)
    cost = lot_cost(small.works, lot.lot_id)
    assert cost.money == pytest.approx(1000.0 * 0.60)  # settings: sugar_kelp_raw at 0.60
    assert cost.money_per_kg == pytest.approx(0.60)
    assert cost.kwh_per_kg == 0.0


def kelp_dried(small):
    """1000 kg washed, blanched and dried, with the hours on each machine."""
    lot = small.take("line-01", 1000.0, 0.90)
    hours = {}
    for machine, out, h in (
        ("wash-1", (1000.0, 0.90), 0.7),
        ("bath-1", (1010.0, 0.92), 1.2),
        ("belt-1", (88.0, 0.10), 9.0),
    ):
        run = small.start(machine, lot.lot_id)
        small.later(h)
        (lot,) = small.finish(run, out)
        hours[machine] = h
    return lot, hours


def predicted(small):
    """Energy as kept at the start of each run."""
    starts = small.works.book.events_in_force(kind="stage_started")
    return [e.facts["predicted"] for e in starts]


def test_a_dried_lot_carries_leaf_labour_electricity_and_fuel(small):
    lot, hours = kelp_dried(small)
    cost = lot_cost(small.works, lot.lot_id)
    settings = small.works.settings.costs
    kept = predicted(small)
    fired = sum(p["fuel_kg"] for p in kept)
    power = sum(p["electricity_kwh"] for p in kept)
    assert fired > 0.0
    assert power > 0.0
    # One person stands at each of the three machines in the demo settings.
    assert cost.total["labour"] == pytest.approx(sum(hours.values()) * settings.labour_per_h)
    assert cost.total["leaf"] == pytest.approx(600.0)
    assert cost.total["fuel"] == pytest.approx(fired * settings.fuel_per_kg)
    assert cost.total["electricity"] == pytest.approx(power * settings.electricity_per_kwh)
    assert cost.money == pytest.approx(sum(cost.total.values()))
    assert cost.money_per_kg == pytest.approx(cost.money / 88.0)
    lpg = fuel("lpg")
    gj = fired * lpg.net_calorific_value_mj_kg / 1000.0
    assert cost.kg_co2e == pytest.approx(gj * lpg.co2e_kg_gj())
    assert cost.fuel_kwh == pytest.approx(gj / 3.6 * 1000.0)


def test_the_notes_say_predicted_and_that_the_grid_is_left_out_until_it_is_given(small):
    lot, _ = kelp_dried(small)
    before = lot_cost(small.works, lot.lot_id)
    assert any("not metered" in n for n in before.notes)
    assert any("left out" in n for n in before.notes)
    assert any("memory" in n for n in before.notes)
    set_grid_factor(small.works, "ilsa", 0.25, "the national inventory, year and table")
    after = lot_cost(small.works, lot.lot_id)
    assert after.kg_co2e - before.kg_co2e == pytest.approx(0.25 * after.electricity_kwh)
    assert any("0.25" in n and "inventory" in n for n in after.notes)
    with pytest.raises(BadInput, match="source"):
        set_grid_factor(small.works, "ilsa", 0.25, " ")
    with pytest.raises(BadInput, match="kg_co2e_kwh"):
        set_grid_factor(small.works, "ilsa", -0.1, "x")


def test_the_energy_of_a_run_without_kept_prediction_is_predicted_now(small, monkeypatch):
    lot, _ = kelp_dried(small)
    with_kept = lot_cost(small.works, lot.lot_id)
    real = cost_lot_charges._energy

    def as_older_book(works, event, start, machine):
        facts = {k: v for k, v in start.facts.items() if k != "predicted"}
        from dataclasses import replace

        return real(works, event, replace(start, facts=facts), machine)

    monkeypatch.setattr(cost_lot_charges, "_energy", as_older_book)
    again = lot_cost(small.works, lot.lot_id)
    assert again.fuel_kwh == pytest.approx(with_kept.fuel_kwh, rel=1e-3)


def test_shares_follow_dry_matter_and_nothing_is_lost_in_a_split(small):
    lot, _ = kelp_dried(small)
    whole = lot_cost(small.works, lot.lot_id)
    parts = split(small.works, "teo", lot.lot_id, [22.0, 66.0])
    costs = lot_costs(small.works, [p.lot_id for p in parts])
    assert sum(c.money for c in costs.values()) == pytest.approx(whole.money)
    assert [c.money_per_kg for c in costs.values()] == pytest.approx(
        2 * [whole.money_per_kg], rel=1e-3
    )


def test_packs_add_film_and_the_hours_of_the_bench(small):
    lot, _ = kelp_dried(small)
    run = small.start("mill-1", lot.lot_id)
    small.later(1.0)
    (flake,) = small.finish(run, (87.0, 0.10))
    before = lot_cost(small.works, flake.lot_id)
    packs = 174
    packed = pack(
        small.works,
        "jorun",
        PackRun("kelp-flake-500", {flake.lot_id: None}, packs, [500.0] * 50, "kelp-pack-balance"),
    )
    after = lot_cost(small.works, packed.lot_id)
    # Product: 0.14 m2 a pack of film at 0.85; bench: 60 kg/h, one person at 18.
    assert after.total["packaging"] == pytest.approx(packs * 0.14 * 0.85)
    assert after.total["labour"] - before.total["labour"] == pytest.approx(87.0 / 60.0 * 18.0)
    assert after.total["leaf"] == pytest.approx(before.total["leaf"])


def test_an_unknown_lot_is_refused(small):
    with pytest.raises(BadInput, match="no lot"):
        lot_cost(small.works, "K6-0000-00")
