"""The sorption door: leaf or bare model, three ways in, and what it says of its numbers."""

import numpy as np
import pytest

from wareleaf import leaf
from wareleaf.measure import BadInput
from wareleaf.works import doors

GAB = {"Xm": 0.07, "C": 12.0, "K": 0.9}


def call(**data):
    return doors.call("sorption", data)


@pytest.mark.parametrize("leaf_id", leaf.profile_ids())
@pytest.mark.parametrize("branch", ["adsorption", "desorption"])
def test_three_ways_in_tell_the_same_story(leaf_id, branch):
    common = {"leaf": leaf_id, "temperature_c": 25.0, "branch": branch}
    first = call(water_activity=0.55, **common)
    by_db = call(moisture_db=first["moisture_db"], **common)
    by_wb = call(moisture_wb=first["moisture_wb"], **common)
    for other in (by_db, by_wb):
        assert other["water_activity"] == pytest.approx(0.55)
        assert other["moisture_db"] == pytest.approx(first["moisture_db"])
        assert other["net_isosteric_heat_j_kg"] == pytest.approx(first["net_isosteric_heat_j_kg"])
    assert first["net_isosteric_heat_j_kg"] > 0.0
    assert first["sources"]


def test_drying_is_the_default_branch_and_holds_more_water():
    plain = call(leaf="sugar_kelp_blanched", temperature_c=25.0, water_activity=0.5)
    wetting = call(
        leaf="sugar_kelp_blanched", temperature_c=25.0, water_activity=0.5, branch="adsorption"
    )
    assert plain["branch"] == "desorption"
    assert plain["moisture_db"] > wetting["moisture_db"]


def test_a_bare_gab_gives_the_printed_form():
    # X = Xm C K aw/((1 - K aw)(1 - K aw + C K aw)) with K aw = 0.45, by hand:
    # 0.07 x 5.4/(0.55 x 5.95) = 0.115508
    out = call(model="gab", parameters=GAB, temperature_c=25.0, water_activity=0.5)
    assert out["moisture_db"] == pytest.approx(0.378 / 3.2725)
    assert out["net_isosteric_heat_j_kg"] == 0.0  # no temperature constants, no heat


def test_constants_for_percent_moisture_are_converted():
    # Yellow dent corn, ASAE D245.5, modified Chung-Pfost for percent moisture, from memory:
    # 70 % at 25 degC is about 14 % wb (common practice).
    out = call(
        model="modified_chung_pfost",
        parameters={"A": 312.40, "B": 0.16958, "C": 30.205},
        parameters_moisture_unit="percent",
        temperature_c=25.0,
        water_activity=0.7,
    )
    assert out["moisture_wb"] == pytest.approx(0.14, abs=0.004)


@pytest.mark.parametrize(
    ("model", "parameters"),
    [
        ("gab", GAB),
        ("modified_oswin", {"a": 0.09, "b": -0.0008, "c": 2.2}),
        ("modified_halsey", {"a": -3.6, "b": -0.02, "c": 1.6}),
        ("modified_henderson", {"a": 0.4, "b": 1.6, "c": 50.0}),
        ("modified_chung_pfost", {"a": 300.0, "b": 17.0, "c": 40.0}),
        ("peleg", {"C1": 0.24, "C2": 0.95, "C3": 0.8, "C4": 16.0}),
    ],
)
def test_every_model_goes_both_ways(model, parameters):
    common = {"model": model, "parameters": parameters, "temperature_c": 30.0}
    out = call(water_activity=0.6, **common)
    back = call(moisture_db=out["moisture_db"], **common)
    assert back["water_activity"] == pytest.approx(0.6)
    assert out["net_isosteric_heat_j_kg"] >= 0.0


def test_weak_evidence_and_temperature_outside_the_fit_are_said():
    inside = call(leaf="tea_green", temperature_c=30.0, water_activity=0.3, branch="adsorption")
    assert any("recalled" in w or "derived" in w for w in inside["warnings"])
    assert not any("extrapolated" in w for w in inside["warnings"])
    outside = call(leaf="tea_green", temperature_c=95.0, water_activity=0.3)
    assert any("extrapolated" in w and "20 to 40" in w for w in outside["warnings"])


