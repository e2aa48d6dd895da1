"""The aperture for a share of a grade, and the grades of the whole lot from the first weighings."""

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
    finite,
    sort_out,
    steady_moisture,
)
from wareleaf.stages.learn import carry, learn
from wareleaf.stages.sift_run import SieveStack, SiftResult, SiftRun, moved, prior_spread, simulate
from wareleaf.stages.sift_run import split as split_feed
from wareleaf.stages.sift_size import nearest_standard_mm

KEPT = {
    "leaf_temperature_c": "The leaf's temperature is kept but does not move the projection: sieves "
    "part leaf by size."
}
_PACE_LOG_SD = 0.1  # feed rate against the set one: common practice, no source


@dataclass(frozen=True)
class SiftProjection(Projection):
    """A projection with the masses of the grades at the end of the lot."""

    grades: tuple[str, ...]
    grade_mass_kg: tuple[float, ...]
    grade_mass_sd_kg: tuple[float, ...]


def aim(stack: SieveStack, run: SiftRun, grade: str, share: float) -> Aim[SiftResult]:
    """Aperture of one deck that gives its grade a share of the load.

    The neighbours stay. Settings carry the exact aperture and the nearest ISO 3310-1 one.

    Parameters
    ----------
    stack, run : SieveStack, SiftRun
        Sieves and leaf.
    grade : str
        Grade that stays on the deck to be changed.
    share : float
        Wanted share of the load.
    """
    finite("share", share, 0.0, 1.0, above=True)
    names = [d.grade for d in stack.decks]
    if grade not in names:
        raise BadInput("grade", grade, f"No deck is named {grade!r}; there are {', '.join(names)}.")
    index = names.index(grade)
    coarser = stack.decks[index - 1].aperture_mm if index else 199.0
    last = index == len(names) - 1
    smallest = min(1e-3 * run.feed.size_mm, 0.5 * coarser)
    finer = smallest if last else stack.decks[index + 1].aperture_mm
    low, high = finer * 1.0001, coarser * 0.9999

    def with_aperture(aperture: float) -> SieveStack:
        decks = list(stack.decks)
        decks[index] = replace(decks[index], aperture_mm=aperture)
        return replace(stack, decks=tuple(decks))

    def gap(log_aperture: float) -> float:
        shares, _, _ = split_feed(with_aperture(math.exp(log_aperture)), run.feed)
        return float(shares[index]) - share

    most, least = gap(math.log(low)), gap(math.log(high))
    if most < 0.0 or least > 0.0:
        aperture = low if most < 0.0 else high
        result = simulate(with_aperture(aperture), run)
        reason = (
            f"With the neighbouring sieves {grade} can be from {100 * (least + share):.1f} to "
            f"{100 * (most + share):.1f} % of the load, not {100 * share:.1f}."
        )
        return Aim({"aperture_mm": aperture}, result, False, reason)
    aperture = math.exp(float(brentq(gap, math.log(low), math.log(high), xtol=1e-10)))
    standard = nearest_standard_mm(aperture)
    result = simulate(with_aperture(aperture), run)
    reason = (
        f"{aperture:.3g} mm puts {100 * share:.1f} % of the load on {grade}; the nearest standard "
        f"sieve is {standard:g} mm."
    )
    settings = {"aperture_mm": aperture, "standard_aperture_mm": standard}
    return Aim(settings, result, True, reason)


def project(stack: SieveStack, run: SiftRun, readings: Sequence[StageReading]) -> SiftProjection:
    """Grades of the whole lot, from what has been weighed so far.

    Parameters
    ----------
    stack, run : SieveStack, SiftRun
        Sieves and leaf.
    readings : sequence of StageReading
        ``mass_kg_GRADE``: mass of that grade since the start, at ``time_h``; ``mass_kg``: of all
        grades together. They correct median and width of the sizes and the pace. ``moisture_wb``
        corrects the moisture, which sieves do not change. ``leaf_temperature_c`` moves nothing,
        and the note says so.
    """
    names = stack.grades
    weighed = ["mass_kg", *(f"mass_kg_{n}" for n in names)]
    taken, kept = sort_out(readings, [*weighed, "moisture_wb"], KEPT)
    moisture, moisture_sd = steady_moisture(run.moisture_wb, run.moisture_wb_sd, taken)
    known = [r for r in taken if r.quantity != "moisture_wb"]
    prior = np.append(prior_spread(), _PACE_LOG_SD)
    whole = run.mass_kg

    def fed(factors: Array, time_h: float) -> float:
        return min(whole, stack.feed_kg_h * math.exp(float(factors[2])) * time_h)

    def predict(factors: Array) -> Array:
        shares, _, _ = split_feed(stack, moved(run.feed, factors))
        by_name = {**dict(zip(weighed[1:], shares, strict=True)), "mass_kg": 1.0}
        return np.array([by_name[r.quantity] * fed(factors, r.time_h) for r in known])

    learned = learn(
        predict,
        prior,
        np.array([r.value for r in known]),
        np.array([r.standard_uncertainty for r in known]),
    )

    def outlook(factors: Array) -> Array:
        shares, _, _ = split_feed(stack, moved(run.feed, factors))
        hours = whole / (stack.feed_kg_h * math.exp(float(factors[2])))
        return np.append(shares * whole, hours)

    value, spread = carry(outlook, learned)
    best = names[int(np.argmax(value[:-1]))]
    note = f"Most will be {best}: {np.max(value[:-1]):.0f} kg of {whole:.0f}."
    if learned.misfit > 3.0:
        note += " A weighing does not fit: check the sieves for holes or blinding, and the scale."
    note = f"{note} {kept}".strip()
    steady = (moisture,) * 2
    band = 1.96 * moisture_sd
    return SiftProjection(
        finish_h=float(value[-1]),
        finish_sd_h=float(spread[-1]),
        moisture_wb_now=moisture,
        moisture_wb_now_sd=moisture_sd,
        curve_time_h=(0.0, float(value[-1])),
        curve_moisture_wb=steady,
        curve_low=tuple(max(0.0, m - band) for m in steady),
        curve_high=tuple(m + band for m in steady),
        note=note,
        grades=names,
        grade_mass_kg=tuple(value[:-1].tolist()),
        grade_mass_sd_kg=tuple(spread[:-1].tolist()),
    )
