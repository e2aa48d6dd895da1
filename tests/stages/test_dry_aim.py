"""Aim, project and spread: what to set, what the readings say, and how sure it is."""

from dataclasses import replace

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.stages import dry
from wareleaf.stages.common import StageReading

BELT = dry.BeltDryer(
    60.0,
    (
        dry.Zone(0.4, 58.0, 1.0, 0.6, "up"),
        dry.Zone(0.35, 56.0, 0.8, 0.7, "down"),
        dry.Zone(0.25, 50.0, 0.6, 0.3, "up", remix=True),
    ),
    time_max_h=6.0,
)
RUN = dry.DryRun("sugar_kelp_blanched", 0.9, 2.0, feed_kg_h=280.0, ambient_c=10.0)


def test_belt_time_reaches_the_target():
    found = dry.aim(BELT, RUN, 0.10)
    assert found.reachable
    assert found.settings["inlet_shift_k"] == 0.0
    assert found.result.moisture_wb_out == pytest.approx(0.10, abs=2e-4)
    again = dry.simulate(BELT, replace(RUN, residence_h=found.settings["residence_h"]))
    assert again.moisture_wb_out == found.result.moisture_wb_out
    assert "min in the dryer" in found.reason


def test_a_wetter_target_needs_less_time():
    times = [dry.aim(BELT, RUN, t).settings["residence_h"] for t in (0.30, 0.20, 0.12)]
    assert times == sorted(times)


def test_too_hot_zones_are_cooled_by_as_little_as_serves():
    hot = replace(BELT, zones=tuple(replace(z, inlet_c=z.inlet_c + 15.0) for z in BELT.zones))
    found = dry.aim(hot, RUN, 0.12)
    shift = found.settings["inlet_shift_k"]
    assert found.reachable
    assert shift < 0.0
    assert found.result.leaf_temperature_max_c <= 60.0 + 0.5
    assert "cooler" in found.reason
    warmer = replace(
        hot, zones=tuple(replace(z, inlet_c=z.inlet_c + shift + 2.0) for z in hot.zones)
    )
    at = dry.aim(warmer, RUN, 0.12)
    assert at.settings["inlet_shift_k"] < 0.0  # two degrees more would not have served


def test_too_cool_zones_are_heated_when_time_runs_out():
    cool = replace(
        BELT, time_max_h=3.0, zones=tuple(replace(z, inlet_c=z.inlet_c - 25.0) for z in BELT.zones)
    )
    found = dry.aim(cool, RUN, 0.15)
    assert found.reachable
    assert found.settings["inlet_shift_k"] > 0.0
    assert "hotter" in found.reason


def test_out_of_reach_says_how_far_it_gets():
    found = dry.aim(BELT, RUN, 0.005)
    assert not found.reachable
    assert "driest reachable in that air" in found.reason
    assert f"{100 * found.result.moisture_wb_out:.1f} %" in found.reason
    assert found.result.leaf_temperature_max_c <= 60.1


def test_a_belt_that_floods_says_what_it_can_take():
    found = dry.aim(BELT, replace(RUN, feed_kg_h=60_000.0), 0.10)
    assert not found.reachable
    assert "floods" in found.reason
    trays = dry.TrayDryer(2.0, (dry.Zone(1.0, 55.0, 1.0),))
    piled = dry.aim(trays, replace(RUN, mass_kg=200.0), 0.10)
    assert not piled.reachable
    assert "trays flood" in piled.reason


def test_trays_and_fluid_beds_are_aimed_too():
    trays = dry.TrayDryer(20.0, (dry.Zone(1.0, 50.0, 1.0, 0.5),), time_max_h=10.0)
    found = dry.aim(trays, replace(RUN, mass_kg=150.0), 0.12)
    assert found.result.moisture_wb_out == pytest.approx(0.12, abs=3e-4)
    bed = dry.FluidBed(9.0, (dry.Zone(0.6, 118.0, 1.6), dry.Zone(0.4, 102.0, 1.2)))
    tea = dry.DryRun("tea_black", 0.62, 0.3, feed_kg_h=400.0, ambient_c=25.0)
    made = dry.aim(bed, tea, 0.03)
    assert made.reachable
    assert made.result.moisture_wb_out == pytest.approx(0.03, abs=2e-4)
    assert made.result.leaf_temperature_max_c <= 105.5


def test_a_target_wetter_than_the_feed_is_refused():
    with pytest.raises(BadInput, match="drier target"):
        dry.aim(BELT, RUN, 0.95)


def readings(*given):
    return [StageReading(0.1 * i, *g) for i, g in enumerate(given)]


def test_no_readings_leave_the_prior():
    view = dry.project(BELT, replace(RUN, residence_h=3.5), [], 0.12)
    assert view.rate_multiplier == 1.0
    assert view.rate_multiplier_sd == pytest.approx(0.15, rel=0.02)
    assert view.curve_low[-1] < view.moisture_wb_out < view.curve_high[-1]


