"""States of humid air: limits, every pair of properties there and back, refusals."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf import air
from wareleaf.measure import BadInput

NAMES = (
    "dry_bulb_c",
    "relative_humidity",
    "wet_bulb_c",
    "dew_point_c",
    "humidity_ratio",
    "enthalpy_j_kg",
)
PAIRS = [p for p in itertools.combinations(NAMES, 2) if p != ("dew_point_c", "humidity_ratio")]


# --- limits ---------------------------------------------------------------------------------


@pytest.mark.parametrize("dry_bulb_c", [-20.0, -0.5, 0.0, 0.5, 20.0, 60.0, 95.0])
def test_saturated_air_has_one_temperature(dry_bulb_c):
    state = air.air_state(dry_bulb_c=dry_bulb_c, relative_humidity=1.0)
    assert state.wet_bulb_c == pytest.approx(dry_bulb_c, abs=1e-5)
    assert state.dew_point_c == pytest.approx(dry_bulb_c, abs=1e-5)


def test_bone_dry_air_has_no_vapour_and_no_dew_point():
    state = air.air_state(dry_bulb_c=20.0, relative_humidity=0.0)
    assert state.humidity_ratio == 0.0
    assert state.vapour_pressure_pa == 0.0
    assert np.isnan(state.dew_point_c)
    assert state.wet_bulb_c < 10.0
    assert state.enthalpy_j_kg == pytest.approx(air.CP_DRY_AIR_J_KG_K * 20.0)


def test_enthalpy_is_zero_for_dry_air_at_zero():
    assert air.enthalpy_j_kg(0.0, 0.0) == 0.0


def test_the_enhancement_factor_is_one_at_and_above_boiling():
    for pressure_pa in (80_000.0, 101_325.0):
        boiling = air.boiling_point_c(pressure_pa)
        assert air.enhancement_factor(boiling, pressure_pa) == pytest.approx(1.0, abs=1e-6)
        assert air.enhancement_factor(boiling + 20.0, pressure_pa) == 1.0


def test_ice_and_water_meet_at_the_triple_point():
    below, above = air.saturation_pressure_pa(np.array([0.01 - 1e-9, 0.01]))
    assert below == pytest.approx(above, rel=1e-8)


def test_evaporation_closes_the_enthalpies():
    # vapour minus liquid at t, in the same closed form that the stages balance with
    for t in (0.0, 35.0, 90.0):
        vapour = air.enthalpy_j_kg(t, 1.0) - air.enthalpy_j_kg(t, 0.0)
        assert air.latent_heat_j_kg(t) == pytest.approx(vapour - air.CP_WATER_J_KG_K * t)


# --- scalars and arrays -----------------------------------------------------------------------


def test_floats_give_floats_and_arrays_the_same_numbers():
    t = np.array([-15.0, 3.0, 25.0, 80.0, 130.0])
    rh = np.array([0.8, 0.5, 0.6, 0.3, 0.1])
    state = air.air_state(dry_bulb_c=t, relative_humidity=rh, pressure_pa=95_000.0)
    for i in range(t.size):
        one = air.air_state(
            dry_bulb_c=float(t[i]), relative_humidity=float(rh[i]), pressure_pa=95_000.0
        )
        for name in (*NAMES, "vapour_pressure_pa", "specific_volume_m3_kg"):
            assert type(getattr(one, name)) is float
            assert getattr(one, name) == pytest.approx(getattr(state, name)[i], rel=1e-8, abs=1e-7)


def test_arrays_broadcast_and_keep_their_shape_beyond_one_block():
    t = np.linspace(5.0, 60.0, 210)[:, None]
    rh = np.linspace(0.1, 0.9, 90)[None, :]
    w = air.humidity_ratio(t, rh)
    wet = air.wet_bulb_c(t, w)
    assert w.shape == wet.shape == (210, 90)
    assert w[7, 11] == pytest.approx(air.humidity_ratio(float(t[7, 0]), float(rh[0, 11])))
    assert wet[200, 80] == pytest.approx(air.wet_bulb_c(float(t[200, 0]), float(w[200, 80])))


def test_plain_functions_give_plain_floats():
    for value in (
        air.saturation_pressure_pa(20),
        air.humidity_ratio(np.float64(20.0), 0.5),
        air.wet_bulb_c(20.0, 0.005),
        air.dew_point_c(0.005),
        air.humidity_ratio_from_wet_bulb(20.0, 12.0),
        air.boiling_point_c(101_325),
    ):
        assert type(value) is float


def test_no_states_give_no_answers():
    nothing = np.array([])
    assert air.humidity_ratio(nothing, 0.5).size == 0
    assert air.wet_bulb_c(nothing, nothing).size == 0


def test_integers_are_numbers_too():
    assert air.humidity_ratio(20, 0.5, 101325) == air.humidity_ratio(20.0, 0.5, 101325.0)


# --- there and back ---------------------------------------------------------------------------

states = st.tuples(st.floats(-20.0, 149.0), st.floats(0.02, 0.98), st.floats(80_000.0, 105_000.0))


@settings(deadline=None, max_examples=60)
@given(states, st.sampled_from(PAIRS))
def test_any_two_properties_find_the_state_again(state, pair):
    t, rh, p = state
    rh = min(rh, 0.95 * p / air.saturation_pressure_pa(t))
    first = air.air_state(dry_bulb_c=t, relative_humidity=rh, pressure_pa=p)
    if pair == ("wet_bulb_c", "enthalpy_j_kg") and 0.0 < first.wet_bulb_c <= 1.0:
        return  # refused: see test_wet_bulb_near_freezing_and_enthalpy_are_one_property
    again = air.air_state(**{n: getattr(first, n) for n in pair}, pressure_pa=p)
    for name in NAMES:
        assert getattr(again, name) == pytest.approx(getattr(first, name), rel=2e-5, abs=2e-5), name


@settings(deadline=None, max_examples=60)
@given(states)
def test_the_wet_bulb_lies_between_dew_point_and_dry_bulb_and_below_boiling(state):
    t, rh, p = state
    rh = min(rh, 0.99 * p / air.saturation_pressure_pa(t))
    s = air.air_state(dry_bulb_c=t, relative_humidity=rh, pressure_pa=p)
    assert s.dew_point_c - 1e-6 <= s.wet_bulb_c <= t + 1e-9
    assert s.wet_bulb_c <= air.boiling_point_c(p)


@settings(deadline=None, max_examples=40)
@given(st.floats(-20.0, 150.0), st.floats(0.0, 3.0))
def test_enthalpy_and_dry_bulb_are_exact_inverses(t, w):
    h = air.enthalpy_j_kg(t, w)
    assert air.dry_bulb_from_enthalpy_c(h, w) == pytest.approx(t, abs=1e-9)


@settings(deadline=None, max_examples=40)
@given(st.floats(-95.0, 95.0), st.floats(80_000.0, 105_000.0))
def test_dew_point_inverts_saturation(t, p):
    boiling = air.boiling_point_c(p)
    t = min(t, boiling - 0.5)
    assert air.dew_point_c(air.humidity_ratio(t, 1.0, p), p) == pytest.approx(t, abs=1e-6)


# --- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given_values", "field", "says"),
    [
        ({"dry_bulb_c": 20.0, "wet_bulb_c": 21.0}, "wet_bulb_c", "above the dry bulb"),
        ({"dry_bulb_c": 20.0, "wet_bulb_c": 2.0}, "wet_bulb_c", "bone-dry"),
        ({"dry_bulb_c": 120.0, "wet_bulb_c": 101.0}, "wet_bulb_c", "boiling"),
        ({"dry_bulb_c": 20.0, "relative_humidity": 1.3}, "relative_humidity", "from 0 to 1"),
        ({"dry_bulb_c": 20.0, "relative_humidity": -0.1}, "relative_humidity", "from 0 to 1"),
        ({"dry_bulb_c": 20.0, "humidity_ratio": 0.02}, "humidity_ratio", "above saturation"),
        ({"dry_bulb_c": 20.0, "dew_point_c": 21.0}, "dew_point_c", "above saturation"),
        ({"dry_bulb_c": 20.0, "enthalpy_j_kg": 90e3}, "enthalpy_j_kg", "above saturation"),
        ({"dry_bulb_c": 20.0, "enthalpy_j_kg": 1e3}, "enthalpy_j_kg", "bone-dry"),
        ({"wet_bulb_c": 10.0, "humidity_ratio": 0.02}, "humidity_ratio", "saturated"),
        ({"wet_bulb_c": 10.0, "enthalpy_j_kg": 90e3}, "enthalpy_j_kg", "wet bulb"),
        ({"dry_bulb_c": float("nan"), "relative_humidity": 0.3}, "dry_bulb_c", "from -60 to 150"),
        ({"dry_bulb_c": float("inf"), "relative_humidity": 0.3}, "dry_bulb_c", "from -60 to 150"),
        ({"dry_bulb_c": 200.0, "relative_humidity": 0.3}, "dry_bulb_c", "from -60 to 150"),
        ({"dry_bulb_c": 150.0, "relative_humidity": 0.3}, "relative_humidity", "too high"),
        ({"relative_humidity": 0.001, "dew_point_c": 60.0}, "relative_humidity", "outside"),
        ({"dry_bulb_c": 20.0}, "properties", "Exactly two"),
        (
            {"dry_bulb_c": 20.0, "relative_humidity": 0.3, "wet_bulb_c": 10.0},
            "properties",
            "Exactly two",
        ),
        ({"dew_point_c": 10.0, "humidity_ratio": 0.008}, "humidity_ratio", "same thing"),
        ({"dry_bulb_c": 20.0, "relative_humidity": 0.3, "pressure_pa": 101.3}, "pressure_pa", "Pa"),
    ],
)
def test_impossible_air_is_refused_by_name(given_values, field, says):
    with pytest.raises(BadInput, match=says) as caught:
        air.air_state(**given_values)
    assert caught.value.problems[0].field == field


def test_wet_bulb_near_freezing_and_enthalpy_are_one_property():
    state = air.air_state(dry_bulb_c=2.0, relative_humidity=0.8)
    assert 0.0 < state.wet_bulb_c < 1.0
    with pytest.raises(BadInput, match="says the same"):
        air.air_state(wet_bulb_c=state.wet_bulb_c, enthalpy_j_kg=state.enthalpy_j_kg)


def test_one_bad_value_in_an_array_is_named():
    with pytest.raises(BadInput, match=r"relative_humidity is 1\.2"):
        air.humidity_ratio(np.array([20.0, 21.0]), np.array([0.5, 1.2]))
    with pytest.raises(BadInput, match="dry_bulb_c is nan"):
        air.humidity_ratio(np.array([20.0, np.nan]), 0.5)
    with pytest.raises(BadInput, match="above saturation"):
        air.wet_bulb_c(np.array([20.0, 20.0]), np.array([0.005, 0.03]))


def test_fog_is_shown_as_relative_humidity_above_one_for_the_stages():
    assert air.relative_humidity(20.0, 0.02) > 1.3
