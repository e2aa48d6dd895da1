"""Wet, dry, hydrated, fresh: dry matter carries the substance."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.measure import BadInput
from wareleaf.release import (
    Result,
    contract_limit,
    convert_content,
    lot_facts,
    moisture_content,
)
from wareleaf.release.checks import find, on_basis
from wareleaf.release.limits import all_limits


def test_hydrated_basis_by_hand():
    # 6 mg in 1 kg dried at 10 % water = 6 mg in 0.9 kg dry matter, which soaked to 85 % water
    # weighs 6 kg: 1 mg/kg (arithmetic of the definition).
    found = convert_content(
        6.0,
        0.6,
        unit="mg/kg",
        to_unit="mg/kg",
        basis="wet",
        to_basis="hydrated",
        moisture_wb=0.10,
        to_moisture_wb=0.85,
    )
    assert found.value == pytest.approx(1.0)
    assert found.standard_uncertainty == pytest.approx(0.1)


@settings(deadline=None, max_examples=100)
@given(
    value=st.floats(0.0, 1e4),
    u=st.floats(0.0, 100.0),
    a=st.floats(0.0, 0.97),
    b=st.floats(0.0, 0.97),
)
def test_there_and_back_again(value, u, a, b):
    there = convert_content(
        value,
        u,
        unit="mg/kg",
        to_unit="ug/kg",
        basis="wet",
        to_basis="fresh",
        moisture_wb=a,
        to_moisture_wb=b,
    )
    back = convert_content(
        there.value,
        there.standard_uncertainty,
        unit="ug/kg",
        to_unit="mg/kg",
        basis="fresh",
        to_basis="wet",
        moisture_wb=b,
        to_moisture_wb=a,
    )
    assert back.value == pytest.approx(value, rel=1e-12, abs=1e-12)
    assert back.standard_uncertainty == pytest.approx(u, rel=1e-12, abs=1e-12)


def test_moisture_doubt_is_carried_by_first_order_propagation():
    found = convert_content(
        10.0,
        0.0,
        unit="mg/kg",
        to_unit="mg/kg",
        basis="wet",
        to_basis="dry",
        moisture_wb=0.85,
        moisture_standard_uncertainty=0.01,
    )
    step = 1e-6
    slope = (10.0 / (0.15 - step) - 10.0 / (0.15 + step)) / (2 * step)
    assert found.standard_uncertainty == pytest.approx(slope * 0.01, rel=1e-6)


def test_units():
    for unit, value in (("ug/100 g", 2000.0), ("ug/kg", 2e4), ("% m/m", 0.002), ("ppm", 20.0)):
        # BfR: 2,000 ug/100 g dry matter is the same level as 20 mg/kg.
        found = convert_content(value, 0.0, unit=unit, to_unit="mg/kg", basis="dry", to_basis="dry")
        assert found.value == pytest.approx(20.0)
    with pytest.raises(BadInput, match="cannot be compared"):
        convert_content(1, 0, unit="cfu/g", to_unit="mg/kg", basis="wet", to_basis="wet")


def test_missing_moisture_is_refused_with_a_sentence():
    with pytest.raises(BadInput, match=r"moisture of the result .* is missing") as refused:
        convert_content(1, 0, unit="mg/kg", to_unit="mg/kg", basis="wet", to_basis="dry")
    assert refused.value.problems[0].field == "moisture_wb"
    with pytest.raises(BadInput, match="moisture of the limit"):
        convert_content(1, 0, unit="mg/kg", to_unit="mg/kg", basis="dry", to_basis="fresh")


def test_moisture_is_turned_and_not_scaled():
    found = moisture_content(0.25, 0.01, unit="fraction", to_unit="% m/m", basis="dry")
    assert found.value == pytest.approx(20.0)
    assert found.standard_uncertainty == pytest.approx(100 * 0.01 / 1.25**2)
    with pytest.raises(BadInput):
        moisture_content(0.25, 0.01, unit="fraction", to_unit="%", basis="fresh")


def limit(name):
    return next(x for x in all_limits() if x.id == name)


def test_korean_cadmium_needs_the_fresh_moisture():
    # Dried laver averaged 0.89 mg/kg Cd (2012 survey, secondary): read as a limit on dry weight
    # 0.3 would fail it, on fresh weight at 90 % water it passes.
    result = Result("cadmium", 0.89, 0.05, "mg/kg", "wet", lot_id="N")
    row = limit("KR-laver-cadmium")
    blind = find(row, lot_facts("N", "nori_sheet", "dried", moisture_wb=0.1), result, "simple", 0)
    assert blind.decision == "undecided"
    assert "missing" in blind.sentence
    lot = lot_facts("N", "nori_sheet", "dried", moisture_wb=0.1, moisture_wb_fresh=0.9)
    assert on_basis(row, lot, result).value == pytest.approx(0.89 / 9.0)
    assert find(row, lot, result, "guarded", 2.0).decision == "conforms"


def test_a_sample_of_the_very_lot_takes_its_moisture():
    row = limit("FR-seaweed-cadmium")
    lot = lot_facts(
        "K", "sugar_kelp_raw", "dried", moisture_wb=0.2, moisture_standard_uncertainty=0.01
    )
    plain = on_basis(row, lot, Result("cadmium", 0.4, 0.0, "mg/kg", "wet", lot_id="K"))
    assert plain.value == pytest.approx(0.5)
    assert plain.standard_uncertainty == pytest.approx(0.4 / 0.8**2 * 0.01)
    own = on_basis(row, lot, Result("cadmium", 0.4, 0.0, "mg/kg", "wet", moisture_wb=0.5))
    assert own.value == pytest.approx(0.8)


def test_a_wet_value_of_a_parent_is_refused_without_its_moisture():
    # 0.1 mg/kg in fresh leaf at 90 % water is 0.8 mg/kg in leaf dried to 20 % (dry matter
    # carries it): taken as it stands it would pass a limit of 0.5 that the lot fails.
    lot = lot_facts("K", "sugar_kelp_raw", "dried", moisture_wb=0.2)
    parent = {"parameter": "x", "value": 0.1, "standard_uncertainty": 0.0, "unit": "mg/kg"}
    row = contract_limit("spec", "x", "mg/kg", "wet", maximum=0.5)
    blind = find(row, lot, Result(**parent, lot_id="FRESH"), "simple", 0.0)
    assert blind.decision == "undecided"
    assert "FRESH" in blind.sentence
    told = find(row, lot, Result(**parent, lot_id="FRESH", moisture_wb=0.9), "simple", 0.0)
    assert told.value == pytest.approx(0.8)
    assert told.decision == "does_not_conform"
    unknown = find(limit("FR-seaweed-cadmium"), lot, Result(**parent), "simple", 0.0)
    assert unknown.decision == "undecided"


def test_results_that_cannot_be():
    for kw in (
        {"value": -1.0},
        {"value": math.nan},
        {"standard_uncertainty": -0.1},
        {"value": 1.0, "units": (1.0, 2.0)},
    ):
        with pytest.raises(BadInput):
            Result(
                **(
                    {"parameter": "lead", "value": 1, "standard_uncertainty": 0, "unit": "mg/kg"}
                    | kw
                )
            )
