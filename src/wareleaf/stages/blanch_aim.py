"""Settings that bring leaf to an iodine target or a kill, and where the bath stands now."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import norm

from wareleaf.measure import require
from wareleaf.stages.blanch_run import pace, simulate
from wareleaf.stages.blanch_spec import Bath, BlanchResult, BlanchRun, figure
from wareleaf.stages.common import Aim, Array, Projection, StageReading, finite, sort_out
from wareleaf.stages.learn import carry, learn
from wareleaf.stages.lethality import decades

READS = (
    "iodine_mg_kg_dw",
    "bath_temperature_c",
    "bath_solids_fraction",
    "moisture_wb",
    "mass_kg",
)
KEPT = {
    "leaf_temperature_c": "The leaf's temperature is kept but does not move the projection: a thin "
    "blade follows the bath, so read the bath."
}


@dataclass(frozen=True)
class Limits:
    """What the operator may set: seconds in the water and its temperature."""

    immersion_min_s: float = 10.0
    immersion_max_s: float = 600.0
    temperature_max_c: float = 95.0


@dataclass(frozen=True)
class BlanchProjection(Projection):
    """A projection with the iodine of the load and the next dump.

    Parameters
    ----------
    iodine_mg_kg_dw, iodine_mg_kg_dw_sd : float
        Mean of the load, after the readings.
    curve_iodine_mg_kg_dw : tuple of float
        Basket by basket, on ``curve_time_h``.
    probability_within : float or None
        That the worst basket is at or below ``iodine_max_mg_kg_dw``, where one was given.
    """

    iodine_mg_kg_dw: float
    iodine_mg_kg_dw_sd: float
    curve_iodine_mg_kg_dw: tuple[float, ...]
    probability_within: float | None


def _reaches(
    result: BlanchResult, iodine_max: float | None, log_reduction_min: float | None, z: float
) -> bool:
    good = True
    if iodine_max is not None:
        good = result.iodine_worst_mg_kg_dw * math.exp(z * result.iodine_log_sd) <= iodine_max
    if log_reduction_min is not None:
        good = good and result.log_reduction_worst >= log_reduction_min
    return good


def aim(
    bath: Bath,
    run: BlanchRun,
    *,
    iodine_max_mg_kg_dw: float | None = None,
    log_reduction_min: float | None = None,
    confidence: float = 0.5,
    limits: Limits | None = None,
) -> Aim[BlanchResult]:
    """Shortest immersion at the bath's set point that reaches the target; hotter if it must be.

    The worst basket of the load counts, at the wanted confidence over the spread between lots.
    Temperature is raised in steps of 5 K up to the limit only when the longest immersion fails.

    Parameters
    ----------
    bath, run : Bath, BlanchRun
        Equipment and leaf; ``run.immersion_s`` is what is found.
    iodine_max_mg_kg_dw : float, optional
        Most iodine, mg per kg dry matter.
    log_reduction_min : float, optional
        Least decimal reduction of L. monocytogenes in the middle of the blade.
    confidence : float
        Probability that the worst basket meets the iodine target; 0.5 aims at the middle.
    limits : Limits, optional
        What may be set.
    """
    require(
        iodine_max_mg_kg_dw is not None or log_reduction_min is not None,
        "iodine_max_mg_kg_dw",
        None,
        "Give a target: iodine_max_mg_kg_dw, log_reduction_min or both.",
    )
    if iodine_max_mg_kg_dw is not None:
        finite("iodine_max_mg_kg_dw", iodine_max_mg_kg_dw, 0.0, unit="mg/kg", above=True)
    finite("confidence", confidence, 0.5, 0.9999)
    limits = limits or Limits()
    z = float(norm.ppf(confidence))

    def at(temperature_c: float, seconds: float) -> tuple[BlanchResult, bool]:
        result = simulate(
            replace(bath, temperature_c=temperature_c), replace(run, immersion_s=seconds)
        )
        return result, _reaches(result, iodine_max_mg_kg_dw, log_reduction_min, z)

    temperature = bath.temperature_c
    while True:
        result, good = at(temperature, limits.immersion_max_s)
        if good or temperature >= limits.temperature_max_c:
            break
        temperature = min(limits.temperature_max_c, temperature + 5.0)
    seconds = limits.immersion_max_s
    if good:
        seconds, result = _shortest(at, temperature, limits)
    settings = {"immersion_s": seconds, "temperature_c": temperature}
    return Aim(settings, result, good, _reason(bath, result, settings, good))


def _shortest(
    at: Callable[[float, float], tuple[BlanchResult, bool]], temperature_c: float, limits: Limits
) -> tuple[float, BlanchResult]:
    low, high = limits.immersion_min_s, limits.immersion_max_s
    result, good = at(temperature_c, low)
    if good:
        return low, result
    best, _ = at(temperature_c, high)
    while high - low > 0.5:
        middle = 0.5 * (low + high)
        result, good = at(temperature_c, middle)
        if good:
            high, best = middle, result
        else:
            low = middle
    return high, best


def _reason(bath: Bath, result: BlanchResult, settings: dict[str, float], good: bool) -> str:
    seconds, hot = settings["immersion_s"], settings["temperature_c"]
    if good:
        warmer = "" if hot <= bath.temperature_c else f" (set point raised to {hot:.0f} degC)"
        return (
            f"{seconds:.0f} s at {hot:.0f} degC{warmer} leaves {result.iodine_mg_kg_dw:.0f} mg "
            f"iodine per kg dry matter, worst basket {result.iodine_worst_mg_kg_dw:.0f}."
        )
    first, last = result.course_leaf_iodine_mg_kg_dw[0], result.course_leaf_iodine_mg_kg_dw[-1]
    dirt = (
        " The bath loads up: dump it sooner or run more fresh water through."
        if last > 1.15 * first
        else " Bound iodine or the heating limits it, not the bath."
    )
    return (
        f"Not within the limits: {seconds:.0f} s at {hot:.0f} degC leaves "
        f"{result.iodine_worst_mg_kg_dw:.0f} mg/kg in the worst basket, "
        f"{decades(result.log_reduction_worst)} in the middle of the blade.{dirt}"
    )


def _moved(bath: Bath, run: BlanchRun, factors: Array) -> BlanchResult:
    """Run with the factors moved: ln rate, ln bound, ln drag-out, bath K, arriving moisture."""
    rate, bound, drag, warmer, wetter = (float(x) for x in factors)
    changed = replace(
        run,
        leach_factor=run.leach_factor * math.exp(rate),
        residual_factor=run.residual_factor * math.exp(bound),
        drag_factor=run.drag_factor * math.exp(drag),
        moisture_wb=min(0.98, max(0.5, run.moisture_wb + wetter)),
    )
    set_point = min(100.0, max(20.0, bath.temperature_c + warmer))
    return simulate(replace(bath, temperature_c=set_point), changed)


def _seen(bath: Bath, run: BlanchRun, result: BlanchResult, reading: StageReading) -> float:
    """What a reading would show; ``mass_kg`` is all drained leaf so far, basket by basket."""
    time = np.array(result.course_time_h)
    if reading.quantity == "mass_kg":
        share = np.cumsum(pace(bath, run)[0]) / run.mass_kg
        return float(np.interp(reading.time_h, time, result.mass_out_kg * share))
    course = {
        "iodine_mg_kg_dw": result.course_leaf_iodine_mg_kg_dw,
        "bath_temperature_c": result.course_bath_c,
        "bath_solids_fraction": result.course_bath_solids_fraction,
        "moisture_wb": result.course_moisture_wb,
    }[reading.quantity]
    return float(np.interp(reading.time_h, time, course))


def project(
    bath: Bath,
    run: BlanchRun,
    readings: Sequence[StageReading],
    iodine_max_mg_kg_dw: float | None = None,
) -> BlanchProjection:
    """Where the load stands and ends, from readings of leaf and bath.

    Readings correct the leaching rate, the bound iodine, the drag-out, the true temperature of the
    bath and the moisture the leaf came with; the course is then computed again with what was
    learned.

    Parameters
    ----------
    bath, run : Bath, BlanchRun
        As set.
    readings : sequence of StageReading
        ``iodine_mg_kg_dw`` of a basket, ``bath_temperature_c``, ``bath_solids_fraction``
        (refractometer), ``moisture_wb`` of drained leaf or ``mass_kg`` of all drained leaf so far,
        with hours since the start. ``leaf_temperature_c`` moves nothing, and the note says so.
    iodine_max_mg_kg_dw : float, optional
        Target to give a probability for.
    """
    known, kept = sort_out(readings, READS, KEPT)

    def predict(factors: Array) -> Array:
        result = _moved(bath, run, factors)
        return np.array([_seen(bath, run, result, r) for r in known])

    prior = np.array(
        [
            figure("all.leach_rate_log_sd"),
            figure("all.iodine_residual_log_sd"),
            figure("bath.drag_out_log_sd"),
            1.0,  # K, set point against the water at the blade: common practice, no source
            max(run.moisture_wb_sd, 1e-6),
        ]
    )
    learned = learn(
        predict,
        prior,
        np.array([r.value for r in known]),
        np.array([r.standard_uncertainty for r in known]),
    )
    grid = np.array(simulate(bath, run).course_time_h)

    def outlook(factors: Array) -> Array:
        r = _moved(bath, run, factors)
        t = np.array(r.course_time_h)
        return np.concatenate(
            [
                np.interp(grid, t, r.course_moisture_wb),
                np.interp(grid, t, r.course_leaf_iodine_mg_kg_dw),
                [r.duration_h, r.iodine_mg_kg_dw, math.log(max(1e-9, r.iodine_worst_mg_kg_dw))],
            ]
        )

    value, spread = carry(outlook, learned)
    told = _projection(
        grid, value, spread, readings, misfit=learned.misfit, iodine_max=iodine_max_mg_kg_dw
    )
    return replace(told, note=f"{told.note} {kept}".strip())


def _projection(
    grid: Array,
    value: Array,
    spread: Array,
    known: Sequence[StageReading],
    *,
    misfit: float,
    iodine_max: float | None,
) -> BlanchProjection:
    n = grid.size
    now = float(np.interp(known[-1].time_h if known else 0.0, grid, value[:n]))
    now_sd = float(np.interp(known[-1].time_h if known else 0.0, grid, spread[:n]))
    within = None
    if iodine_max is not None:
        within = float(norm.cdf((math.log(iodine_max) - value[-1]) / max(spread[-1], 1e-9)))
    note = (
        f"The load ends near {value[-2]:.0f} mg iodine per kg dry matter, "
        f"give or take {2 * spread[-2]:.0f}."
    )
    if misfit > 3.0:
        note += " A reading does not fit the bath: check the thermometer, the meter and the sample."
    return BlanchProjection(
        finish_h=float(value[-3]),
        finish_sd_h=float(spread[-3]),
        moisture_wb_now=now,
        moisture_wb_now_sd=now_sd,
        curve_time_h=tuple(grid.tolist()),
        curve_moisture_wb=tuple(value[:n].tolist()),
        curve_low=tuple((value[:n] - 1.96 * spread[:n]).tolist()),
        curve_high=tuple((value[:n] + 1.96 * spread[:n]).tolist()),
        note=note,
        iodine_mg_kg_dw=float(value[-2]),
        iodine_mg_kg_dw_sd=float(spread[-2]),
        curve_iodine_mg_kg_dw=tuple(value[n : 2 * n].tolist()),
        probability_within=within,
    )
