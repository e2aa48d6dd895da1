"""The fastest feed, or the finest product, within the motor and the leaf's heat limit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from wareleaf.measure import BadInput
from wareleaf.stages.common import (
    Aim,
    Array,
    Projection,
    StageReading,
    check_readings,
    finite,
    steady_moisture,
)
from wareleaf.stages.learn import carry, learn
from wareleaf.stages.mill_run import Mill, MillResult, MillRun, figure, heat_limit_c, simulate

READS = ("shaft_kw", "leaf_temperature_c", "mass_kg", "moisture_wb")
_PACE_LOG_SD = 0.1  # feed against the set one: common practice, no source


@dataclass(frozen=True)
class MillProjection(Projection):
    """A projection with the leaf temperature and the motor's load that will hold."""

    leaf_temperature_c: float
    leaf_temperature_sd_k: float
    motor_load: float


def _fits(mill: Mill, run: MillRun, limit_c: float) -> float:
    """Above 0 when the run is within both limits: the smaller margin, scaled."""
    result = simulate(mill, run)
    return min(1.0 - result.motor_load, (limit_c - result.leaf_temperature_max_c) / 50.0)


def aim(
    mill: Mill,
    run: MillRun,
    *,
    vary: str = "feed_kg_h",
    feed_max_kg_h: float = 2000.0,
    product_min_um: float | None = None,
    leaf_temperature_max_c: float | None = None,
) -> Aim[MillResult]:
    """Fastest feed for the product size, or finest product for the feed.

    Parameters
    ----------
    mill, run : Mill, MillRun
        Machine and leaf.
    vary : str
        ``feed_kg_h`` or ``product_um``: what is to be found.
    feed_max_kg_h, product_min_um : float
        Limits of what is varied; the finest is 20 um, or half a finer feed's size, when None.
    leaf_temperature_max_c : float, optional
        Limit of leaf temperature; the profile's when None.
    """
    limit = heat_limit_c(run.leaf_id) if leaf_temperature_max_c is None else leaf_temperature_max_c
    finite("leaf_temperature_max_c", limit, -20.0, 150.0, "degC")
    finest = min(20.0, 0.5 * run.feed_um) if product_min_um is None else product_min_um
    finite("feed_max_kg_h", feed_max_kg_h, 1.0, unit="kg/h", above=True)
    finite("product_min_um", finest, 0.0, 0.99 * run.feed_um, "um", above=True)
    if vary == "feed_kg_h":
        gentle, hard = 1.0, feed_max_kg_h
    elif vary == "product_um":
        gentle, hard = 0.999 * run.feed_um, finest
    else:
        raise BadInput("vary", vary, f"vary is {vary!r}; it must be feed_kg_h or product_um.")

    def at(log_value: float) -> MillRun:
        if vary == "feed_kg_h":
            return replace(run, feed_kg_h=math.exp(log_value))
        return replace(run, product_um=math.exp(log_value))

    def margin(log_value: float) -> float:
        return _fits(mill, at(log_value), limit)

    low, high = math.log(gentle), math.log(hard)
    reachable = margin(low) >= 0.0
    if not reachable:
        found = low
    elif margin(high) >= 0.0:
        found = high
    else:
        found = float(brentq(margin, low, high, xtol=1e-12))
        found -= math.copysign(1e-9, high - low)  # on the safe side of the root
    setting = at(found)
    result = simulate(mill, setting)
    value = {"feed_kg_h": setting.feed_kg_h, "product_um": setting.product_um}
    return Aim(value, result, reachable, _reason(result, limit, reachable))


def _reason(result: MillResult, limit: float, reachable: bool) -> str:
    if not reachable:
        return (
            f"Even the gentlest setting passes a limit: motor at {100 * result.motor_load:.0f} %, "
            f"leaf at {result.leaf_temperature_max_c:.0f} of {limit:.0f} degC."
        )
    if result.motor_load > 0.999:
        holds = "the motor"
    elif result.leaf_temperature_max_c > limit - 0.1:
        holds = "the leaf's warmth"
    else:
        holds = "nothing; the limits given"
    return (
        f"{result.mass_in_kg / result.duration_h:.0f} kg/h to {result.product_um:.0f} um: motor "
        f"{100 * result.motor_load:.0f} %, leaf {result.leaf_temperature_max_c:.0f} degC. "
        f"What holds it back: {holds}."
    )


def project(mill: Mill, run: MillRun, readings: Sequence[StageReading]) -> MillProjection:
    """When the load is through, and how warm it gets, from readings so far.

    Parameters
    ----------
    mill, run : Mill, MillRun
        Machine and leaf.
    readings : sequence of StageReading
        ``shaft_kw``, ``leaf_temperature_c`` after the mill, or ``mass_kg`` of product so far:
        they correct the work and the pace. ``moisture_wb`` corrects the moisture, which the mill
        is taken to leave as it is.
    """
    taken = check_readings(readings, READS)
    moisture, moisture_sd = steady_moisture(run.moisture_wb, run.moisture_wb_sd, taken)
    known = [r for r in taken if r.quantity != "moisture_wb"]
    prior = np.array([figure("all.work_index_log_sd"), _PACE_LOG_SD])

    def moved(factors: Array) -> MillResult:
        work, pace = (math.exp(float(x)) for x in factors)
        changed = replace(run, work_factor=run.work_factor * work, feed_kg_h=run.feed_kg_h * pace)
        return simulate(mill, changed)

    def predict(factors: Array) -> Array:
        r = moved(factors)
        return np.array([_seen(r, x) for x in known])

    learned = learn(
        predict,
        prior,
        np.array([r.value for r in known]),
        np.array([r.standard_uncertainty for r in known]),
    )

    def outlook(factors: Array) -> Array:
        r = moved(factors)
        return np.array([r.duration_h, r.leaf_temperature_max_c, r.motor_load])

    (hours, hot, load), (hours_sd, hot_sd, _) = carry(outlook, learned)
    note = f"The load is through after {hours:.1f} h, give or take {2 * hours_sd:.1f}."
    if hot + hot_sd > heat_limit_c(run.leaf_id):
        note += " The leaf may pass its heat limit: feed less."
    if learned.misfit > 3.0:
        note += " A reading does not fit: look for a torn screen, worn hammers or a wrong meter."
    band = 1.96 * moisture_sd
    return MillProjection(
        finish_h=float(hours),
        finish_sd_h=float(hours_sd),
        moisture_wb_now=moisture,
        moisture_wb_now_sd=moisture_sd,
        curve_time_h=(0.0, float(hours)),
        curve_moisture_wb=(moisture,) * 2,
        curve_low=(max(0.0, moisture - band),) * 2,
        curve_high=(moisture + band,) * 2,
        note=note,
        leaf_temperature_c=float(hot),
        leaf_temperature_sd_k=float(hot_sd),
        motor_load=float(load),
    )


def _seen(result: MillResult, reading: StageReading) -> float:
    if reading.quantity == "shaft_kw":
        return result.shaft_kw
    if reading.quantity == "leaf_temperature_c":
        return result.leaf_temperature_max_c
    return result.mass_out_kg * min(1.0, reading.time_h / result.duration_h)
