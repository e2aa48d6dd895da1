"""The moisture-aim door: a worked example, the normal distribution, lots, law, bad input."""

import numpy as np
import pytest
from scipy.stats import norm

from wareleaf.measure import BadInput
from wareleaf.stages.adviser import margin_factor
from wareleaf.works import doors

ASK = {
    "limit_wb": 0.10,
    "risk": 0.05,
    "parts_sd_wb": {"outlet": 0.01},
    "price_per_kg": 10.0,
    "dry_matter_kg_year": 100_000.0,
    "heat_kwh_per_kg_water": 1.5,
    "heat_price_per_kwh": 0.06,
}


def test_a_worked_example_by_hand():
    """Limit 10 %, 1 point of spread, 5 % over: aim 10 - 1.6449 = 8.355 %.

    100 t dry weigh 100,000/0.9 = 111,111 kg at the limit. At the aim 100,000/0.916449 = 109,117,
    and (0.01/0.916449)^2 = 1.191e-4 more for the curvature of 1/(1 - w), 13 kg: 109,130 kg. So
    1,981 kg are given away: 19,813 at 10 a kg and 178 of heat at 1.5 x 0.06 a kg.
    """
    out = doors.call("moisture-aim", ASK)
    assert out["aim_wb"] == pytest.approx(0.0835515, abs=1e-6)
    cost = out["cost"]
    assert cost["weight_given_kg"] == pytest.approx(1981.0, abs=1.0)
    assert cost["weight"] == pytest.approx(10.0 * cost["weight_given_kg"])
    assert cost["heat"] == pytest.approx(0.09 * cost["weight_given_kg"])
    assert cost["total"] == pytest.approx(cost["weight"] + cost["heat"])
    # Half the spread: aim 9.1776 %, 100,000/0.908224 (1 + 3.03e-5) = 110,108: 1,003 kg.
    assert out["halved_cost"]["weight_given_kg"] == pytest.approx(1002.7, abs=1.0)
    assert out["halved_saving"] == pytest.approx((1981.0 - 1002.7) * 10.09, rel=2e-3)


def test_the_share_over_is_that_of_the_normal_distribution():
    """scipy.stats.norm is the reference, at the advised aim and at one in use."""
    out = doors.call("moisture-aim", ASK | {"aim_in_use_wb": 0.09})
    assert out["cost"]["share_over"] == pytest.approx(norm.sf(0.10, out["aim_wb"], 0.01))
    assert out["now_cost"]["share_over"] == pytest.approx(norm.sf(1.0))
    assert any("more than the 5 % allowed" in w for w in out["warnings"])


def test_the_mass_given_away_is_wet_basis_arithmetic_over_all_lots():
    """200,000 lots drawn: mean of dry/(1 - w), not dry/(1 - mean w) and not dry (1 + w)."""
    out = doors.call("moisture-aim", ASK | {"parts_sd_wb": {"outlet": 0.02}})
    lots = np.random.default_rng(8).normal(out["aim_wb"], 0.02, 200_000)
    drawn = 100_000.0 / 0.9 - 100_000.0 * np.mean(1.0 / (1.0 - lots))
    assert out["cost"]["weight_given_kg"] == pytest.approx(drawn, abs=25.0)  # 5 sd of the draw


def test_measured_lots_widen_the_margin_by_the_doubt_of_their_spread():
    lots = np.random.default_rng(6).normal(0.09, 0.006, 20).tolist()
    ask = {k: v for k, v in ASK.items() if k != "parts_sd_wb"} | {"outlet_wb": lots}
    out = doors.call("moisture-aim", ask)
    sd = float(np.std(lots, ddof=1))
    assert out["factor"] == pytest.approx(margin_factor(0.05, 20, 0.95))
    assert out["aim_wb"] == pytest.approx(0.10 - out["factor"] * sd)
    assert out["now_cost"]["share_over"] == pytest.approx(norm.sf(0.10, np.mean(lots), sd))


def test_a_limit_of_law_that_nobody_confirmed_is_warned_of():
    said = doors.call("moisture-aim", ASK | {"limit_kind": "law"})["warnings"]
    assert "not confirmed this limit of law" in said[0]
    sure = ASK | {"limit_kind": "law", "limit_confirmed": True}
    for ask in (ASK, sure):
        warnings = doors.call("moisture-aim", ask)["warnings"]
        assert not any("not confirmed this limit" in w for w in warnings)


def test_heat_may_be_priced_by_its_fuel():
    """0.10 a kg at 14.5 MJ/kg and 58 %: 0.0428 a kWh."""
    fuel = {"fuel_price_per_kg": 0.10, "net_heating_value_mj_kg": 14.5, "heater_efficiency": 0.58}
    ask = {k: v for k, v in ASK.items() if k != "heat_price_per_kwh"} | fuel
    cost = doors.call("moisture-aim", ask)["cost"]
    assert cost["heat"] == pytest.approx(1.5 * 0.36 / 8.41 * cost["weight_given_kg"])


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"parts_sd_wb": {}}, "parts_sd_wb"),
        ({"outlet_wb": [0.08, 0.09, 0.1]}, "parts_sd_wb"),
        ({"parts_sd_wb": {"outlet": 0.08}}, "spread"),
        ({"risk": 0.7}, "risk"),
        ({"limit_wb": 0.9}, "limit_wb"),
        ({"price_per_kg": -1}, "price_per_kg"),
        ({"heat_price_per_kwh": None}, "heat_price_per_kwh"),
        ({"fuel_price_per_kg": 1.0}, "heat_price_per_kwh"),
        ({"colour": 1}, "colour"),
    ],
)
def test_bad_input_names_its_field(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("moisture-aim", ASK | change)
    assert field in [p.field for p in caught.value.problems]
