"""Sun drying: what the readings so far say of the hour it is there.

Unknown are the lot's rate, its arriving moisture, and how much sun and wind reach it. The lot is
marched at even nodes of the three, all at once; monotone cubics (Fritsch and Carlson) carry the
courses to a fine grid, where Bayes' rule weighs them by the readings. Leaf that has come to its
balance bends a course sharply: polynomials through few nodes swing below that balance there. The
hour of the target is taken on every course, so a night in which nothing dries counts as what it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import PchipInterpolator

from wareleaf import leaf
from wareleaf.measure import BadInput, moisture_wb_from_db
from wareleaf.stages.common import (
    Array,
    Projection,
    StageReading,
    finite,
    log_sd,
    sort_out,
    spread_wb,
    weighed_kg,
)
from wareleaf.stages.sun_dry_march import Cases, march
from wareleaf.stages.sun_dry_spec import SPREADS, Ground, SunRun

READS = ("moisture_wb", "mass_kg")
KEPT = {
    "leaf_temperature_c": "The leaf's temperature is kept but does not move the projection: in the "
    "open it follows sun and wind of the moment."
}
_NODES, _FINE = (13, 3, 13), (25, 9, 13)
_WIDE_SD = 3.0
_ABSURD_SD = 4.0
_STEP_MIN = 20.0
_SURE = 0.95


@dataclass(frozen=True)
class _Courses:
    """Moisture wet basis (steps + 1, points) on the fine grid, and the prior weight of each."""

    time_h: Array
    moisture_wb: Array
    start_wb: Array
    prior: Array


def project(
    ground: Ground, run: SunRun, readings: Sequence[StageReading], target_moisture_wb: float
) -> Projection:
    """Hour of the target from the readings so far, with the rest of the weather as forecast.

    Parameters
    ----------
    ground, run
        As for ``simulate``; the weather past the last reading is the forecast.
    readings : sequence of StageReading
        ``moisture_wb`` (mean of the layer) or ``mass_kg`` (whole load), in time order; may be
        empty. ``leaf_temperature_c`` is taken but moves nothing, and the note says so.
    target_moisture_wb : float
        Mean moisture wanted.

    Raises
    ------
    BadInput
        Readings out of order, of another kind, after the end of the run, or such that no lot of
        this leaf in this weather could give any of them.
    """
    finite("target_moisture_wb", target_moisture_wb, 0.0, 0.95, above=True)
    taken, kept = sort_out(readings, READS, KEPT)
    for reading in readings:
        finite("time_h", reading.time_h, 0.0, run.duration_h, "h")
    courses = _courses(ground, replace(run, step_min=max(run.step_min, _STEP_MIN)))
    weight, unlikely = _weighed(run, courses, taken)
    last_h = readings[-1].time_h if readings else 0.0
    said = [*unlikely, kept] if kept else unlikely
    return _told(run, courses, weight, last_h, target_moisture_wb, said)


def _courses(ground: Ground, run: SunRun) -> _Courses:
    sd = np.array(
        [
            max(log_sd(leaf.rate_constant_relative_sd(leaf.profile(run.leaf_id), "wither")), 1e-3),
            max(run.spread(SPREADS[1]), 1e-4),
            max(math.hypot(*(log_sd(run.spread(n)) for n in SPREADS[2:])), 1e-3),
        ]
    )
    room = min(run.moisture_wb - 0.01, 0.985 - run.moisture_wb)
    half = np.minimum(_WIDE_SD * sd, [np.inf, room, np.inf])
    axes = [np.linspace(-h, h, n) for h, n in zip(half, _NODES, strict=True)]
    rate, start, outer = (g.ravel() for g in np.meshgrid(*axes, indexing="ij"))
    wb = run.moisture_wb + start
    one = np.exp(outer)
    dry = run.mass_kg * (1.0 - wb) / ground.area_m2
    trace = march(ground, run, Cases(np.exp(rate), wb / (1.0 - wb), dry, one, one))
    fine = np.asarray(moisture_wb_from_db(trace.moisture_db)).reshape(-1, *_NODES)
    grid = [np.linspace(-h, h, m) for h, m in zip(half, _FINE, strict=True)]
    for axis, (at_nodes, on_grid) in enumerate(zip(axes, grid, strict=True), start=1):
        if at_nodes.size != on_grid.size:
            fine = PchipInterpolator(at_nodes, fine, axis=axis)(on_grid)
    mesh = [g.ravel() for g in np.meshgrid(*grid, indexing="ij")]
    prior = np.exp(-0.5 * sum((g / s) ** 2 for g, s in zip(mesh, sd, strict=True)))
    moisture = np.clip(fine.reshape(fine.shape[0], -1), 1e-4, 0.999)
    return _Courses(trace.time_h, moisture, run.moisture_wb + mesh[1], prior / prior.sum())


def _at(courses: _Courses, hour: float) -> Array:
    """Moisture at an hour on every course."""
    place = float(np.interp(hour, courses.time_h, np.arange(courses.time_h.size)))
    i = min(int(place), courses.time_h.size - 2)
    low, high = courses.moisture_wb[i], courses.moisture_wb[i + 1]
    return np.asarray(low + (place - i) * (high - low))


def _weighed(
    run: SunRun, courses: _Courses, taken: Sequence[StageReading]
) -> tuple[Array, list[str]]:
    """Weights after the readings, and sentences on readings that were set aside."""
    log_weight, said = np.log(courses.prior), []
    for count, reading in enumerate(taken, start=1):
        expected = _at(courses, reading.time_h)
        if reading.quantity == "mass_kg":
            expected = weighed_kg(run.mass_kg, courses.start_wb, expected)
        off = (reading.value - expected) / reading.standard_uncertainty
        if float(np.abs(off).min()) > _ABSURD_SD:
            said.append(
                f"reading {count} gives {reading.quantity} {reading.value:.4g} at "
                f"{reading.time_h:g} h; this load in this weather can only be from "
                f"{expected.min():.4g} to {expected.max():.4g} then"
            )
            continue
        log_weight = log_weight - 0.5 * off**2
    if said and len(said) == len(taken):
        raise BadInput("readings", taken[0].value, f"{said[0]}.")
    weight = np.exp(log_weight - log_weight.max())
    return weight / weight.sum(), [f"Set aside: {text}." for text in said]


def _hours(courses: _Courses, target: float) -> Array:
    """First hour at or below the target on every course; infinite when never."""
    under = courses.moisture_wb <= target
    first = np.argmax(under, axis=0)
    point = np.arange(first.size)
    before = np.maximum(first - 1, 0)
    high, low = courses.moisture_wb[before, point], courses.moisture_wb[first, point]
    share = np.where(first > 0, (high - target) / np.maximum(high - low, 1e-12), 0.0)
    time = courses.time_h
    hour = time[before] + np.clip(share, 0.0, 1.0) * (time[first] - time[before])
    return np.asarray(np.where(under.any(axis=0), hour, np.inf))


def _told(
    run: SunRun,
    courses: _Courses,
    weight: Array,
    last: float,
    target: float,
    said: list[str],
) -> Projection:
    mean = courses.moisture_wb @ weight
    sd = np.sqrt(np.maximum(0.0, courses.moisture_wb**2 @ weight - mean**2))
    now, now_sd = spread_wb(_at(courses, last), weight)
    hours = _hours(courses, target)
    seen = np.isfinite(hours)
    chance = float(weight[seen].sum())
    finish, finish_sd = math.inf, math.inf
    if chance < 0.5:
        note = (
            f"Not expected at {100.0 * target:.1f} % within {run.duration_h:.0f} h of this "
            f"weather; the chance is {100.0 * chance:.0f} %."
        )
    else:
        finish, finish_sd = spread_wb(hours[seen], weight[seen] / chance)
        note = f"There at {finish:.0f} h, give or take {finish_sd:.1f} h, if the weather holds."
        if chance < _SURE:
            note += f" The chance to be there in time is {100.0 * chance:.0f} %."
    return Projection(
        finish_h=finish,
        finish_sd_h=finish_sd,
        moisture_wb_now=now,
        moisture_wb_now_sd=now_sd,
        curve_time_h=tuple(courses.time_h.tolist()),
        curve_moisture_wb=tuple(mean.tolist()),
        curve_low=tuple(np.clip(mean - 1.96 * sd, 0.0, 1.0).tolist()),
        curve_high=tuple(np.clip(mean + 1.96 * sd, 0.0, 1.0).tolist()),
        note=" ".join([note, *said]),
    )