def test_readings_find_the_lot_that_made_them():
    """A lot 25 % slower and 1 % wetter than thought, read at both ends and in the exhaust."""
    run = replace(RUN, residence_h=3.0)
    truth = replace(run, rate_multiplier=0.75, moisture_wb=0.91)
    made = dry.simulate(BELT, truth, with_spread=False)
    seen = readings(
        ("moisture_wb_in", 0.91, 0.004),
        ("exhaust_c_1", made.zones[0].exhaust_c, 0.5),
        ("exhaust_c", made.exhaust_c, 0.5),
        ("moisture_wb_out", made.moisture_wb_out, 0.008),
        ("moisture_wb_out", made.moisture_wb_out, 0.008),
    )
    view = dry.project(BELT, run, seen, 0.10)
    assert abs(view.rate_multiplier - 0.75) < 2.5 * view.rate_multiplier_sd
    assert view.rate_multiplier_sd < 0.05
    assert abs(view.moisture_wb_in - 0.91) < 2.0 * view.moisture_wb_in_sd
    assert view.moisture_wb_out == pytest.approx(made.moisture_wb_out, abs=0.01)
    goal = dry.aim(BELT, truth, 0.10, leaf_temperature_max_c=80.0).settings["residence_h"]
    assert abs(view.finish_h - goal) < 3.0 * view.finish_sd_h + 0.02
    assert "slower" in view.note


@pytest.mark.slow
def test_more_readings_make_surer():
    run = replace(RUN, residence_h=3.0)
    one = dry.project(BELT, run, readings(("moisture_wb_out", 0.2, 0.02)), 0.10)
    four = dry.project(BELT, run, readings(*[("moisture_wb_out", 0.2, 0.02)] * 4), 0.10)
    none = dry.project(BELT, run, [], 0.10)
    assert four.moisture_wb_out_sd < one.moisture_wb_out_sd < none.moisture_wb_out_sd
    assert abs(four.moisture_wb_out - 0.2) < abs(one.moisture_wb_out - 0.2)


def test_trays_are_projected_in_time():
    trays = dry.TrayDryer(20.0, (dry.Zone(1.0, 50.0, 1.0, 0.5),))
    run = replace(RUN, mass_kg=150.0, residence_h=8.0)
    truth = dry.simulate(trays, replace(run, rate_multiplier=1.2), with_spread=False)
    at_2h = float(np.interp(2.0, truth.curve_time_h, truth.curve_moisture_wb))
    view = dry.project(trays, run, [StageReading(2.0, "moisture_wb", at_2h, 0.005)], 0.15)
    done = float(np.interp(-0.15, -np.array(truth.curve_moisture_wb), truth.curve_time_h))
    assert abs(view.finish_h - done) < 3.0 * view.finish_sd_h
    assert view.moisture_wb_now == pytest.approx(at_2h, abs=0.01)
    short = dry.project(trays, replace(run, residence_h=1.0), [], 0.15)
    assert short.finish_h == float("inf")
    assert "not reached" in short.note


def test_readings_it_cannot_use_are_refused():
    with pytest.raises(BadInput, match="this stage reads"):
        dry.project(BELT, RUN, readings(("colour", 1.0, 0.1)), 0.1)
    with pytest.raises(BadInput, match="must be above 0"):
        dry.project(BELT, RUN, readings(("moisture_wb_out", 12.0, 0.1)), 0.1)


def test_an_exhaust_hotter_than_all_air_is_set_aside():
    """136 degF read as degC: air enters at 58 degC, leaf only cools it."""
    run = replace(RUN, residence_h=3.0)
    told = dry.project(BELT, run, readings(("exhaust_c_1", 136.0, 0.5)), 0.10)
    assert told.rate_multiplier == 1.0
    assert "exhaust of zone 1 of 136 degC" in told.note
    assert "hotter than 58 degC" in told.note
    leaf_read = dry.project(BELT, run, readings(("leaf_temperature_c", 90.0, 1.0)), 0.10)
    assert "set aside" in leaf_read.note
    near = dry.project(BELT, run, readings(("exhaust_c_1", 48.0, 0.5)), 0.10)
    assert "set aside" not in near.note


def test_readings_far_from_this_leaf_are_said():
    """A lot of a third of the usual rate is learned, but the tablet asks for a second look."""
    run = replace(RUN, residence_h=3.0)
    usual = dry.simulate(BELT, run).moisture_wb_out
    fits = dry.project(BELT, run, readings(("moisture_wb_out", usual + 0.02, 0.01)), 0.10)
    assert "far from" not in fits.note
    far = dry.project(BELT, run, readings(("moisture_wb_out", 0.75, 0.005)), 0.10)
    assert far.moisture_wb_out == pytest.approx(0.75, abs=0.02)
    assert "far from what this leaf does" in far.note


def test_spread_by_cubature_and_by_sample_agree():
    """Third-degree cubature against a Latin hypercube of 600: sd within 20 %."""
    run = replace(RUN, residence_h=3.0)
    quick, many = dry.spread(BELT, run), dry.spread(BELT, run, n=600)
    assert quick.sd == pytest.approx(many.sd, rel=0.2)
    assert quick.mean == pytest.approx(many.mean, abs=0.2 * many.sd)
    assert many.low < many.mean < many.high
    assert sum(quick.shares.values()) == pytest.approx(1.0)
    assert dry.simulate(BELT, run).moisture_wb_out_sd == pytest.approx(quick.sd, rel=1e-12)


def test_no_uncertainty_no_spread():
    sure = replace(
        RUN,
        moisture_wb_sd=0.0,
        loading_relative_sd=0.0,
        ambient_c_sd=0.0,
        ambient_rh_sd=0.0,
        inlet_c_sd=0.0,
        rate_relative_sd=0.0,
    )
    assert dry.simulate(BELT, sure).moisture_wb_out_sd == 0.0
    one = dry.spread(BELT, replace(sure, moisture_wb_sd=0.02))
    assert one.shares["moisture_wb"] == 1.0
    assert one.sd > 0.0
