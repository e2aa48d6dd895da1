"""The best minutes on the floor, and where the leaf stands from readings so far."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wareleaf.stages.common import (
    Aim,
    Array,
    Projection,
    StageReading,
    check_readings,
    finite,
    weighed_kg,
)
from wareleaf.stages.learn import carry, learn
from wareleaf.stages.oxidise_rate import figure
from wareleaf.stages.oxidise_run import OxidiseResult, simulate
from wareleaf.stages.oxidise_spec import Floor, OxidiseRun

READS = ("theaflavin_fraction", "oxidised_share", "leaf_temperature_c", "moisture_wb", "mass_kg")
# Water that leaves beside the model's, share of the load an hour, with heat that the air brings: a
# weight must not be read as oxidation. Common practice, no source.
_LOSS_SD_H = 0.02


@dataclass(frozen=True)
class OxidiseProjection(Projection):
    """A projection with theaflavin, its peak and the window around it.

    ``finish_h`` is the time of the peak; ``window_h`` the times between which theaflavin is at
    least 97 % of it.
    """

    window_h: tuple[float, float]
    theaflavin_now: float
    theaflavin_now_sd: float
    peak_theaflavin: float
    curve_theaflavin: tuple[float, ...]
    curve_theaflavin_low: tuple[float, ...]
    curve_theaflavin_high: tuple[float, ...]


def _to_peak(floor: Floor, run: OxidiseRun) -> OxidiseResult:
    """Simulate long enough to see the peak, at most 24 h."""
    speed = floor.oxygen_factor * run.disruption * run.rate_factor
    minutes = min(1440.0, 2.0 * figure(f"{run.cut}.peak_min") / speed)
    result = simulate(floor, replace(run, minutes=minutes))
    while not math.isfinite(result.window_min[1]) and minutes < 1440.0:
        minutes = min(1440.0, 2.0 * minutes)
        result = simulate(floor, replace(run, minutes=minutes))
    return result


def aim(
    floor: Floor,
    run: OxidiseRun,
    *,
    leaf_temperature_max_c: float | None = None,
    air_max_kg_h_kg: float | None = None,
) -> Aim[OxidiseResult]:
    """Minutes to the most theaflavin; more air where the leaf would get too warm.

    Parameters
    ----------
    floor, run : Floor, OxidiseRun
        Floor and leaf; ``run.minutes`` is what is found.
    leaf_temperature_max_c : float, optional
        Limit of leaf temperature; the published 29 degrees C when None. Leaf that comes hotter
        than that is judged by the end of its time.
    air_max_kg_h_kg : float, optional
        Most air, kg dry air per hour per kg leaf; the larger of 20 and the floor's when None.
    """
    limit = leaf_temperature_max_c or figure("all.temperature_high_c")
    finite("leaf_temperature_max_c", limit, 10.0, 50.0, "degC")
    air_max = max(20.0, floor.air_kg_h_kg) if air_max_kg_h_kg is None else air_max_kg_h_kg
    finite("air_max_kg_h_kg", air_max, floor.air_kg_h_kg, 100.0, "kg/(h kg)")
    more = np.geomspace(max(floor.air_kg_h_kg, 0.1), max(air_max, 0.1), 9)[1:]
    for air in (floor.air_kg_h_kg, *(min(float(a), air_max) for a in more)):
        aired = replace(floor, air_kg_h_kg=air)
        peak = _to_peak(aired, run).peak_min
        minutes = min(peak, 1440.0)
        result = simulate(aired, replace(run, minutes=minutes))
        settings = {"minutes": minutes, "air_kg_h_kg": air}
        warm = result.leaf_temperature_max_c
        if run.leaf_temperature_c > limit:
            warm = result.course_leaf_c[-1]
        if warm <= limit:
            break
    if not math.isfinite(peak):
        return Aim(settings, result, False, "Theaflavin still rises after a day: too cold or dry.")
    if warm > limit:
        reason = (
            f"The leaf reaches {warm:.1f} degC even with {air:.0f} kg air per hour and kg; cool "
            f"the air or spread thinner. At that warmth the best time is {minutes:.0f} min."
        )
        return Aim(settings, result, False, reason)
    low, high = _window(aired, run)
    spread = minutes * run.rate_log_sd
    reason = (
        f"{minutes:.0f} min is the best time, give or take {spread:.0f}; between {low:.0f} and "
        f"{high:.0f} min theaflavin is within 3 % of its peak."
    )
    return Aim(settings, result, True, reason)


def _window(floor: Floor, run: OxidiseRun) -> tuple[float, float]:
    return _to_peak(floor, run).window_min


def project(floor: Floor, run: OxidiseRun, readings: Sequence[StageReading]) -> OxidiseProjection:
    """When theaflavin will peak, from readings so far.

    Readings correct the rate, the yield of theaflavin, the heat of oxidation, the moisture the leaf
    came with and the water that leaves beside what the model has.

    Parameters
    ----------
    floor, run : Floor, OxidiseRun
        Floor and leaf.
    readings : sequence of StageReading
        ``theaflavin_fraction`` of infusion solids, ``oxidised_share`` of catechin,
        ``leaf_temperature_c``, ``moisture_wb`` or ``mass_kg`` (whole load, by its conserved dry
        matter), hours since leaf came to the floor.
    """
    known = check_readings(readings, READS)
    prior = np.array(
        [
            run.rate_log_sd,
            *(figure(f"all.{n}_log_sd") for n in ("theaflavin", "heat")),
            max(run.moisture_wb_sd, 1e-6),
            _LOSS_SD_H,
        ]
    )
    horizon = max([1.6 * _to_peak(floor, run).course_min[-1]] + [60.0 * r.time_h for r in known])
    horizon = min(1440.0, horizon)

    def moved(factors: Array) -> OxidiseResult:
        rate, yields, heat = (math.exp(float(x)) for x in factors[:3])
        changed = replace(
            run,
            moisture_wb=min(0.9, max(0.2, run.moisture_wb + float(factors[3]))),
            minutes=horizon,
            rate_factor=run.rate_factor * rate,
            theaflavin_factor=run.theaflavin_factor * yields,
            heat_factor=run.heat_factor * heat,
        )
        return simulate(floor, changed)

    def moisture(result: OxidiseResult, factors: Array) -> Array:
        wet = np.array(result.course_moisture_wb)
        gone = float(factors[4]) * np.array(result.course_min) / 60.0
        share = np.maximum((1.0 - wet[0]) / (1.0 - wet) - gone, 1.05 * (1.0 - wet[0]))
        return np.asarray(1.0 - (1.0 - wet[0]) / share)

    def predict(factors: Array) -> Array:
        r = moved(factors)
        wet = moisture(r, factors)
        seen = {
            "theaflavin_fraction": np.array(r.course_theaflavin),
            "oxidised_share": np.array(r.course_oxidised),
            "leaf_temperature_c": np.array(r.course_leaf_c),
            "moisture_wb": wet,
            "mass_kg": weighed_kg(run.mass_kg, wet[0], wet),
        }
        return np.array([np.interp(60.0 * x.time_h, r.course_min, seen[x.quantity]) for x in known])

    learned = learn(
        predict,
        prior,
        np.array([r.value for r in known]),
        np.array([r.standard_uncertainty for r in known]),
    )
    grid = np.linspace(0.0, horizon, 80)

    def outlook(factors: Array) -> Array:
        r = moved(factors)
        peak = min(r.peak_min, horizon)
        window = [min(w, horizon) for w in r.window_min]
        return np.concatenate(
            [
                np.interp(grid, r.course_min, moisture(r, factors)),
                np.interp(grid, r.course_min, r.course_theaflavin),
                [peak, *window, r.peak_theaflavin_fraction],
            ]
        )

    value, spread = carry(outlook, learned)
    at = 60.0 * known[-1].time_h if known else 0.0
    return _projection(grid, value, spread, at)


def _projection(grid: Array, value: Array, spread: Array, at: float) -> OxidiseProjection:
    n = grid.size
    moisture, tf = value[:n], value[n : 2 * n]
    wet_sd, tf_sd = spread[:n], spread[n : 2 * n]
    peak, low, high, top = (float(x) for x in value[2 * n :])
    peak_sd = float(spread[2 * n])
    left = peak - at
    note = (
        f"Theaflavin peaks in {left:.0f} min, give or take {2 * peak_sd:.0f}; fire from "
        f"{max(0.0, low - at):.0f} min on."
        if left > 0.0
        else f"Theaflavin peaked {-left:.0f} min ago; fire now."
    )
    return OxidiseProjection(
        finish_h=peak / 60.0,
        finish_sd_h=peak_sd / 60.0,
        moisture_wb_now=float(np.interp(at, grid, moisture)),
        moisture_wb_now_sd=float(np.interp(at, grid, wet_sd)),
        curve_time_h=tuple((grid / 60.0).tolist()),
        curve_moisture_wb=tuple(moisture.tolist()),
        curve_low=tuple((moisture - 1.96 * wet_sd).tolist()),
        curve_high=tuple((moisture + 1.96 * wet_sd).tolist()),
        note=note,
        window_h=(low / 60.0, high / 60.0),
        theaflavin_now=float(np.interp(at, grid, tf)),
        theaflavin_now_sd=float(np.interp(at, grid, tf_sd)),
        peak_theaflavin=top,
        curve_theaflavin=tuple(tf.tolist()),
        curve_theaflavin_low=tuple((tf - 1.96 * tf_sd).tolist()),
        curve_theaflavin_high=tuple((tf + 1.96 * tf_sd).tolist()),
    )
