"""From the readings so far: when will the load be there, plus or minus how much.

Unknown are the lot's rate (log-normal about its profile) and its arriving moisture (normal). The
bed is marched at a few Chebyshev nodes of both, all at once; polynomials carry the curves to a fine
grid, where Bayes' rule weighs them by the readings. A reading's uncertainty is joined with the
published standard error of such a model, so that many readings never make it surer than it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial import chebyshev

from wareleaf.measure import BadInput
from wareleaf.stages._wither_aim import hours_to
from wareleaf.stages._wither_march import Cases, carry
from wareleaf.stages._wither_spec import LONGEST_H, Trough, WitherRun, number, rate_log_sd
from wareleaf.stages.common import (
    Array,
    Projection,
    StageReading,
    finite,
    sort_out,
    spread_wb,
    weighed_kg,
)

READS = ("moisture_wb", "mass_kg")
KEPT = {
    "leaf_temperature_c": "The leaf's temperature is kept but does not move the projection: on a "
    "trough it follows the air, whatever the lot's own rate."
}
_WIDE_SD = 4.0
_NODES = (7, 5)
_FINE = (61, 31)
_ABSURD_SD = 4.0
_AHEAD_H = 12.0
_STEP_MIN = 10.0  # costs 0.01 points of moisture against a minute, see tests
_SURE = 0.95
_PACE_PERCENT = 3.0


@dataclass(frozen=True)
class WitherProjection(Projection):
    """A projection with what was learned of this lot.

    Parameters
    ----------
    rate_factor, rate_factor_sd : float
        Rate of this lot over that of its profile (geometric mean of the posterior).
    wettest_finish_h : float
        Hour at which the wettest layer is there too; infinite when not in the time looked at.
    """

    rate_factor: float
    rate_factor_sd: float
    wettest_finish_h: float


@dataclass(frozen=True)
class _Curves:
    """Curves on the fine grid, (steps, points), and the prior weight of each point."""

    time_h: Array
    mean_wb: Array
    high_wb: Array
    start_wb: Array  # (points,)
    rate_factor: Array  # (points,)
    prior: Array  # (points,)


def project(
    trough: Trough,
    run: WitherRun,
    readings: Sequence[StageReading],
    target_moisture_wb: float,
    target_sd: float = 0.0,
    *,
    latest_h: float | None = None,
) -> WitherProjection:
    """Projected hour of the target from the readings so far.

    Parameters
    ----------
    trough, run
        As for ``simulate``; ``run.moisture_wb_sd`` is the prior spread of the arriving moisture.
    readings : sequence of StageReading
        ``moisture_wb`` (mean of the bed) or ``mass_kg`` (whole load), in time order; may be empty.
        ``leaf_temperature_c`` is taken but moves nothing, and the note says so.
    target_moisture_wb, target_sd : float
        Mean moisture wanted and its tolerance as one standard deviation.
    latest_h : float or None
        How far to look; None looks to the end of run and weather, and 12 h past the last reading.

    Raises
    ------
    BadInput
        Readings out of order, of another kind, or such that no lot of this leaf could give one of
        them.
    """
    finite("target_moisture_wb", target_moisture_wb, 0.0, 0.95, above=True)
    finite("target_sd", target_sd, 0.0, 0.2)
    taken, kept = sort_out(readings, READS, KEPT)
    last_h = readings[-1].time_h if readings else 0.0
    look = max(run.duration_h, run.air_time_h[-1], last_h + _AHEAD_H)
    look = min(LONGEST_H, look if latest_h is None else latest_h)
    finite("latest_h", look, last_h, LONGEST_H, "h")
    coarse = max(run.step_min, _STEP_MIN)
    curves = _curves(trough, replace(run, duration_h=look, step_min=coarse))
    weight, unlikely = _posterior(run, curves, taken)
    told = _told(curves, weight, target_moisture_wb, target_sd, last_h)
    return replace(told, note=" ".join(filter(None, [told.note, *unlikely, kept])))


def _nodes(centre: float, half: float, count: int) -> Array:
    return centre + half * np.cos(np.pi * (np.arange(count) + 0.5) / count)


def _to_fine(count: int, fine: int) -> Array:
    """Matrix that carries values at Chebyshev nodes to an even grid over the same interval."""
    at_nodes = chebyshev.chebvander(_nodes(0.0, 1.0, count), count - 1)
    on_grid = chebyshev.chebvander(np.linspace(-1.0, 1.0, fine), count - 1)
    return on_grid @ np.linalg.inv(at_nodes)


def _curves(trough: Trough, run: WitherRun) -> _Curves:
    sd_rate = rate_log_sd(run)
    half_rate = _WIDE_SD * max(sd_rate, 1e-3)
    room = min(run.moisture_wb - run.surface_water_share - 1e-3, 0.97 - run.moisture_wb)
    half_wb = min(_WIDE_SD * max(run.moisture_wb_sd, 1e-4), room)
    rates = _nodes(0.0, half_rate, _NODES[0])
    starts = _nodes(run.moisture_wb, half_wb, _NODES[1])
    grid_rate, grid_start = (g.ravel() for g in np.meshgrid(rates, starts, indexing="ij"))
    cases = Cases(np.exp(grid_rate), grid_start, np.zeros(grid_rate.size))
    history = carry(trough, run, cases)
    carry_rate, carry_start = (_to_fine(n, m) for n, m in zip(_NODES, _FINE, strict=True))

    def fine(values: Array) -> Array:
        nodes = values.reshape(-1, *_NODES)
        on_grid = np.einsum("ai,kij,bj->kab", carry_rate, nodes, carry_start, optimize=True)
        return on_grid.reshape(values.shape[0], -1)

    z = np.linspace(-half_rate, half_rate, _FINE[0])
    start = np.linspace(run.moisture_wb - half_wb, run.moisture_wb + half_wb, _FINE[1])
    zz, ss = (g.ravel() for g in np.meshgrid(z, start, indexing="ij"))
    sd_start = max(run.moisture_wb_sd, 1e-4)
    prior = np.exp(
        -0.5 * ((zz / max(sd_rate, 1e-3)) ** 2 + ((ss - run.moisture_wb) / sd_start) ** 2)
    )
    high_db = history.total_db.max(axis=1)
    return _Curves(
        time_h=history.time_h,
        mean_wb=fine(history.mean_wb),
        high_wb=fine(high_db / (1.0 + high_db)),
        start_wb=ss,
        rate_factor=np.exp(zz),
        prior=prior / prior.sum(),
    )


def _at(curves: _Curves, time_h: float) -> Array:
    """Mean moisture at an hour, every point of the grid."""
    time = np.concatenate([[0.0], curves.time_h])
    upper = min(int(np.searchsorted(time, time_h, side="right")), time.size - 1)
    share = min(1.0, (time_h - time[upper - 1]) / (time[upper] - time[upper - 1]))
    before = curves.start_wb if upper == 1 else curves.mean_wb[upper - 2]
    return before + share * (curves.mean_wb[upper - 1] - before)


def _posterior(
    run: WitherRun, curves: _Curves, readings: Sequence[StageReading]
) -> tuple[Array, list[str]]:
    """Weights of the grid points, and sentences about readings that were set aside."""
    model_sd = number("model.standard_error_wb")
    log_weight = np.log(np.maximum(curves.prior, 1e-300))
    unlikely: list[str] = []
    problems: list[BadInput] = []
    for count, reading in enumerate(readings, start=1):
        expected, own_sd = _at(curves, reading.time_h), model_sd
        if reading.quantity == "mass_kg":
            expected = weighed_kg(run.mass_kg, curves.start_wb, expected)
            own_sd = model_sd * float(np.mean(expected)) / (1.0 - run.moisture_wb)
        sd = math.hypot(reading.standard_uncertainty, own_sd)
        off = (reading.value - expected) / sd
        if float(np.abs(off).min()) > _ABSURD_SD:
            problems.append(_absurd(count, reading, expected))
            unlikely.append(f"Reading {count} was set aside: {problems[-1]}")
            continue
        log_weight = log_weight - 0.5 * off**2
    if problems and len(problems) == len(readings):
        raise problems[0]
    weight = np.exp(log_weight - log_weight.max())
    return weight / weight.sum(), unlikely


def _absurd(count: int, reading: StageReading, expected: Array) -> BadInput:
    scale, unit = (100.0, "%") if reading.quantity == "moisture_wb" else (1.0, "kg")
    low, high = scale * float(expected.min()), scale * float(expected.max())
    return BadInput(
        "readings",
        reading.value,
        f"reading {count} gives {reading.quantity} {scale * reading.value:.4g} {unit} at "
        f"{reading.time_h:g} h; this load can only be from {low:.4g} to {high:.4g} {unit} then.",
    )


def _told(
    curves: _Curves, weight: Array, target: float, target_sd: float, last_h: float
) -> WitherProjection:
    model_sd = number("model.standard_error_wb")
    mean = curves.mean_wb @ weight
    sd = np.sqrt(np.maximum(0.0, curves.mean_wb**2 @ weight - mean**2) + model_sd**2)
    now, now_sd = spread_wb(_at(curves, last_h), weight)
    finish, finish_sd, chance = _finish(curves.time_h, curves.mean_wb, curves, weight, target)
    wettest, _, _ = _finish(curves.time_h, curves.high_wb, curves, weight, target)
    if math.isfinite(finish):
        slope = abs(float(np.interp(finish, curves.time_h, np.gradient(mean, curves.time_h))))
        loose = math.hypot(target_sd, model_sd) / max(slope, 1e-6)
        finish_sd = math.hypot(finish_sd, loose)
    factor = math.exp(float(weight @ np.log(curves.rate_factor)))
    factor_sd = math.sqrt(max(0.0, float(weight @ (curves.rate_factor - factor) ** 2)))
    return WitherProjection(
        finish_h=finish,
        finish_sd_h=finish_sd,
        moisture_wb_now=now,
        moisture_wb_now_sd=math.hypot(now_sd, model_sd),
        curve_time_h=tuple(curves.time_h.tolist()),
        curve_moisture_wb=tuple(mean.tolist()),
        curve_low=tuple(np.clip(mean - 1.96 * sd, 0.0, 1.0).tolist()),
        curve_high=tuple(np.clip(mean + 1.96 * sd, 0.0, 1.0).tolist()),
        note=_note(curves, finish, finish_sd, chance, factor),
        rate_factor=factor,
        rate_factor_sd=factor_sd,
        wettest_finish_h=wettest,
    )


def _finish(
    time_h: Array, moisture_wb: Array, curves: _Curves, weight: Array, target: float
) -> tuple[float, float, float]:
    """Hour of the target, its standard deviation, and the chance to see it in the time."""
    hours = hours_to(time_h, moisture_wb, curves.start_wb, target)
    seen = np.isfinite(hours)
    chance = float(weight[seen].sum())
    if chance < 0.5:
        return math.inf, math.inf, chance
    share = weight[seen] / chance
    mean, sd = spread_wb(hours[seen], share)
    return mean, sd, chance


def _note(curves: _Curves, finish: float, sd: float, chance: float, factor: float) -> str:
    end = float(curves.time_h[-1])
    if not math.isfinite(finish):
        return f"The target is not expected by {end:.0f} h; the chance is {100.0 * chance:.0f} %."
    percent = 100.0 * (factor - 1.0)
    pace = f"{abs(percent):.0f} % {'faster' if percent > 0.0 else 'slower'} than usual"
    pace = pace if abs(percent) >= _PACE_PERCENT else "at its usual pace"
    text = f"There at {finish:.1f} h, give or take {sd:.1f} h; this lot withers {pace}."
    if chance < _SURE:
        text += f" The chance to be there by {end:.0f} h is {100.0 * chance:.0f} %."
    return text
