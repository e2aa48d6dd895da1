"""Every stage takes moisture, weight and leaf temperature, and says so where one moves nothing.

A lot is made that differs from what its stage expects; what the model gives for that lot is read
back, and the projection must come to it, surer than before.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from sun_weathers import still

from wareleaf.stages import blanch, dry, hold, mill, oxidise, roll, sift, sun_dry, wither
from wareleaf.stages.common import StageReading, steady_moisture
from wareleaf.stages.sun_dry import Ground, SunRun

BELT = dry.BeltDryer(20.0, (dry.Zone(0.5, 70.0, 0.8, 0.5), dry.Zone(0.5, 60.0, 0.8, 0.5)))
BELT_RUN = dry.DryRun("sugar_kelp_blanched", 0.9, 3.0, feed_kg_h=60.0, mass_kg=200.0)
TRAYS = dry.TrayDryer(20.0, (dry.Zone(1.0, 50.0, 1.0, 0.5),))
TRAY_RUN = replace(BELT_RUN, residence_h=8.0, mass_kg=150.0)
BATH = blanch.Bath(water_kg=1500.0, feed_kg_h=300.0)
BATH_RUN = blanch.BlanchRun("sugar_kelp_raw", 100.0, 0.90, 3000.0, moisture_wb_sd=0.02)
TEA = ("tea_black", 60.0)
ROLL_RUN = roll.RollRun(*TEA, 0.66, moisture_wb_sd=0.02)
FLOOR_RUN = oxidise.OxidiseRun(*TEA, 0.64, moisture_wb_sd=0.02)
HOLD_RUN = hold.HoldRun("tea_black", 300.0, 0.76, hours=6.0, moisture_wb_sd=0.02)
MILL_RUN = mill.MillRun("sugar_kelp_blanched", 100.0, 0.10, moisture_wb_sd=0.02, feed_kg_h=100.0)
STACK = sift.SieveStack((sift.Deck("leaf", 2.0), sift.Deck("broken", 1.0)), feed_kg_h=100.0)
SIFT_RUN = sift.SiftRun("tea_black", 100.0, 0.04, moisture_wb_sd=0.02)
AIR = {"air_time_h": (0.0,), "dry_bulb_c": (24.0,), "relative_humidity": (0.65,)}
TROUGH = wither.Trough()
WITHER_RUN = wither.WitherRun("tea_black", 500.0, 0.76, **AIR, duration_h=14.0)  # type: ignore[arg-type]

Project = Callable[[list[StageReading]], Any]
ROOMS: dict[str, tuple[Project, float]] = {
    "belt": (lambda r: dry.project(BELT, BELT_RUN, r, 0.12), 7.0),
    "trays": (lambda r: dry.project(TRAYS, TRAY_RUN, r, 0.15), 2.0),
    "bath": (lambda r: blanch.project(BATH, BATH_RUN, r), 0.2),
    "roller": (lambda r: roll.project(roll.Roller(), ROLL_RUN, r, 0.6), 0.3),
    "floor": (lambda r: oxidise.project(oxidise.Floor(), FLOOR_RUN, r), 0.5),
    "waiting": (lambda r: hold.project(hold.Place(), HOLD_RUN, r), 3.0),
    "trough": (lambda r: wither.project(TROUGH, WITHER_RUN, r, 0.68), 3.0),
}


def one(time_h: float, quantity: str, value: float, sd: float) -> list[StageReading]:
    return [StageReading(time_h, quantity, value, sd)]


@pytest.mark.slow
@pytest.mark.parametrize("room", ROOMS)
def test_a_moisture_reading_moves_the_moisture_and_makes_it_surer(room: str) -> None:
    project, time_h = ROOMS[room]
    quantity = "moisture_wb_out" if room == "belt" else "moisture_wb"
    before = project([StageReading(time_h, "leaf_temperature_c", 20.0, 50.0)])
    seen = before.moisture_wb_now + 0.8 * before.moisture_wb_now_sd
    after = project(one(time_h, quantity, seen, 0.003))
    assert before.moisture_wb_now < after.moisture_wb_now <= seen + 0.003
    assert after.moisture_wb_now_sd < before.moisture_wb_now_sd


@pytest.mark.slow
@pytest.mark.parametrize(
    ("room", "load_kg", "start_wb"),
    [
        ("trays", 150.0, 0.9),
        ("roller", 60.0, 0.66),
        ("floor", 60.0, 0.64),
        ("waiting", 300.0, 0.76),
        ("trough", 500.0, 0.76),
    ],
)
def test_a_weight_says_what_the_moisture_of_that_weight_says(
    room: str, load_kg: float, start_wb: float
) -> None:
    """Dry matter stays: M = M0 (1 - w0) / (1 - w). A lighter load than expected is a drier one."""
    project, time_h = ROOMS[room]
    before = project([StageReading(time_h, "leaf_temperature_c", 20.0, 50.0)])
    expected = load_kg * (1.0 - start_wb) / (1.0 - before.moisture_wb_now)
    light = project(one(time_h, "mass_kg", 0.97 * expected, 0.004 * load_kg))
    heavy = project(one(time_h, "mass_kg", 1.03 * expected, 0.004 * load_kg))
    assert light.moisture_wb_now <= before.moisture_wb_now + 1e-6
    assert light.moisture_wb_now < heavy.moisture_wb_now
    # What a load came with stays in doubt where a weight tells only what it lost since.
    assert light.moisture_wb_now_sd <= 1.05 * before.moisture_wb_now_sd


@pytest.mark.slow
def test_the_whole_lot_weighed_off_a_belt_is_worth_its_moisture() -> None:
    truth = dry.simulate(BELT, replace(BELT_RUN, rate_multiplier=0.8), with_spread=False)
    off_h = BELT_RUN.residence_h + BELT_RUN.lot_kg() / BELT_RUN.feed_kg_h
    sure = replace(BELT_RUN, moisture_wb_sd=1e-4)
    weighed = dry.project(BELT, sure, one(off_h, "mass_kg", truth.mass_out_kg, 0.1), 0.12)
    assert weighed.moisture_wb_out == pytest.approx(truth.moisture_wb_out, abs=0.006)
    assert abs(weighed.rate_multiplier - 0.8) < 2.0 * weighed.rate_multiplier_sd
    half = dry.project(BELT, sure, one(off_h - 1.7, "mass_kg", 0.5 * truth.mass_out_kg, 0.1), 0.12)
    assert weighed.rate_multiplier_sd < half.rate_multiplier_sd


@pytest.mark.slow
def test_a_weight_no_lot_can_have_is_set_aside() -> None:
    none = dry.project(BELT, BELT_RUN, [], 0.12)
    for time_h, value, why in ((1.0, 5.0, "nothing is off"), (7.0, 2.0, "can only weigh")):
        seen = dry.project(BELT, BELT_RUN, one(time_h, "mass_kg", value, 0.1), 0.12)
        assert why in seen.note
        assert seen.rate_multiplier == pytest.approx(none.rate_multiplier)


def test_warm_leaf_at_the_outlet_of_a_belt_is_dry_leaf() -> None:
    for factor in (0.75, 1.3):
        made = dry.simulate(BELT, replace(BELT_RUN, rate_multiplier=factor), with_spread=False)
        seen = dry.project(
            BELT, BELT_RUN, one(7.0, "leaf_temperature_c", made.curve_leaf_c[-1], 0.5), 0.12
        )
        assert (seen.rate_multiplier - 1.0) * (factor - 1.0) > 0.0
        assert abs(seen.rate_multiplier - factor) < 3.0 * seen.rate_multiplier_sd


@pytest.mark.parametrize("room", ["bath", "trough"])
def test_leaf_temperature_that_moves_nothing_is_said_to_be_kept(room: str) -> None:
    project, time_h = ROOMS[room]
    bare, warm = project([]), project(one(time_h, "leaf_temperature_c", 25.0, 0.5))
    assert "kept but does not move" in warm.note
    assert warm.finish_h == pytest.approx(bare.finish_h)


def test_leaf_temperature_in_the_sun_is_said_to_be_kept() -> None:
    run = SunRun("sugar_kelp_raw", 50.0, 0.9, still(24, ghi=600.0, start=6.0), 20.0)
    seen = sun_dry.project(Ground(20.0), run, one(3.0, "leaf_temperature_c", 25.0, 0.5), 0.3)
    assert "kept but does not move" in seen.note


def test_sieves_and_mill_leave_the_moisture_as_it_is_read() -> None:
    for seen in (
        sift.project(STACK, SIFT_RUN, one(0.5, "moisture_wb", 0.05, 0.02)),
        mill.project(
            mill.Mill(), replace(MILL_RUN, moisture_wb=0.04), one(0.5, "moisture_wb", 0.05, 0.02)
        ),
    ):
        assert seen.moisture_wb_now == pytest.approx(0.045)
        assert seen.moisture_wb_now_sd == pytest.approx(0.02 / np.sqrt(2.0))


def test_the_pace_of_the_sieves_follows_all_that_is_off() -> None:
    seen = sift.project(STACK, SIFT_RUN, one(0.5, "mass_kg", 45.0, 0.1))
    assert seen.finish_h == pytest.approx(100.0 / 90.0, rel=0.01)


def test_a_steady_moisture_is_the_weighted_mean() -> None:
    got = steady_moisture(0.10, 0.02, one(1.0, "moisture_wb", 0.13, 0.01))
    assert got == pytest.approx((0.124, 0.02 / np.sqrt(5.0)))
    assert steady_moisture(0.10, 0.0, one(1.0, "moisture_wb", 0.13, 0.01)) == (0.10, 0.0)


def test_a_load_that_dries_as_it_waits_is_noticed() -> None:
    """Five in a hundred gone in six hours where none was expected: 0.76 to 0.71 / 0.95 = 0.7474."""
    seen = hold.project(hold.Place(), HOLD_RUN, one(6.0, "mass_kg", 300.0 * 0.95, 0.3))
    assert seen.moisture_wb_now == pytest.approx(0.7474, abs=0.003)


def test_leaf_that_dries_on_the_floor_is_not_taken_for_leaf_that_oxidises_fast() -> None:
    bare = oxidise.project(oxidise.Floor(), FLOOR_RUN, [])
    seen = oxidise.project(oxidise.Floor(), FLOOR_RUN, one(0.5, "mass_kg", 59.0, 0.2))
    assert seen.moisture_wb_now < bare.moisture_wb_now
    assert seen.finish_h == pytest.approx(bare.finish_h, rel=0.15)
