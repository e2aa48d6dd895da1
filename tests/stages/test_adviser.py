"""The money in moisture, against closed forms and a printed tolerance factor."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.measure import BadInput
from wareleaf.stages.adviser import (
    Trade,
    advise,
    cost_of,
    heat_price_per_kwh,
    margin_factor,
    spread_sd_wb,
)

TEA = Trade(0.065, 3.0, 200_000.0, heat_kwh_per_kg_water=1.4, heat_price_per_kwh=0.05)


@pytest.mark.parametrize(
    ("risk", "z"), [(0.20, 0.84), (0.10, 1.28), (0.05, 1.64), (0.01, 2.33), (0.001, 3.09)]
)
def test_the_margin_is_the_normal_quantile(risk, z):
    """JCGM 106 (read): conformance probability .80, .90, .95, .99, .999 at z .84 to 3.09."""
    assert margin_factor(risk) == pytest.approx(z, abs=0.006)


def test_the_margin_of_an_estimated_spread_is_the_tolerance_factor():
    """Miller and Freund p. 483 (secondary): 40 strengths, 95/95, k 2.126; recomputed 2.1255."""
    assert margin_factor(0.05, 40, 0.95) == pytest.approx(2.126, abs=6e-4)


def test_many_lots_make_the_spread_known():
    assert margin_factor(0.05, 1_000_000) == pytest.approx(margin_factor(0.05), abs=0.005)
    assert margin_factor(0.05, 5) > margin_factor(0.05, 20) > margin_factor(0.05)


def test_the_share_over_the_limit_is_the_risk_that_was_stated():
    found = advise(TEA, {"outlet": 0.008}, 0.02)
    assert found.aim_wb == pytest.approx(0.065 - 2.0537 * 0.008, abs=1e-6)
    assert found.cost.share_over == pytest.approx(0.02, rel=1e-9)
    lots = np.random.default_rng(1).normal(found.aim_wb, 0.008, 400_000)
    assert np.mean(lots > 0.065) == pytest.approx(0.02, abs=0.001)


def test_without_spread_the_cost_is_that_of_weight_and_heat_by_hand():
    """D/(1 - 0.065) less D/(1 - 0.045): 4,479.4 kg, at 3 a kg and 0.07 of heat a kg."""
    found = cost_of(TEA, 0.045, 0.0)
    given_kg = 200_000.0 / 0.935 - 200_000.0 / 0.955
    assert found.weight_given_kg == pytest.approx(given_kg)
    assert found.weight == pytest.approx(3.0 * given_kg)
    assert found.heat == pytest.approx(1.4 * 0.05 * given_kg)
    assert found.share_over == 0.0


def test_the_mean_weight_is_that_of_the_series():
    """E[1/(1 - M)] = (1/u)(1 + v + 3 v^2 + 15 v^3 + ...), u = 1 - aim, v = (sd/u)^2."""
    sd, aim = 0.01, 0.05
    u = 1.0 - aim
    v = (sd / u) ** 2
    made = 200_000.0 / u * (1.0 + v + 3.0 * v**2 + 15.0 * v**3)
    found = cost_of(TEA, aim, sd)
    assert 200_000.0 / 0.935 - found.weight_given_kg == pytest.approx(made, rel=1e-12)


def test_halving_the_spread_saves_half_the_margin_to_first_order():
    """Saving = D z s/2 (price + heat)/(1 - limit)^2 as s falls; 2 % at 0.1 points."""
    sd, risk = 0.001, 0.05
    found = advise(TEA, {"outlet": sd}, risk)
    each = 3.0 + 1.4 * 0.05
    first_order = 200_000.0 * margin_factor(risk) * sd / 2.0 * each / 0.935**2
    assert found.halved_saving == pytest.approx(first_order, rel=0.02)


def test_the_parts_add_as_squares_and_the_widest_is_dearest():
    parts = {"feed": 0.006, "loading": 0.003, "air": 0.002}
    assert spread_sd_wb(parts) == pytest.approx(0.007)
    found = advise(TEA, parts, 0.05)
    assert [name for name, _ in found.part_savings] == ["feed", "loading", "air"]
    alone = advise(TEA, {"outlet": math.sqrt(0.003**2 + 0.003**2 + 0.002**2)}, 0.05)
    saved = dict(found.part_savings)["feed"]
    assert saved == pytest.approx(found.cost.total - alone.cost.total)
    assert sum(s for _, s in found.part_savings) < found.halved_saving * 1.5
    assert dict(advise(TEA, {"only": 0.007}, 0.05).part_savings)["only"] == pytest.approx(
        found.halved_saving
    )


def test_the_aim_in_use_is_priced_and_judged():
    dry = advise(TEA, {"outlet": 0.005}, 0.05, aim_in_use_wb=0.03)
    assert dry.now_cost.total > dry.cost.total
    wet = advise(TEA, {"outlet": 0.005}, 0.05, aim_in_use_wb=0.064)
    assert wet.now_cost.share_over > 0.05
    assert any("drier" in w for w in wet.warnings)


def test_dear_rework_moves_the_cheapest_aim_drier_to_the_newsvendors_point():
    """First order: price D/(1-a)^2 balances rework D/(1-a) f/s at the best aim."""
    trade = replace(TEA, rework_cost_per_kg=3.0, heat_price_per_kwh=0.0)
    found = advise(trade, {"outlet": 0.006}, 0.2)
    assert found.cheapest_aim_wb < found.aim_wb
    step = 1e-5
    around = [cost_of(trade, found.cheapest_aim_wb + d, 0.006).total for d in (-step, 0.0, step)]
    assert around[1] <= min(around[0], around[2])
    z = (trade.limit_wb - found.cheapest_aim_wb) / 0.006
    density = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) / 0.006
    assert 3.0 * density == pytest.approx(3.0 / (1.0 - found.cheapest_aim_wb), rel=0.05)


def test_with_rework_all_costs_are_those_of_the_cheapest_aims():
    trade = replace(TEA, rework_cost_per_kg=30.0)
    found = advise(trade, {"outlet": 0.006}, 0.05)
    assert found.cost == cost_of(trade, found.cheapest_aim_wb, 0.006)
    assert found.halved_cost == cost_of(trade, found.halved_aim_wb, 0.003)
    assert found.cost.total < cost_of(trade, found.aim_wb, 0.006).total
    assert found.halved_saving > 0.0


def test_without_rework_the_wettest_allowed_aim_is_the_cheapest():
    found = advise(TEA, {"outlet": 0.006}, 0.05)
    assert found.cheapest_aim_wb == found.aim_wb


def test_heat_price_from_fuel():
    """Firewood 0.10 a kg at 14.5 MJ/kg and 58 %: 0.10 x 3.6/(14.5 x 0.58) = 0.0428 a kWh."""
    assert heat_price_per_kwh(0.10, 14.5, 0.58) == pytest.approx(0.36 / 8.41)


@settings(deadline=None, max_examples=60)
@given(
    limit=st.floats(0.04, 0.35),
    share=st.floats(0.02, 0.3),
    risk=st.floats(1e-3, 0.3),
    price=st.floats(0.1, 100.0),
)
def test_less_spread_is_never_dearer(limit, share, risk, price):
    trade = replace(TEA, limit_wb=limit, price_per_kg=price)
    sd = min(share * limit / margin_factor(risk), 0.05)
    found = advise(trade, {"outlet": sd}, risk)
    assert 0.0 < found.aim_wb < limit
    assert found.halved_saving > 0.0
    assert found.halved_cost.total < found.cost.total
    assert found.cost.share_over == pytest.approx(risk, rel=1e-6)
    assert all(saving > 0.0 for _, saving in found.part_savings)


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: advise(TEA, {}, 0.05), "parts"),
        (lambda: advise(TEA, {"outlet": 0.0}, 0.05), "spread"),
        (lambda: advise(TEA, {"outlet": -0.01}, 0.05), "outlet"),
        (lambda: advise(TEA, {"outlet": 0.05}, 0.05), "spread"),
        (lambda: advise(TEA, {"outlet": 0.005}, 0.0), "risk"),
        (lambda: advise(TEA, {"outlet": 0.005}, 0.6), "risk"),
        (lambda: advise(TEA, {"outlet": 0.005}, 0.05, lots_seen=2), "lots_seen"),
        (lambda: advise(TEA, {"outlet": 0.005}, 0.05, aim_in_use_wb=float("nan")), "aim_in_use"),
        (lambda: cost_of(TEA, 0.3, 0.2), "sd_wb"),
        (lambda: replace(TEA, price_per_kg=-1.0), "price_per_kg"),
        (lambda: replace(TEA, limit_wb=0.9), "limit_wb"),
        (lambda: heat_price_per_kwh(0.1, 0.0, 0.5), "net_heating_value_mj_kg"),
    ],
)
def test_bad_input_is_refused(make, field):
    with pytest.raises(BadInput) as refused:
        make()
    assert refused.value.problems[0].field.startswith(field[:6])
