"""Aiming at a moisture and projecting from readings."""

import math
from dataclasses import replace

import numpy as np
import pytest

from wareleaf import leaf
from wareleaf.measure import BadInput
from wareleaf.stages._wither_aim import hours_to
from wareleaf.stages._wither_march import Cases, carry
from wareleaf.stages._wither_spec import number
from wareleaf.stages.common import StageReading, log_sd
from wareleaf.stages.wither import Trough, WitherRun, aim, project, simulate

TROUGH = Trough()
HOURS = tuple(float(h) for h in range(25))
RUN = WitherRun(
    leaf_id="tea_black",
    mass_kg=29.6 * TROUGH.area_m2,
    moisture_wb=0.78,
    air_time_h=HOURS,
    dry_bulb_c=tuple(24.0 + 4.0 * np.cos(np.pi * np.array(HOURS) / 12.0)),
    relative_humidity=(0.75,) * 25,
)
TARGET = 0.62


def test_aim_without_heat_when_there_is_time():
    found = aim(TROUGH, RUN, TARGET, latest_h=16.0)
    assert found.reachable
    assert found.settings["heating_k"] == 0.0
    assert found.result.moisture_wb_out == pytest.approx(TARGET, abs=1e-4)
    assert found.result.duration_h == found.settings["duration_h"] < 16.0


def test_aim_uses_the_least_heat_that_is_in_time():
    free = aim(TROUGH, RUN, TARGET, latest_h=16.0).settings["duration_h"]
    latest = free - 2.0
    found = aim(TROUGH, RUN, TARGET, latest_h=latest)
    heating = found.settings["heating_k"]
    assert found.reachable and heating > 0.0
    assert found.settings["duration_h"] <= latest
    assert found.result.moisture_wb_out == pytest.approx(TARGET, abs=1e-4)
    colder = simulate(TROUGH, replace(RUN, duration_h=latest, heating_k=(heating - 0.3,)))
    assert colder.moisture_wb_out > TARGET


def test_aim_keeps_the_air_below_its_limit():
    found = aim(TROUGH, RUN, TARGET, latest_h=7.0, temperature_max_c=28.5)
    fan_k = 0.5  # the fan's own heat comes on top of the mixed air
    assert max(found.result.air_in_c) < 28.5 + fan_k


def test_aim_says_how_long_it_would_take():
    found = aim(TROUGH, RUN, TARGET, latest_h=2.0)
    assert not found.reachable
    assert "it would take about" in found.reason
    assert found.result.moisture_wb_out > TARGET


def test_aim_below_equilibrium_names_the_driest_reachable():
    air = {"air_time_h": (0.0,), "dry_bulb_c": (35.0,), "relative_humidity": (0.7,)}
    found = aim(TROUGH, replace(RUN, **air), 0.05)
    assert not found.reachable
    driest = leaf.equilibrium_moisture_db(leaf.profile("tea_black"), 0.7, 35.0)
    assert f"the driest reachable is {100.0 * driest / (1.0 + driest):.1f} %" in found.reason


def test_aim_refuses_a_target_that_is_no_target():
    with pytest.raises(BadInput, match="must be below that"):
        aim(TROUGH, RUN, 0.8)


def test_hours_to_reads_between_steps_and_knows_never():
    time = np.array([1.0, 2.0, 3.0])
    curves = np.array([[0.7, 0.79], [0.6, 0.78], [0.5, 0.77]])
    hours = hours_to(time, curves, 0.8, 0.65)
    assert hours[0] == pytest.approx(1.5)
    assert math.isnan(hours[1])
    assert hours_to(time, curves, 0.8, 0.85) == pytest.approx([0.0, 0.0])


def test_without_readings_the_projection_is_the_profile():
    told = project(TROUGH, RUN, [], TARGET)
    plain = aim(TROUGH, RUN, TARGET, latest_h=24.0).settings["duration_h"]
    assert told.finish_h == pytest.approx(plain, abs=0.3)
    assert told.rate_factor == pytest.approx(1.0, abs=0.01)
    assert "usual pace" in told.note
    assert np.all(np.diff(told.curve_moisture_wb) < 0.0)
    assert told.wettest_finish_h > told.finish_h


def test_readings_narrow_the_projection_and_move_it_their_way():
    prior = project(TROUGH, RUN, [], TARGET)
    wetter = [
        StageReading(t, "moisture_wb", float(np.interp(t, HOURS, _curve())) + 0.02, 0.004)
        for t in (3.0, 5.0, 7.0)
    ]
    told = project(TROUGH, RUN, wetter, TARGET)
    assert told.finish_sd_h < prior.finish_sd_h
    assert told.finish_h > prior.finish_h
    assert told.rate_factor_sd < prior.rate_factor_sd


def _curve():
    result = simulate(TROUGH, replace(RUN, duration_h=24.0))
    return np.interp(HOURS, (0.0, *result.time_h), (RUN.moisture_wb, *result.moisture_mean_wb))


