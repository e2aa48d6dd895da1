"""Humid air against things outside the project: CoolProp, the ASHRAE handbook, textbooks.

CoolProp 8 implements Herrmann, Kretzschmar and Gatley 2009 (ASHRAE RP-1485), the source of the
handbook's saturation tables. ASHRAE figures are those quoted in the PsychroLib test suite
(secondary; the handbook itself was not read).
"""

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI

from wareleaf import air
from wareleaf.works.validate.air import HUMIDITIES, states

PRESSURES_PA = (80_000.0, 90_000.0, 101_325.0, 105_000.0)
psychrolib.SetUnitSystem(psychrolib.SI)


def _grid(low_c, high_c, step_k):
    return states(low_c, high_c, step_k, PRESSURES_PA)


def _coolprop(key, t, rh, p):
    return np.array(
        [HAPropsSI(key, "T", a + 273.15, "R", b, "P", c) for a, b, c in zip(t, rh, p, strict=True)]
    )


# --- CoolProp over a grid ---------------------------------------------------------------------


@pytest.mark.parametrize(("low_c", "high_c"), [(-20.0, 60.0), (60.0, 150.0)])
def test_humidity_ratio_agrees_with_coolprop(low_c, high_c):
    t, rh, p = _grid(low_c, high_c, 1.0)
    ours = air.humidity_ratio(t, rh, p)
    theirs = _coolprop("W", t, rh, p)
    # asked for: 0.1 %; the fit of the enhancement factor is good to 0.01 %
    assert np.abs(ours / theirs - 1.0).max() < 1.2e-4


def test_the_enhancement_factor_is_what_makes_it_agree():
    # without it humidity ratio is low by 0.33 to 0.75 % at works temperatures
    t, rh, p = _grid(-20.0, 60.0, 5.0)
    vapour = rh * air.saturation_pressure_pa(t)
    bare = 0.621945 * vapour / (p - vapour)
    short = 1.0 - bare / _coolprop("W", t, rh, p)
    assert 0.003 < short.min() < short.max() < 0.0078


@pytest.mark.parametrize(
    ("low_c", "high_c", "tolerance_k"),
    [
        # asked for: 0.05 K below 60 degC. What is left is the closed-form enthalpy, whose constant
        # specific heats part from the real gas as the air gets hotter.
        (-20.0, 60.0, 0.025),
        (60.0, 150.0, 0.08),
    ],
)
def test_wet_bulb_agrees_with_coolprop(low_c, high_c, tolerance_k):
    t, rh, p = _grid(low_c, high_c, 2.5)
    ours = air.wet_bulb_c(t, air.humidity_ratio(t, rh, p), p)
    theirs = _coolprop("B", t, rh, p) - 273.15
    assert np.abs(ours - theirs).max() < tolerance_k


def test_iced_and_wet_bulbs_switch_where_coolprop_switches():
    t = np.linspace(0.0, 13.0, 40)
    for rh in HUMIDITIES:
        ours = air.wet_bulb_c(t, air.humidity_ratio(t, rh))
        theirs = _coolprop("B", t, np.full(t.shape, rh), np.full(t.shape, 101_325.0)) - 273.15
        close = np.abs(ours - theirs) < 0.05
        # where the iced bulb would stand between -0.2 and 0 degC CoolProp's search lands on either
        # of the two steady ones; at most one point of the scan falls there
        assert np.count_nonzero(~close) <= 1
        assert np.all((ours[~close] > -0.2) & (ours[~close] < 0.8))


def test_dew_point_agrees_with_coolprop():
    t, rh, p = _grid(-20.0, 100.0, 7.5)
    ours = air.dew_point_c(air.humidity_ratio(t, rh, p), p)
    assert np.abs(ours - (_coolprop("D", t, rh, p) - 273.15)).max() < 0.002


@pytest.mark.parametrize(
    ("low_c", "high_c", "most_w", "h_tolerance", "v_tolerance"),
    [
        # measured distance of the ideal forms from the real gas (docs/understand/humid-air.md)
        (-20.0, 60.0, 0.21, 800.0, 0.0017),
        (60.0, 150.0, 0.2, 900.0, 0.0018),
    ],
)
def test_enthalpy_and_volume_are_near_coolprop(low_c, high_c, most_w, h_tolerance, v_tolerance):
    t, rh, p = _grid(low_c, high_c, 5.0)
    w = air.humidity_ratio(t, rh, p)
    t, rh, p, w = (a[w <= most_w] for a in (t, rh, p, w))
    assert np.abs(air.enthalpy_j_kg(t, w) - _coolprop("H", t, rh, p)).max() < h_tolerance
    volume = air.specific_volume_m3_kg(t, w, p)
    assert np.abs(volume / _coolprop("V", t, rh, p) - 1.0).max() < v_tolerance


