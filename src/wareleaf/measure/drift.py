"""A meter that drifts: found from its paired readings against a reference.

A meter is checked now and then against a reference (an oven, a test weight). The difference should
scatter around a constant. `find_drift` asks whether it began to run away, when and how fast, and
keeps the chance of a false alarm over the whole series at the level asked for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from wareleaf.measure.charts import DRAWS, SEED, cusum_limit, tabular_cusum
from wareleaf.measure.errors import require

Array = NDArray[np.float64]
_CANDIDATES = 60
_AFTER = 4  # readings wanted after the onset: fewer cannot tell a drift from a bad reading
_SET_ASIDE = 7.0  # robust standard deviations from the neighbours; common practice, no source


@dataclass(frozen=True)
class DriftFinding:
    """Whether a meter drifts, since when and how fast.

    Parameters
    ----------
    drifting : bool
        ``p_value`` is at or below the allowed chance of a false alarm.
    p_value : float
        Chance that a clean meter looks at least this much like drifting somewhere in the series.
    offset, offset_sd : float
        Constant error before the onset (of the whole series without drift).
    noise_factor : float
        Scatter over the stated uncertainty; well above 1 says the uncertainty is stated too small.
    onset_day, onset_low_day, onset_high_day : float or None
        Onset and its 95 % interval, on the axis of ``time_days``.
    per_week, per_week_sd : float or None
        Drift a week, in the unit of the differences.
    error_now : float
        Error at the last reading by the fit; correct by minus this.
    noticed_day : float or None
        When a CUSUM held to the same chance of a false alarm would have spoken.
    set_aside : tuple of int
        Readings that fit neither neighbour and were left out.
    sentence : str
        For people.
    """

    drifting: bool
    p_value: float
    offset: float
    offset_sd: float
    noise_factor: float
    onset_day: float | None
    onset_low_day: float | None
    onset_high_day: float | None
    per_week: float | None
    per_week_sd: float | None
    error_now: float
    noticed_day: float | None
    set_aside: tuple[int, ...]
    sentence: str


def _directions(t: Array, root_weight: Array, onsets: Array) -> Array:
    """Unit vectors of each hinge, with the constant taken out, in whitened space."""
    one = root_weight / np.linalg.norm(root_weight)
    hinge = np.maximum(0.0, t[None, :] - onsets[:, None]) * root_weight
    hinge -= np.outer(hinge @ one, one)
    return hinge / np.linalg.norm(hinge, axis=1, keepdims=True)


def _ratio(directions: Array, residual: Array) -> Array:
    """Greatest explained over unexplained sum of squares, for each column."""
    explained = (directions @ residual) ** 2
    total = np.sum(residual**2, axis=0)
    best = explained.max(axis=0)
    return best / np.maximum(total - best, 1e-300)


@cache
def _null_ratios(t: tuple[float, ...], root_weight: tuple[float, ...]) -> Array:
    times, weights = np.array(t), np.array(root_weight)
    noise = np.random.default_rng(SEED).standard_normal((times.size, DRAWS))
    one = weights / np.linalg.norm(weights)
    noise -= np.outer(one, one @ noise)
    return np.sort(_ratio(_directions(times, weights, _onsets(times)), noise))


def _onsets(t: Array) -> Array:
    times = np.unique(t)[:-_AFTER]
    if times.size > _CANDIDATES:
        times = times[np.linspace(0, times.size - 1, _CANDIDATES).astype(int)]
    return times


def _lonely(d: Array, u: Array) -> NDArray[np.bool_]:
    """Readings far from the median of their four nearest neighbours in time."""
    out = np.zeros(d.size, dtype=bool)
    gap = np.empty(d.size)
    for i in range(d.size):
        low = min(max(i - 2, 0), d.size - 5)
        around = np.delete(np.arange(low, low + 5), i - low)
        gap[i] = (d[i] - np.median(d[around])) / u[i]
    spread = max(1.4826 * float(np.median(np.abs(gap))), 1e-12)
    out[np.abs(gap) > _SET_ASIDE * spread] = True
    return out


def _checked(time: Sequence[float], diff: Sequence[float], sd: Sequence[float]) -> Array:
    require(
        len(time) == len(diff) == len(sd),
        "difference",
        len(diff),
        "time_days, difference and standard_uncertainty must be equally long.",
    )
    rows = np.array([time, diff, sd], dtype=float)
    require(bool(np.isfinite(rows).all()), "difference", None, "Every reading must be finite.")
    require(
        bool((rows[2] > 0.0).all()),
        "standard_uncertainty",
        float(rows[2].min(initial=1.0)),
        "standard_uncertainty must be above 0 for every pair.",
    )
    require(
        np.unique(rows[0]).size >= 8,
        "time_days",
        len(time),
        f"time_days has {np.unique(rows[0]).size} different times; at least 8 are needed.",
    )
    return rows[:, np.argsort(rows[0], kind="stable")]


def find_drift(
    time_days: Sequence[float],
    difference: Sequence[float],
    standard_uncertainty: Sequence[float],
    *,
    false_alarm: float = 0.001,
    unit: str = "",
) -> DriftFinding:
    """Find out whether a meter drifts against its reference.

    Parameters
    ----------
    time_days : sequence of float
        Times of the paired readings, days from any origin, at least 8 different ones.
    difference : sequence of float
        Meter minus reference.
    standard_uncertainty : sequence of float
        Of each difference, above 0; only their ratios decide, the scatter is estimated.
    false_alarm : float
        Allowed chance that a clean series of this length raises an alarm.
    unit : str
        Of the differences, for the sentence.

    Returns
    -------
    DriftFinding
        Answer, onset, rate and their uncertainties.

    Raises
    ------
    BadInput
        For unequal lengths, too few times or an uncertainty of 0.

    Notes
    -----
    Weighted least squares of a constant and a hinge, ``d = a + b max(0, t - t0)``, over all onsets
    ``t0``. The best ratio of explained to unexplained sum of squares is compared with the same
    statistic of simulated clean series with the same times and weights, so that having searched
    for the onset is paid for and the scatter need not be known (own method; own simulation).
    Rate and offset are averaged over all onsets, each weighted by ``S^(-(n-3)/2)`` with ``S`` its
    sum of squares, so that their uncertainty holds the doubt about the onset too (own method; for
    a known onset it is the straight-line fit of JCGM 100:2008, H.3).
    """
    rows = _checked(time_days, difference, standard_uncertainty)
    lonely = _lonely(rows[1], rows[2])
    set_aside = tuple(int(i) for i in np.argsort(time_days, kind="stable")[lonely])
    t, d, u = rows[:, ~lonely]
    root_weight = u.mean() / u
    one = root_weight / np.linalg.norm(root_weight)
    y = d * root_weight
    residual = y - one * (one @ y)
    null = _null_ratios(tuple(t), tuple(root_weight))
    seen = float(_ratio(_directions(t, root_weight, _onsets(t)), residual[:, None])[0])
    above = null.size - np.searchsorted(null, seen, side="left")
    p_value = float((above + 1) / (null.size + 1))
    scatter = math.sqrt(float(residual @ residual) / (t.size - 1))
    offset = float(one @ y) / float(np.linalg.norm(root_weight))
    steady = DriftFinding(
        drifting=False,
        p_value=p_value,
        offset=offset,
        offset_sd=scatter / float(np.linalg.norm(root_weight)),
        noise_factor=scatter / float(u.mean()),
        onset_day=None,
        onset_low_day=None,
        onset_high_day=None,
        per_week=None,
        per_week_sd=None,
        error_now=offset,
        noticed_day=None,
        set_aside=set_aside,
        sentence=f"No drift: a steady error of {offset:+.3g} {unit}".rstrip() + ".",
    )
    if p_value > false_alarm:
        return steady
    return _drifting(np.array([t, d, u]), steady, false_alarm, unit)


@dataclass(frozen=True)
class _Hinge:
    """Offset, rate and onset with what is known of them; the onset is averaged over."""

    offset: float
    offset_sd: float
    per_day: float
    per_day_sd: float
    onset: float
    onset_low: float
    onset_high: float
    error_now: float
    scatter: float


def _fit_hinge(t: Array, d: Array, root_weight: Array) -> _Hinge:
    """Average the fits of all onsets, each by how well it explains the readings."""
    y = d * root_weight
    grid = np.linspace(t[0], np.unique(t)[-_AFTER], 601)
    fits, left, spread = [], np.empty(grid.size), []
    for i, onset in enumerate(grid):
        design = np.column_stack([np.ones_like(t), np.maximum(0.0, t - onset)])
        design *= root_weight[:, None]
        inverse = np.linalg.inv(design.T @ design)
        fit = inverse @ (design.T @ y)
        left[i] = float(np.sum((y - design @ fit) ** 2))
        fits.append(fit)
        spread.append(np.diag(inverse))
    dof = t.size - 3
    belief = (left.min() / left) ** (0.5 * dof)
    belief /= belief.sum()
    values, variances = np.array(fits), np.array(spread) * float(left.min()) / dof
    mean = belief @ values
    sd = np.sqrt(belief @ (variances + (values - mean) ** 2))
    share = np.cumsum(belief)
    now = values[:, 0] + values[:, 1] * (t[-1] - grid)
    return _Hinge(
        offset=float(mean[0]),
        offset_sd=float(sd[0]),
        per_day=float(mean[1]),
        per_day_sd=float(sd[1]),
        onset=float(belief @ grid),
        onset_low=float(grid[np.searchsorted(share, 0.025)]),
        onset_high=float(grid[min(int(np.searchsorted(share, 0.975)), grid.size - 1)]),
        error_now=float(belief @ now),
        scatter=math.sqrt(float(left.min()) / dof),
    )


def _drifting(rows: Array, found: DriftFinding, false_alarm: float, unit: str) -> DriftFinding:
    """Say since when and how fast, once a drift is certain."""
    t, d, u = rows
    hinge = _fit_hinge(t, d, u.mean() / u)
    standard = (d - hinge.offset) / (u * hinge.scatter / u.mean())
    chart = tabular_cusum(
        standard.tolist(), target=0.0, k=0.5, h=cusum_limit(t.size, 0.5, false_alarm)
    )
    week, week_sd = 7.0 * hinge.per_day, 7.0 * hinge.per_day_sd
    sentence = (
        f"Drifting since about day {hinge.onset:.1f} ({hinge.onset_low:.1f} to "
        f"{hinge.onset_high:.1f}) by {week:+.3g} ± {week_sd:.1g} {unit} a week; now off by "
        f"{hinge.error_now:+.3g} {unit}"
    )
    return replace(
        found,
        drifting=True,
        offset=hinge.offset,
        offset_sd=hinge.offset_sd,
        noise_factor=hinge.scatter / float(u.mean()),
        onset_day=hinge.onset,
        onset_low_day=hinge.onset_low,
        onset_high_day=hinge.onset_high,
        per_week=week,
        per_week_sd=week_sd,
        error_now=hinge.error_now,
        noticed_day=next((float(t[i]) for i in chart.signals if t[i] >= hinge.onset_low), None),
        sentence=" ".join(sentence.split()) + ".",
    )