def test_weighing_the_load_works_like_reading_its_moisture():
    moisture = float(np.interp(5.0, HOURS, _curve()))
    mass = RUN.mass_kg * 0.22 / (1.0 - moisture)
    known = replace(RUN, moisture_wb_sd=1e-4)
    by_mass = project(
        TROUGH, known, [StageReading(5.0, "mass_kg", mass, 0.004 * mass / (1 - moisture))], TARGET
    )
    by_wb = project(TROUGH, known, [StageReading(5.0, "moisture_wb", moisture, 0.004)], TARGET)
    assert by_mass.finish_h == pytest.approx(by_wb.finish_h, abs=0.05)
    assert by_mass.finish_sd_h == pytest.approx(by_wb.finish_sd_h, rel=0.1)


@pytest.mark.slow
def test_truth_lies_within_two_standard_deviations_in_about_95_of_100_loads():
    """Seeded synthetic loads drawn from the stated model: rate, start, model error, meter noise."""
    rng = np.random.default_rng(20260412)
    count, meter_sd = 100, 0.008
    model_sd = number("model.standard_error_wb")
    rate_sd = log_sd(leaf.rate_constant_relative_sd(leaf.profile("tea_black"), "wither"))
    rate = np.exp(rate_sd * rng.standard_normal(count))
    start = RUN.moisture_wb + 0.01 * rng.standard_normal(count)
    truth = carry(TROUGH, replace(RUN, duration_h=24.0), Cases(rate, start, np.zeros(count)))
    off = []
    for case in range(count):
        curve = truth.mean_wb[:, case]
        readings = []
        for hour in (2.0, 4.0, 6.0):
            noise = math.hypot(meter_sd, model_sd) * rng.standard_normal()
            value = float(np.interp(hour, truth.time_h, curve)) + noise
            readings.append(StageReading(hour, "moisture_wb", value, meter_sd))
        own = TARGET + model_sd * rng.standard_normal()
        finish = float(hours_to(truth.time_h, curve, float(start[case]), own))
        told = project(TROUGH, RUN, readings, TARGET)
        off.append((finish - told.finish_h) / told.finish_sd_h)
    inside = np.mean(np.abs(off) < 2.0)
    # 95.4 % expected; three binomial standard deviations of 100 loads are 6.3 %.
    assert inside > 0.89
    # Not by being vague either: the scaled errors have about unit spread and no bias.
    assert np.std(off) == pytest.approx(1.0, abs=0.2)
    assert abs(np.mean(off)) < 0.3


@pytest.mark.slow
def test_the_fast_projection_agrees_with_many_single_runs():
    """The polynomial grid against plain sampling of prior and weighting (importance sampling)."""
    rng = np.random.default_rng(7)
    count = 1500
    rate_sd = log_sd(leaf.rate_constant_relative_sd(leaf.profile("tea_black"), "wither"))
    rate = np.exp(rate_sd * rng.standard_normal(count))
    start = RUN.moisture_wb + RUN.moisture_wb_sd * rng.standard_normal(count)
    runs = carry(TROUGH, replace(RUN, duration_h=24.0), Cases(rate, start, np.zeros(count)))
    reading = StageReading(6.0, "moisture_wb", 0.70, 0.01)
    at = int(np.argmin(np.abs(runs.time_h - 6.0)))
    sd = math.hypot(0.01, number("model.standard_error_wb"))
    weight = np.exp(-0.5 * ((runs.mean_wb[at] - 0.70) / sd) ** 2)
    hours = hours_to(runs.time_h, runs.mean_wb, start, TARGET)
    sampled = float(np.sum(weight * hours) / weight.sum())
    told = project(TROUGH, RUN, [reading], TARGET)
    # 1500 samples of about one hour's spread are good to 0.05 h.
    assert told.finish_h == pytest.approx(sampled, abs=0.15)


def test_one_absurd_reading_is_set_aside_and_told():
    good = StageReading(4.0, "moisture_wb", float(np.interp(4.0, HOURS, _curve())), 0.005)
    absurd = StageReading(5.0, "moisture_wb", 0.20, 0.005)
    told = project(TROUGH, RUN, [good, absurd], TARGET)
    assert "Reading 2 was set aside" in told.note
    assert told.finish_h == pytest.approx(project(TROUGH, RUN, [good], TARGET).finish_h)


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        (
            [
                StageReading(2.0, "moisture_wb", 0.2, 0.005),
                StageReading(3.0, "mass_kg", 9000.0, 5.0),
            ],
            "this load can only be from",
        ),
        (
            [
                StageReading(3.0, "moisture_wb", 0.74, 0.005),
                StageReading(2.0, "moisture_wb", 0.76, 0.005),
            ],
            "in the order they were taken",
        ),
        ([StageReading(1.0, "colour", 22.0, 0.5)], "this stage reads moisture_wb"),
    ],
)
def test_readings_that_cannot_be_are_refused(readings, words):
    with pytest.raises(BadInput, match=words):
        project(TROUGH, RUN, readings, TARGET)


def test_a_target_out_of_reach_is_not_given_an_hour():
    damp = replace(RUN, relative_humidity=(0.99,) * 25)
    told = project(TROUGH, damp, [], TARGET)
    assert math.isinf(told.finish_h)
    assert "not expected" in told.note
