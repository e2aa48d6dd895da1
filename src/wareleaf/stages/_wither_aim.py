"""The hours and the heating that bring a load to its moisture, or why nothing does."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from wareleaf import air, leaf
from wareleaf.measure import moisture_db_from_wb, moisture_wb_from_db, require
from wareleaf.stages._wither_air import outside, weather
from wareleaf.stages._wither_march import Cases, carry
from wareleaf.stages._wither_simulate import simulate
from wareleaf.stages._wither_spec import LONGEST_H, Trough, WitherResult, WitherRun
from wareleaf.stages.common import Aim, Array, finite

_TRIED = 9
_HEATING_ROUND_K = 0.1


def aim(
    trough: Trough,
    run: WitherRun,
    target_moisture_wb: float,
    latest_h: float | None = None,
    temperature_max_c: float | None = None,
) -> Aim[WitherResult]:
    """Least heating that brings the mean moisture to target in time, and the hours it takes.

    Parameters
    ----------
    trough, run
        As for ``simulate``; the run's own heating is kept and more is put on top.
    target_moisture_wb : float
        Mean moisture wanted.
    latest_h : float or None
        Hours by which it must be there; None means ``run.duration_h``.
    temperature_max_c : float or None
        Dry bulb the mixed air must not pass; None means ``run.air_max_c``.

    Returns
    -------
    Aim
        ``settings`` has ``duration_h`` and ``heating_k`` (on top of the run's own).

    Raises
    ------
    BadInput
        When the target is not below the arriving moisture, or for a load too heavy for the fan.
    """
    latest = run.duration_h if latest_h is None else latest_h
    finite("latest_h", latest, 0.0, LONGEST_H, "h", above=True)
    _check_target(run, target_moisture_wb)
    if temperature_max_c is not None:
        finite("temperature_max_c", temperature_max_c, 0.0, 50.0, "degC")
        run = replace(run, air_max_c=min(run.air_max_c, temperature_max_c))
    timed = replace(run, duration_h=latest)
    most = float(max(0.0, run.air_max_c - min(run.dry_bulb_c)))
    heating, hours = _least_heating(trough, timed, target_moisture_wb, most)
    if hours is None:
        return _out_of_reach(trough, timed, target_moisture_wb, most)
    result = simulate(trough, _warmer(timed, heating, hours))
    warm = f"with the air warmed by {heating:.1f} K" if heating > 0.0 else "without more heating"
    return Aim(
        settings={"duration_h": hours, "heating_k": heating},
        result=result,
        reachable=True,
        reason=f"The leaf reaches {100.0 * target_moisture_wb:.1f} % after {hours:.1f} h {warm}.",
    )


def _check_target(run: WitherRun, target_moisture_wb: float) -> None:
    finite("target_moisture_wb", target_moisture_wb, 0.0, 0.95, above=True)
    require(
        target_moisture_wb < run.moisture_wb,
        "target_moisture_wb",
        target_moisture_wb,
        f"target_moisture_wb is {target_moisture_wb:g}; the leaf arrives at {run.moisture_wb:g}, "
        "so the target must be below that.",
    )


def hours_to(time_h: Array, moisture: Array, start: float | Array, target: float) -> Array:
    """First hour at which each curve (steps, ...) is at or below target; NaN where never."""
    first = np.broadcast_to(start, (1, *moisture.shape[1:]))
    curve = np.concatenate([first, moisture])
    time = np.concatenate([[0.0], time_h])
    below = curve <= target
    index = np.argmax(below, axis=0)
    here = np.take_along_axis(curve, index[None], axis=0)[0]
    before_at = np.maximum(index - 1, 0)
    before = np.take_along_axis(curve, before_at[None], axis=0)[0]
    drop = np.maximum(before - here, 1e-300)
    share = np.where(index > 0, (before - target) / drop, 0.0)
    hours = time[before_at] + share * (time[index] - time[before_at])
    return np.where(below.any(axis=0), hours, np.nan)


def _least_heating(
    trough: Trough, run: WitherRun, target: float, most_k: float
) -> tuple[float, float | None]:
    """Least heating that is in time, and its hours; None when even the most is not."""
    low, high = 0.0, most_k
    heating, hours = _try(trough, run, target, np.linspace(low, high, _TRIED))
    for _ in range(2):
        good = np.flatnonzero(np.isfinite(hours))
        if good.size == 0:
            return most_k, None
        first = int(good[0])
        if first == 0:
            return float(heating[0]), float(hours[0])
        low, high = float(heating[first - 1]), float(heating[first])
        heating, hours = _try(trough, run, target, np.linspace(low, high, _TRIED))
    first = int(np.flatnonzero(np.isfinite(hours))[0])
    rounded = math.ceil(float(heating[first]) / _HEATING_ROUND_K - 1e-9) * _HEATING_ROUND_K
    _, at = _try(trough, run, target, np.array([rounded]))
    return rounded, float(at[0]) if math.isfinite(at[0]) else float(hours[first])


def _try(trough: Trough, run: WitherRun, target: float, heating: Array) -> tuple[Array, Array]:
    same = np.ones(heating.size)
    history = carry(trough, run, Cases(same, run.moisture_wb * same, heating))
    return heating, hours_to(history.time_h, history.mean_wb, run.moisture_wb, target)


def _warmer(run: WitherRun, heating_k: float, hours: float) -> WitherRun:
    fixed = tuple(h + heating_k for h in run.heating_k)
    return replace(run, heating_k=fixed, duration_h=max(hours, 1e-3))


def driest_reachable_wb(trough: Trough, run: WitherRun, heating_k: float) -> float:
    """Moisture in equilibrium with the mean air of a run so warmed, fan heat left out."""
    sky = weather(run, np.array([heating_k]))
    hours = np.linspace(0.0, run.duration_h, 49)
    ambient, ratio, pressure = outside(sky, hours)
    warm = ambient + np.interp(hours, sky.time_h, sky.heating_k[:, 0])
    humidity = np.clip(air.relative_humidity(warm, ratio, pressure), 0.0, 1.0)
    profile = leaf.profile(run.leaf_id)
    db = leaf.equilibrium_moisture_db(profile, humidity, warm)
    return float(moisture_wb_from_db(float(np.mean(db))))


def _out_of_reach(
    trough: Trough, run: WitherRun, target: float, most_k: float
) -> Aim[WitherResult]:
    result = simulate(trough, _warmer(run, most_k, run.duration_h))
    driest = driest_reachable_wb(trough, run, most_k)
    limit = f"air warmed as far as {run.air_max_c:g} degC"
    end = f"{100.0 * result.moisture_wb_out:.1f} %"
    if moisture_db_from_wb(target) <= moisture_db_from_wb(driest):
        reason = (
            f"The target of {100.0 * target:.1f} % is below equilibrium even in {limit}: "
            f"the driest reachable is {100.0 * driest:.1f} %."
        )
    else:
        longer = replace(run, duration_h=min(LONGEST_H, max(2.0 * run.duration_h, 48.0)))
        _, hours = _try(trough, longer, target, np.array([most_k]))
        when = (
            f"it would take about {hours[0]:.0f} h"
            if np.isfinite(hours[0])
            else (f"not even {longer.duration_h:.0f} h would do")
        )
        reason = (
            f"By {run.duration_h:.1f} h the leaf is at {end} even in {limit}; {when}, so start "
            "earlier, spread thinner or accept wetter leaf."
        )
    return Aim(
        settings={"duration_h": run.duration_h, "heating_k": most_k},
        result=result,
        reachable=False,
        reason=reason,
    )
