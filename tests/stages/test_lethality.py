"""Lethality of a measured temperature trace: limits, properties, published worked examples."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.measure import BadInput
from wareleaf.stages import lethality as le


def f_to_c(t_f):
    return (t_f - 32.0) / 1.8


# --- limits ---------------------------------------------------------------------------------


def test_at_the_reference_temperature_time_counts_as_itself():
    assert le.equivalent_time_s([0, 90], [70, 70], 70, 7.5) == pytest.approx(90.0)


def test_one_z_hotter_counts_tenfold():
    assert le.equivalent_time_s([0, 6], [77.5, 77.5], 70, 7.5) == pytest.approx(60.0)


def test_cold_water_kills_nothing():
    assert le.equivalent_time_s([0, 3600], [10, 10], 70, 7.5) < 1e-4


@settings(deadline=None, max_examples=60)
@given(
    temps=st.lists(st.floats(20, 100), min_size=2, max_size=12),
    shift=st.floats(0.1, 10),
    z=st.floats(4, 30),
)
def test_a_hotter_trace_is_worth_ten_to_the_shift_over_z_more(temps, shift, z):
    times = list(range(0, 10 * len(temps), 10))
    base = le.equivalent_time_s(times, temps, 70, z)
    hotter = le.equivalent_time_s(times, [t + shift for t in temps], 70, z)
    assert hotter / base == pytest.approx(10 ** (shift / z), rel=1e-9)


@settings(deadline=None, max_examples=60)
@given(temps=st.lists(st.floats(20, 100), min_size=2, max_size=12), z=st.floats(4, 30))
def test_linear_temperature_never_gives_more_than_the_trapezoid(temps, z):
    # The logarithmic mean is never above the arithmetic mean.
    times = list(range(0, 10 * len(temps), 10))
    linear = le.linear_temperature_time_s(times, temps, 70, z)
    assert linear <= le.equivalent_time_s(times, temps, 70, z) * (1 + 1e-9)


def test_close_readings_make_both_methods_agree():
    t = np.linspace(0, 600, 4001)
    temp = 20 + 60 * (1 - np.exp(-t / 120))
    trapezoid = le.equivalent_time_s(t, temp, 70, 7.5)
    assert le.linear_temperature_time_s(t, temp, 70, 7.5) == pytest.approx(trapezoid, rel=1e-5)


# --- published ------------------------------------------------------------------------------


def test_geankoplis_9_12_1_three_holds():
    # Geankoplis 3rd ed., example 9.12-1: 20 min 71.1, 20 min 98.9, 33 min 110 degC, z 10 K,
    # 121.1 degC: F0 2.68 min printed (tolerance: the printed digits).
    t = np.array([0, 20, 20, 40, 40, 73]) * 60.0
    temp = [71.1, 71.1, 98.9, 98.9, 110.0, 110.0]
    assert le.equivalent_time_s(t, temp, 121.1, 10.0) / 60 == pytest.approx(2.68, abs=0.005)


GEANKOPLIS_9_12_2 = ([0, 15, 25, 30, 40, 50, 64], [80, 165, 201, 212.5, 225, 230.5, 235])


def test_geankoplis_9_12_2_trapezoid():
    # Geankoplis 3rd ed., example 9.12-2: z 18 degF, 250 degF: 2.50 min, above the 2.45 required.
    t, f = np.array(GEANKOPLIS_9_12_2[0]) * 60.0, np.array(GEANKOPLIS_9_12_2[1])
    found = le.lethality(t, f_to_c(f), f_to_c(250.0), 10.0)
    assert found.equivalent_time_s / 60 == pytest.approx(2.50, abs=0.01)
    assert found.equivalent_time_s / 60 > 2.45
    # The other method gives 2.385 (recomputed independently), and the result says so.
    assert found.linear_temperature_time_s / 60 == pytest.approx(2.385, abs=0.002)
    assert "Read more often" in found.warnings[0]


def test_geankoplis_9_12_3_fifteen_decades():
    # Geankoplis 3rd ed., example 9.12-3: F150 9.0 min with D150 0.6 min: 10^15 reduction.
    found = le.lethality([0, 540], [f_to_c(150)] * 2, f_to_c(150), 10.0, d_reference_s=36.0)
    assert found.log_reduction == pytest.approx(15.0, rel=1e-12)


def test_fao_fish_canning_sum_of_lethal_rates():
    # FAO fish-canning manual (read in a reproduction): readings each 5 min, lethal rates that sum
    # to 2.925 give F0 14.6 min. Its temperatures could not be read, so a trace is made whose
    # rates have that sum, with cold ends (where half and whole end weights are the same).
    rates = np.array([1e-6, 0.1, 0.3, 0.525, 0.7, 0.7, 0.45, 0.15, 1e-6])
    assert rates.sum() == pytest.approx(2.925, abs=1e-5)
    temp = 121.1 + 10.0 * np.log10(rates)
    t = np.arange(rates.size) * 300.0
    assert le.equivalent_time_s(t, temp, 121.1, 10.0) / 60 == pytest.approx(14.6, abs=0.05)


def test_seventy_degrees_for_two_minutes_is_six_decades_of_listeria():
    # NZ MPI Technical Paper 2016/05 (abstract): 70 degC, 2 min = 6 log L. monocytogenes.
    found = le.lethality([0, 120], [70, 70], 70, 7.5, d_reference_s=20.0)
    assert found.log_reduction == pytest.approx(6.0)


# --- spread and other uses ------------------------------------------------------------------


def test_thermometer_uncertainty_is_the_slope_of_the_answer():
    t, temp, u = [0, 30, 90], [20.0, 75.0, 80.0], 0.3
    found = le.lethality(t, temp, 70, 7.5, temperature_standard_uncertainty_k=u)
    eps = 1e-4
    up = le.equivalent_time_s(t, [x + eps for x in temp], 70, 7.5)
    down = le.equivalent_time_s(t, [x - eps for x in temp], 70, 7.5)
    assert found.equivalent_time_sd_s == pytest.approx(u * (up - down) / (2 * eps), rel=1e-6)


def test_seconds_at_another_temperature_undo_the_rate():
    s = le.seconds_at(80.0, 120.0, 70.0, 7.5)
    assert le.equivalent_time_s([0, s], [80, 80], 70, 7.5) == pytest.approx(120.0)
    assert s == pytest.approx(120.0 / 10 ** (10 / 7.5))


@pytest.mark.parametrize(
    ("t", "temp", "z", "field"),
    [
        ([0], [70], 7.5, "time_s"),
        ([0, 10, 5], [70, 70, 70], 7.5, "time_s"),
        ([0, 0], [70, 70], 7.5, "time_s"),
        ([0, 10], [70, 70, 70], 7.5, "temperature_c"),
        ([0, 10], [70, math.nan], 7.5, "temperature_c"),
        ([0, 10], [70, 900], 7.5, "temperature_c"),
        ([0, 10], [70, 70], 0.0, "z_k"),
        ([0, 10], [70, 200], 0.1, "z_k"),
    ],
)
def test_bad_traces_are_refused_by_field(t, temp, z, field):
    with pytest.raises(BadInput) as caught:
        le.equivalent_time_s(t, temp, 70, z)
    assert caught.value.problems[0].field == field


def test_a_kill_beyond_what_anyone_counts_is_said_to_be_an_extrapolation():
    far = le.lethality([0.0, 600.0], [95.0, 95.0], 70.0, 7.5, d_reference_s=20.0)
    assert far.log_reduction > 12.0
    assert "not a count" in far.warnings[-1]
    near = le.lethality([0.0, 120.0], [70.0, 70.0], 70.0, 7.5, d_reference_s=20.0)
    assert near.log_reduction == pytest.approx(6.0)
    assert near.warnings == ()