def test_latent_heat_is_near_the_real_one():
    # IAPWS-95 through CoolProp; the closed form is straight, the real one bends down
    for t, tolerance in ((1.0, 1e-4), (25.0, 6e-4), (60.0, 2e-3), (100.0, 6e-3)):
        real = PropsSI("H", "T", t + 273.15, "Q", 1, "Water") - PropsSI(
            "H", "T", t + 273.15, "Q", 0, "Water"
        )
        assert air.latent_heat_j_kg(t) == pytest.approx(real, rel=tolerance)


# --- IAPWS and the ASHRAE handbook -----------------------------------------------------------


def test_saturation_pressure_of_iapws_if97():
    # IAPWS R7-97 table 35 (memory): 0.353658941e-2 MPa at 300 K
    assert air.saturation_pressure_pa(26.85) == pytest.approx(3536.58941, rel=1e-8)


def test_saturation_and_boiling_are_inverses_as_iapws_if97_has_them():
    for pressure_pa in (20e3, 80e3, 101_325.0, 200e3):
        boiling = air.boiling_point_c(pressure_pa)
        assert air.saturation_pressure_pa(boiling) == pytest.approx(pressure_pa, rel=1e-10)


@pytest.mark.parametrize(
    ("dry_bulb_c", "pressure_pa"),
    [
        (-60, 1.08),
        (-20, 103.24),
        (-5, 401.74),
        (5, 872.6),
        (25, 3169.7),
        (50, 12351.3),
        (100, 101418),
        (150, 476101.4),
    ],
)
def test_ashrae_table_3_saturation_pressure(dry_bulb_c, pressure_pa):
    # ASHRAE Fundamentals 2017 ch. 1 table 3; 300 ppm, and the last digit printed at -60
    tolerance = max(3e-4 * pressure_pa, 0.005)
    assert air.saturation_pressure_pa(dry_bulb_c) == pytest.approx(pressure_pa, abs=tolerance)


@pytest.mark.parametrize(
    ("dry_bulb_c", "ratio", "enthalpy_kj_kg"),
    [
        (-50, 0.0000243, -50.222),
        (-20, 0.0006373, -18.542),
        (-5, 0.0024863, 1.164),
        (5, 0.005425, 18.639),
        (25, 0.020173, 76.504),
        (50, 0.086863, 275.353),
        (85, 0.838105, 2307.539),
    ],
)
def test_ashrae_table_2_saturated_air(dry_bulb_c, ratio, enthalpy_kj_kg):
    # ASHRAE Fundamentals 2017 ch. 1 table 2, 101.325 kPa. Ratio: our fit of f, 0.02 % (0.2 % at
    # -50, where three digits are printed). Enthalpy: ideal against real gas, 0.3 % at 85 degC.
    w = air.humidity_ratio(dry_bulb_c, 1.0)
    assert w == pytest.approx(ratio, rel=2e-4 if dry_bulb_c > -50 else 2e-3)
    h = air.enthalpy_j_kg(dry_bulb_c, w) / 1e3
    assert h == pytest.approx(enthalpy_kj_kg, rel=3e-3, abs=0.03)


def test_ashrae_dry_air_at_25():
    # table 2: 25.148 kJ/kg, 0.8443 m3/kg. Real air compresses a little: 0.04 % in volume.
    assert air.enthalpy_j_kg(25.0, 0.0) == pytest.approx(25_148.0, abs=5.0)
    assert air.specific_volume_m3_kg(25.0, 0.0) == pytest.approx(0.8443, rel=5e-4)


@pytest.mark.parametrize(
    ("altitude_m", "pressure_pa"),
    [(-500, 107478), (0, 101325), (500, 95461), (1000, 89875), (4000, 61640), (10000, 26436)],
)
def test_ashrae_table_1_standard_atmosphere(altitude_m, pressure_pa):
    assert air.standard_pressure_pa(altitude_m) == pytest.approx(pressure_pa, abs=3.0)


