"""The shelf-life door."""

import math

import pytest

from wareleaf.measure import BadInput
from wareleaf.works.doors import call

BASE = {
    "leaf": "sugar_kelp_blanched",
    "dry_matter_kg": 0.45,
    "moisture_db_start": 0.08,
    "moisture_db_limit": 0.15,
    "area_m2": 0.12,
    "wvtr_g_m2_day": 5.0,
    "wvtr_at": {"temperature_c": 38.0, "relative_humidity_difference": 0.9},
    "climate": {"temperature_c": 25.0, "relative_humidity": 0.75},
}


def without(*names):
    return {k: v for k, v in BASE.items() if k not in names}


def test_straight_isotherm_by_the_closed_form():
    # Tested at the climate's own temperature, saturation pressure cancels: the film passes
    # 5/0.9 g/(m2 day) for each unit of water activity. Labuza's closed form (memory):
    # ln((.40-.08)/(.40-.20)) / ((5/.9)(.12/450)/.5) days.
    data = without("leaf") | {
        "isotherm": {"model": "linear", "parameters": {"slope": 0.5}},
        "moisture_db_limit": 0.20,
        "wvtr_at": {"temperature_c": 25.0, "relative_humidity_difference": 0.9},
        "climate": {"temperature_c": 25.0, "relative_humidity": 0.80},
    }
    exact = math.log(0.32 / 0.20) / (5.0 / 0.9 * 0.12 / 450.0 / 0.5)
    out = call("shelf-life", data)
    assert out["days"] == pytest.approx(exact, rel=1e-5)
    assert out["limiting"] == "film"
    assert out["water_gained_g"] == pytest.approx(450.0 * 0.12, rel=1e-6)
    assert out["series"][-1]["moisture_db"] == pytest.approx(0.20, rel=1e-6)


def test_leaf_climate_list_and_spread():
    climate = [
        {"days": 30, "temperature_c": 30.0, "relative_humidity": 0.85},
        {"days": 2000, "temperature_c": 20.0, "relative_humidity": 0.65},
    ]
    data = BASE | {"climate": climate, "wvtr_relative_standard_uncertainty": 0.2}
    out = call("shelf-life", data)
    assert out["days_low"] < out["days"] < out["days_high"]
    assert out["sources"]
    assert {p["temperature_c"] for p in out["series"]} == {30.0, 20.0}


def test_model_short_form_is_the_same_as_isotherm():
    gab = {"monolayer_db": 0.05, "c": 10.0, "k": 0.9}
    short = call("shelf-life", without("leaf") | {"model": "gab", "parameters": gab})
    long = call("shelf-life", without("leaf") | {"isotherm": {"model": "gab", "parameters": gab}})
    assert short["days"] == long["days"]


def test_points_and_desiccant():
    points = {"model": "points", "water_activity": [0, 0.5, 0.9], "moisture_db": [0, 0.1, 0.3]}
    plain = call("shelf-life", without("leaf") | {"isotherm": points})
    helped = call("shelf-life", without("leaf") | {"isotherm": points, "desiccant": {"units": 1}})
    assert helped["days"] > plain["days"]
    # One unit takes 6 g once its humidity is 40 % (MIL-D-3464E, read); the limit lies above that.
    assert helped["water_gained_g"] - plain["water_gained_g"] == pytest.approx(6.0, abs=1e-4)


def test_never_reached_and_own_store_limit():
    out = call("shelf-life", BASE | {"climate": {"temperature_c": 20, "relative_humidity": 0.2}})
    assert out["days"] is None
    assert out["limiting"] == "climate"
    assert call("shelf-life", without("moisture_db_limit"))["moisture_db_limit"] > 0.1


@pytest.mark.parametrize(
    "data",
    [
        without("leaf"),
        BASE | {"leaf": "moss"},
        BASE | {"isotherm": {"model": "linear", "parameters": {"slope": 0.5}}},
        BASE | {"moisture_db_start": 0.2},
        BASE | {"climate": []},
        BASE | {"climate": {"temperature_c": 25.0, "relative_humidity": 75}},
        BASE | {"climate": [BASE["climate"], BASE["climate"]]},
        BASE | {"area_m2": 0.0},
        BASE | {"desiccant": {}},
        without("leaf") | {"isotherm": {"model": "linear", "parameters": {"tilt": 0.5}}},
        without("leaf", "moisture_db_limit") | {"model": "gab", "parameters": {}},
    ],
)
def test_bad_input(data):
    with pytest.raises(BadInput):
        call("shelf-life", data)
