"""The money in moisture from the book: spread, limits, prices, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.stages import adviser
from wareleaf.works.dryer_outlets import ENOUGH, outlets
from wareleaf.works.house import Works
from wareleaf.works.moisture_limits import limit_choices
from wareleaf.works.moisture_money import Wish, dryers, leaves_of, moisture_money, usual_pair
from wareleaf.works.release_lot import confirm_limit
from wareleaf.works.settings import Customer


def test_the_spread_is_that_of_the_lots_that_came_off(demo_works: Works) -> None:
    found = moisture_money(demo_works, "bed-1", "tea_black")
    runs = [
        row.event
        for row in demo_works.book.events(kind="stage_finished", site="tea")
        if row.event.facts["equipment"] == "bed-1" and not row.superseded_by
    ]
    wet = [
        1.0 - sum(m.dry_g for m in e.outputs) / sum(m.mass_g for m in e.outputs)
        for e in runs
        if e.outputs[0].leaf == "tea_black"
    ]
    assert found.from_book and len(wet) >= ENOUGH
    assert sorted(found.outlet_wb) == pytest.approx(sorted(wet))
    assert found.advice.spread_sd_wb == pytest.approx(float(np.std(wet, ddof=1)))
    assert found.aim_in_use_wb == pytest.approx(float(np.mean(wet)))
    assert found.over_share == pytest.approx(np.mean(np.array(wet) > 0.065))


def test_the_money_is_that_of_the_adviser_with_the_works_own_figures(demo_works: Works) -> None:
    found = moisture_money(demo_works, "bed-1", "tea_black")
    product = demo_works.settings.product_of("black-leaf-1000")
    assert found.limit.id == product.id
    assert found.trade.limit_wb == product.moisture_wb_max
    assert found.trade.price_per_kg == product.price_per_kg
    dry = sum(
        m.dry_g / 1000.0
        for row in demo_works.book.events(kind="stage_finished", site="tea")
        if not row.superseded_by and row.event.facts["equipment"] == "bed-1"
        for m in row.event.outputs
        if m.leaf == "tea_black"
    )
    assert found.trade.dry_matter_kg_year == pytest.approx(dry)
    # LPG at 46 MJ/kg net and an efficiency of 0.75 (the settings): price of a kWh of heat.
    assert found.trade.heat_price_per_kwh == pytest.approx(
        adviser.heat_price_per_kwh(demo_works.settings.costs.fuel_per_kg, 46.0, 0.75), rel=1e-6
    )
    sd = found.advice.spread_sd_wb
    assert found.moving_saves == pytest.approx(
        adviser.cost_of(found.trade, found.aim_in_use_wb, sd).total
        - adviser.cost_of(found.trade, found.advice.cheapest_aim_wb, sd).total
    )
    assert found.moving_saves > 0.0  # the demo's tea is drier than its promise asks


def test_few_lots_leave_the_spread_to_the_forecast(demo_works: Works) -> None:
    few = len(
        outlets(demo_works, demo_works.settings.equipment_of("belt-2"), "wakame_blade").feed_wb
    )
    assert few < ENOUGH
    found = moisture_money(demo_works, "belt-2", "wakame_blade", Wish(dry_matter_kg_year=5000.0))
    assert not found.from_book
    assert f"has {few} such lots" in found.spread_words
    assert found.advice.spread_sd_wb > 0.0
    assert found.advice.factor == pytest.approx(adviser.margin_factor(0.05))


def test_what_is_wished_is_taken(demo_works: Works) -> None:
    wish = Wish(limit_wb=0.055, risk=0.01, price_per_kg=9.0, fuel_price_per_kg=2.2,
                dry_matter_kg_year=1000.0, aim_in_use_wb=0.04)  # fmt: skip
    found = moisture_money(demo_works, "bed-1", "tea_black", wish)
    plain = moisture_money(demo_works, "bed-1", "tea_black")
    assert (found.trade.limit_wb, found.trade.price_per_kg) == (0.055, 9.0)
    assert found.aim_in_use_wb == 0.04
    assert found.advice.cost.share_over < 0.01 + 1e-9
    assert found.trade.heat_price_per_kwh == pytest.approx(2.0 * plain.trade.heat_price_per_kwh)


def test_a_stray_lot_is_told_and_can_be_left_out(
    demo_works: Works, monkeypatch: pytest.MonkeyPatch
) -> None:
    from wareleaf.works import moisture_money as room

    made = outlets(demo_works, demo_works.settings.equipment_of("bed-1"), "tea_black")
    odd = replace(made, outlet_wb=(*made.outlet_wb, 0.12))
    monkeypatch.setattr(room, "outlets", lambda *_: odd)
    wide = moisture_money(demo_works, "bed-1", "tea_black", Wish(limit_wb=0.10))
    assert wide.strays_wb == (0.12,)
    assert any("Far from the others" in n for n in wide.notes)
    tight = moisture_money(
        demo_works, "bed-1", "tea_black", Wish(limit_wb=0.10, without_strays=True)
    )
    assert tight.advice.spread_sd_wb == pytest.approx(float(np.std(made.outlet_wb, ddof=1)))
    assert tight.advice.aim_wb > wide.advice.aim_wb


def test_a_limit_of_law_warns_until_it_is_confirmed(demo_works: Works) -> None:
    """Codex dried laver, moisture at most 14 % (CXS 323R-2017, read on a page that reprints it)."""
    buyer = Customer(id="codex-buyer", name="A buyer", market="CODEX")
    settings = demo_works.settings.model_copy(update={"customer": [buyer]})
    works = replace(demo_works, settings=settings)
    law = next(c for c in limit_choices(works, "kelp", "nori_sheet") if c.kind == "law")
    assert (law.id, law.limit_wb, law.confirmed) == ("CODEX-laver-dried-moisture", 0.14, False)
    wish = Wish(limit_id=law.id, dry_matter_kg_year=1000.0, price_per_kg=30.0)
    unsure = moisture_money(works, "belt-1", "nori_sheet", wish)
    assert adviser.UNCONFIRMED in unsure.notes
    confirm_limit(works, "bex", law.id, "read in the standard")
    again = next(c for c in limit_choices(works, "kelp", "nori_sheet") if c.id == law.id)
    assert again.confirmed


def test_the_usual_pair_has_the_most_lots(demo_works: Works) -> None:
    machine, leaf_id = usual_pair(demo_works, "tea")
    assert (machine, leaf_id) == ("bed-1", "tea_black")
    assert [m.id for m in dryers(demo_works, "kelp")] == ["belt-1", "belt-2"]
    assert leaves_of(demo_works, "tea") == ["tea_black", "tea_green"]


def test_a_dear_wet_lot_moves_the_aim_drier_and_moving_there_never_costs(
    demo_works: Works,
) -> None:
    dear = moisture_money(demo_works, "bed-1", "tea_black", Wish(rework_cost_per_kg=30.0))
    assert dear.advice.cheapest_aim_wb < dear.advice.aim_wb
    assert dear.keeps_limit and dear.moving_saves >= 0.0


@pytest.mark.parametrize(
    ("machine", "leaf_id", "wish", "field"),
    [
        ("mill-1", "sugar_kelp_blanched", Wish(), "machine"),
        ("oven-9", "sugar_kelp_blanched", Wish(), "equipment"),
        ("belt-1", "oak", Wish(), "leaf"),
        ("belt-1", "nori_sheet", Wish(), "dry_matter_kg_year"),
        ("bed-1", "tea_black", Wish(limit_id="none"), "limit"),
        ("bed-1", "tea_black", Wish(risk=0.9), "risk"),
        ("bed-1", "tea_black", Wish(price_per_kg=-1.0), "price_per_kg"),
        ("bed-1", "tea_black", Wish(limit_wb=0.005), "spread"),
    ],
)
def test_what_cannot_be_is_refused(
    demo_works: Works, machine: str, leaf_id: str, wish: Wish, field: str
) -> None:
    with pytest.raises(BadInput) as refused:
        moisture_money(demo_works, machine, leaf_id, wish)
    assert refused.value.problems[0].field.startswith(field)