def test_water_activity_outside_the_fit_is_said():
    # Kelp's uptake is described over 20 to 80 % RH (Tolstorebrov 2024, abstract).
    damp = call(leaf="sugar_kelp_raw", temperature_c=25.0, water_activity=0.9)
    assert any("0.2 to 0.8" in w for w in damp["warnings"])
    edge = call(leaf="sugar_kelp_raw", temperature_c=25.0, water_activity=0.8)
    assert not any("extrapolated" in w for w in edge["warnings"])


def test_damp_leaf_and_free_water_are_said():
    damp = call(leaf="tea_black", temperature_c=25.0, moisture_wb=0.10, branch="adsorption")
    assert any("store limit" in w for w in damp["warnings"])
    dry = call(leaf="tea_black", temperature_c=25.0, moisture_wb=0.04, branch="adsorption")
    assert not any("store limit" in w for w in dry["warnings"])
    wet = call(leaf="sugar_kelp_blanched", temperature_c=25.0, moisture_wb=0.92)
    assert wet["water_activity"] == 1.0
    assert any("free water" in w for w in wet["warnings"])
    air = call(leaf="tea_black", temperature_c=25.0, water_activity=1.0)
    assert any("0.995" in w for w in air["warnings"])
    assert np.isfinite(air["moisture_db"])


@pytest.mark.parametrize(
    ("data", "field"),
    [
        ({"leaf": "oak", "temperature_c": 25.0, "moisture_db": 0.1}, "leaf"),
        ({"leaf": "tea_black", "temperature_c": 25.0}, "input"),
        (
            {"leaf": "tea_black", "temperature_c": 25.0, "moisture_db": 0.1, "moisture_wb": 0.1},
            "input",
        ),
        ({"temperature_c": 25.0, "moisture_db": 0.1}, "input"),
        ({"model": "gab", "temperature_c": 25.0, "moisture_db": 0.1}, "input"),
        ({"leaf": "tea_black", "parameters": GAB, "temperature_c": 25, "moisture_db": 1}, "input"),
        ({"leaf": "tea_black", "temperature_c": 25.0, "water_activity": 1.2}, "water_activity"),
        (
            {
                "leaf": "tea_black",
                "temperature_c": 25.0,
                "water_activity": 0.5,
                "salt_nacl_fraction": 0.1,
            },
            "input",
        ),
        (
            {
                "model": "gab",
                "parameters": GAB,
                "temperature_c": 25.0,
                "water_activity": 0.5,
                "salt_kcl_fraction": 0.9,
            },
            "salt_kcl_fraction",
        ),
        ({"leaf": "tea_black", "temperature_c": 25.0, "moisture_wb": 1.0}, "moisture_wb"),
        ({"leaf": "tea_black", "temperature_c": float("nan"), "moisture_wb": 0.1}, "temperature_c"),
        ({"leaf": "tea_black", "temperature_c": 400.0, "moisture_wb": 0.1}, "temperature_c"),
        ({"leaf": "tea_black", "moisture_wb": 0.1}, "temperature_c"),
        (
            {"leaf": "tea_black", "temperature_c": 25.0, "moisture_wb": 0.1, "branch": "both"},
            "branch",
        ),
        ({"model": "bet", "parameters": {}, "temperature_c": 25.0, "moisture_db": 0.1}, "model"),
        (
            {"model": "gab", "parameters": {"C": 1.0}, "temperature_c": 25.0, "moisture_db": 0.1},
            "parameters.monolayer_db",
        ),
        (
            {
                "model": "gab",
                "parameters": {**GAB, "m0": 0.1},
                "temperature_c": 25.0,
                "moisture_db": 0.1,
            },
            "parameters.m0",
        ),
        (
            {
                "model": "peleg",
                "parameters": {"c1": 0.2, "c2": 1.0, "c3": 0.1, "c4": 9.0, "c5": 1.0},
                "temperature_c": 25.0,
                "moisture_db": 0.1,
            },
            "parameters.c5",
        ),
        (
            {
                # K above 1: Table 1, Korean J. Food Preserv. 25(6):627 (2018), food unknown.
                "model": "gab",
                "parameters": {"m0": 0.2, "C": 11.84, "K": 1.143},
                "temperature_c": 25.0,
                "water_activity": 0.9,
            },
            "water_activity",
        ),
    ],
)
def test_bad_input_is_refused_by_field(data, field):
    with pytest.raises(BadInput) as refused:
        doors.call("sorption", data)
    assert field in [p.field for p in refused.value.problems]
