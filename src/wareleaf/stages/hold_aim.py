"""The latest start for a waiting load, and how readings of its warmth move it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wareleaf.stages.common import Aim, Array, Projection, StageReading, check_readings, finite
from wareleaf.stages.hold_run import simulate
from wareleaf.stages.hold_spec import HOURS_MAX, HoldResult, HoldRun, Place, figure
from wareleaf.stages.learn import carry, learn

READS = ("leaf_temperature_c", "moisture_wb", "mass_kg")
# Water that leaves waiting leaf against the figure given, share of its mass an hour, without
# the leaf's own heat: it drips, or the air that takes it brings the heat. Practice, no source.
_DRIP_SD_H = 0.003


@dataclass(frozen=True)
class HoldProjection(Projection):
    """A projection whose ``finish_h`` is the latest start without loss of value.

    Parameters
    ----------
    lost_h, lost_sd_h : float
        When the load is lost.
    leaf_temperature_c, leaf_temperature_sd_k : float
        Best estimate at the last reading.
    curve_leaf_c : tuple of float
        Leaf temperature on ``curve_time_h``.
    """

    lost_h: float
    lost_sd_h: float
    leaf_temperature_c: float
    leaf_temperature_sd_k: float
    curve_leaf_c: tuple[float, ...]


def _until_lost(place: Place, run: HoldRun, horizon_h: float) -> HoldResult:
    """Simulate until the leaf is lost, at most to the horizon."""
    hours = min(horizon_h, 24.0)
    result = simulate(place, replace(run, hours=hours))
    while not math.isfinite(result.lost_h) and hours < horizon_h:
        hours = min(horizon_h, 3.0 * hours)
        result = simulate(place, replace(run, hours=hours))
    return result


def aim(
    place: Place, run: HoldRun, *, value_min: float = 1.0, horizon_h: float = HOURS_MAX
) -> Aim[HoldResult]:
    """Latest start of the next stage, counted from now.

    Parameters
    ----------
    place, run : Place, HoldRun
        Where, and the load; ``run.hours`` is what is found.
    value_min : float
        Least share of value to keep; 1 is none lost.
    horizon_h : float
        How far to look.
    """
    finite("value_min", value_min, 0.0, 1.0)
    finite("horizon_h", horizon_h, 0.0, HOURS_MAX, "h", above=True)
    long = _until_lost(place, run, horizon_h)
    latest = long.latest_start_h
    if value_min < 1.0 and math.isfinite(latest):
        fallen = -np.array(long.course_value_left)
        below = fallen[-1] > -value_min
        latest = float(np.interp(-value_min, fallen, long.course_time_h)) if below else math.inf
    wait = min(latest, long.duration_h)
    settings = {"latest_start_h": latest, "lost_h": long.lost_h}
    result = simulate(place, replace(run, hours=max(wait, 1e-3)))
    if latest <= 0.0:
        reason = "The load has used up its holding time already: start now, and check it first."
        return Aim(settings, result, False, reason)
    if not math.isfinite(latest):
        reason = f"It keeps its value for the {long.duration_h:.0f} h looked at."
        return Aim(settings, result, True, reason)
    reason = (
        f"Start within {latest:.1f} h; the leaf is then at {result.leaf_temperature_out_c:.0f} "
        f"degC. It is lost after {long.lost_h:.1f} h."
    )
    return Aim(settings, result, True, reason)


def project(place: Place, run: HoldRun, readings: Sequence[StageReading]) -> HoldProjection:
    """Latest start and time of loss, from readings so far.

    Readings correct the leaf's own heat, its exchange with the surroundings, the moisture it came
    with and the water it loses as it waits; how long a load holds at a temperature keeps its prior
    spread.

    Parameters
    ----------
    place, run : Place, HoldRun
        Where, and the load.
    readings : sequence of StageReading
        ``leaf_temperature_c`` in the middle, ``moisture_wb`` or ``mass_kg``.
    """
    known = check_readings(readings, READS)
    prior = np.array(
        [
            *(figure(f"all.{n}_log_sd") for n in ("respiration", "loss", "patience")),
            max(run.moisture_wb_sd, 1e-6),
            1e-6 if place.in_seawater else _DRIP_SD_H,
        ]
    )
    at = known[-1].time_h if known else 0.0
    horizon = min(
        HOURS_MAX, max(2.0 * _until_lost(place, run, HOURS_MAX).duration_h, at, run.hours)
    )

    def moved(factors: Array, hours: float) -> HoldResult:
        warm, loss, patience = (math.exp(float(x)) for x in factors[:3])
        drip = min(0.2, max(0.0, place.drip_fraction_h + float(factors[4])))
        changed = replace(
            run,
            hours=hours,
            moisture_wb=min(0.98, max(0.3, run.moisture_wb + float(factors[3]))),
            respiration_factor=run.respiration_factor * warm,
            loss_factor=run.loss_factor * loss,
            patience_factor=run.patience_factor * patience,
        )
        return simulate(replace(place, drip_fraction_h=drip), changed)

    def predict(factors: Array) -> Array:
        r = moved(factors, max(at, 0.05))
        mass = np.linspace(r.mass_in_kg, r.mass_out_kg, len(r.course_time_h))
        seen: dict[str, tuple[float, ...]] = {
            "leaf_temperature_c": r.course_leaf_c,
            "moisture_wb": r.course_moisture_wb,
            "mass_kg": tuple(mass.tolist()),
        }
        return np.array([np.interp(x.time_h, r.course_time_h, seen[x.quantity]) for x in known])

    learned = learn(
        predict,
        prior,
        np.array([r.value for r in known]),
        np.array([r.standard_uncertainty for r in known]),
    )
    grid = np.linspace(0.0, horizon, 80)

    def outlook(factors: Array) -> Array:
        r = moved(factors, horizon)
        ends = [min(r.latest_start_h, horizon), min(r.lost_h, horizon)]
        temperature = np.interp(grid, r.course_time_h, r.course_leaf_c)
        moisture = np.interp(grid, r.course_time_h, r.course_moisture_wb)
        return np.concatenate([moisture, temperature, ends])

    value, spread = carry(outlook, learned)
    return _projection(grid, value, spread, at=at)


def _projection(grid: Array, value: Array, spread: Array, *, at: float) -> HoldProjection:
    n = grid.size
    moisture, warm = value[:n], value[n : 2 * n]
    wet_sd = spread[:n]
    latest, lost = float(value[-2]), float(value[-1])
    left = latest - at
    note = (
        f"Start within {left:.1f} h, give or take {2 * spread[-2]:.1f}."
        if left > 0.0
        else "Its holding time is used up: start now, and check the leaf first."
    )
    return HoldProjection(
        finish_h=latest,
        finish_sd_h=float(spread[-2]),
        moisture_wb_now=float(np.interp(at, grid, moisture)),
        moisture_wb_now_sd=float(np.interp(at, grid, wet_sd)),
        curve_time_h=tuple(grid.tolist()),
        curve_moisture_wb=tuple(moisture.tolist()),
        curve_low=tuple((moisture - 1.96 * wet_sd).tolist()),
        curve_high=tuple((moisture + 1.96 * wet_sd).tolist()),
        note=note,
        lost_h=lost,
        lost_sd_h=float(spread[-1]),
        leaf_temperature_c=float(np.interp(at, grid, warm)),
        leaf_temperature_sd_k=float(np.interp(at, grid, spread[n : 2 * n])),
        curve_leaf_c=tuple(warm.tolist()),
    )