def test_ashrae_example_1_is_a_chart_reading():
    # ASHRAE Fundamentals ch. 1 example 1: 40 degC, 20 degC wet bulb, sea level, read off a chart:
    # W 0.0065, dew point 7, RH 14 %, h 56.7 kJ/kg, v 0.896. So W to 1.5 %, dew point to 0.6 K.
    state = air.air_state(dry_bulb_c=40.0, wet_bulb_c=20.0)
    assert state.humidity_ratio == pytest.approx(0.0065, rel=0.015)
    assert state.dew_point_c == pytest.approx(7.0, abs=0.6)
    assert state.relative_humidity == pytest.approx(0.14, abs=0.005)
    assert state.enthalpy_j_kg == pytest.approx(56_700.0, abs=300.0)
    assert state.specific_volume_m3_kg == pytest.approx(0.896, abs=0.0006)
    # CoolProp 8.0.0 for the same two readings: W 0.006452, dew point 7.49, h 56.86
    assert state.humidity_ratio == pytest.approx(0.006452, rel=3e-3)
    assert state.dew_point_c == pytest.approx(7.49, abs=0.05)
    assert state.enthalpy_j_kg == pytest.approx(56_860.0, abs=60.0)


# --- psychrolib, and the trap it falls into ---------------------------------------------------


def test_psychrolib_agrees_below_60_but_for_the_factor():
    # psychrolib 2.5 leaves the enhancement factor out: humidity ratio 0.33 to 0.75 % low
    t, rh, p = _grid(-20.0, 60.0, 5.0)
    w = air.humidity_ratio(t, rh, p)
    theirs = [psychrolib.GetHumRatioFromRelHum(*state) for state in zip(t, rh, p, strict=True)]
    low = 1.0 - np.array(theirs) / w
    assert 0.003 < low.min() < low.max() < 0.0078
    wet = air.wet_bulb_c(t, w, p)
    warm = wet > 1.0  # near freezing it keeps a wet bulb where CoolProp and we have an iced one
    theirs = [
        psychrolib.GetTWetBulbFromRelHum(*state)
        for state in zip(t[warm], rh[warm], p[warm], strict=True)
    ]
    assert np.abs(np.array(theirs) - wet[warm]).max() < 0.05


@pytest.mark.parametrize(
    ("dry_bulb_c", "rh", "pressure_pa", "wet_bulb_c"),
    [
        # CoolProp 8.0.0; psychrolib returns the dry bulb for all four
        (114.03, 0.345, 89_875.0, 84.65),
        (120.0, 0.30, 101_325.0, 86.10),
        (130.0, 0.30, 101_325.0, 93.97),
        (110.0, 0.30, 80_000.0, 78.01),
    ],
)
def test_hot_humid_air_has_a_wet_bulb_below_boiling(dry_bulb_c, rh, pressure_pa, wet_bulb_c):
    w = air.humidity_ratio(dry_bulb_c, rh, pressure_pa)
    assert air.wet_bulb_c(dry_bulb_c, w, pressure_pa) == pytest.approx(wet_bulb_c, abs=0.03)
    trapped = psychrolib.GetTWetBulbFromRelHum(dry_bulb_c, rh, pressure_pa)
    assert trapped == pytest.approx(dry_bulb_c, abs=0.01)


# --- textbooks (secondary: executed companions of the books) ----------------------------------


def test_geankoplis_9_3_4_wet_bulb_reading():
    # 60 degC, wet bulb 29.5: H 0.0135 from the chart
    assert air.air_state(dry_bulb_c=60.0, wet_bulb_c=29.5).humidity_ratio == pytest.approx(
        0.0135, rel=0.015
    )


def test_geankoplis_9_6_3_drying_air():
    # 65.6 degC, H 0.010: wet bulb 28.9 degC from the chart
    assert air.wet_bulb_c(65.6, 0.010) == pytest.approx(28.9, abs=0.15)


def test_treybal_7_6_dew_point_and_volume():
    # 55 degC, Y 0.030: dew point 31.5 degC, 0.974 m3/kg
    state = air.air_state(dry_bulb_c=55.0, humidity_ratio=0.030)
    assert state.dew_point_c == pytest.approx(31.5, abs=0.1)
    assert state.specific_volume_m3_kg == pytest.approx(0.974, abs=0.001)


def test_coulson_richardson_16_5_hot_air():
    # 400 K, H 0.01: wet bulb 312 K
    assert air.wet_bulb_c(126.85, 0.01) + 273.15 == pytest.approx(312.0, abs=0.6)
