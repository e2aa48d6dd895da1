"""Control charts: individuals and moving range, tabular CUSUM, EWMA."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from wareleaf.measure.errors import require

SEED = 20260412  # fixed, so that the same readings always give the same answer
DRAWS = 20_000
D2_N2 = 1.128  # mean range of two normal values in standard deviations (computed, 1.1284)
D4_N2 = 3.267  # upper limit factor of the range of two (computed, 3.2665)


@dataclass(frozen=True)
class IndividualsChart:
    """Limits of an individuals and moving-range chart, and which points lie outside."""

    mean: float
    mean_moving_range: float
    upper: float
    lower: float
    upper_moving_range: float
    outside: tuple[int, ...]
    outside_moving_range: tuple[int, ...]


def individuals(values: Sequence[float]) -> IndividualsChart:
    """Individuals and moving-range chart.

    Parameters
    ----------
    values : sequence of float
        In time order, at least two.

    Returns
    -------
    IndividualsChart
        Limits ``mean ± 3 MR/d2`` and ``D4 MR``; indices of points outside.

    Raises
    ------
    BadInput
        For fewer than two values.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    require(len(values) >= 2, "values", len(values), "values needs at least two points.")
    x = np.asarray(values, dtype=float)
    ranges = np.abs(np.diff(x))
    mean, mean_range = float(x.mean()), float(ranges.mean())
    upper, lower = mean + 3.0 * mean_range / D2_N2, mean - 3.0 * mean_range / D2_N2
    upper_range = D4_N2 * mean_range
    return IndividualsChart(
        mean=mean,
        mean_moving_range=mean_range,
        upper=upper,
        lower=lower,
        upper_moving_range=upper_range,
        outside=tuple(int(i) for i in np.flatnonzero((x > upper) | (x < lower))),
        outside_moving_range=tuple(int(i) + 1 for i in np.flatnonzero(ranges > upper_range)),
    )


@dataclass(frozen=True)
class Cusum:
    """Upper and lower cumulative sums and the indices where either exceeds ``h``."""

    high: tuple[float, ...]
    low: tuple[float, ...]
    signals: tuple[int, ...]


def tabular_cusum(
    values: Sequence[float], *, target: float, k: float, h: float, head_start: float = 0.0
) -> Cusum:
    """Tabular cumulative sums.

    Parameters
    ----------
    values : sequence of float
        In time order.
    target, k, h : float
        Target, allowance and decision limit in the unit of the values.
    head_start : float
        Value both sums start from; ``h / 2`` is the fast initial response.

    Returns
    -------
    Cusum
        ``C+ = max(0, C+ + x - target - k)``, ``C- = max(0, C- + target - k - x)``.

    Notes
    -----
    NIST/SEMATECH e-Handbook 6.3.2.3; head start by Lucas and Crosier (1982).
    """
    high, low, signals = [], [], []
    up = down = head_start
    for i, x in enumerate(values):
        up, down = max(0.0, up + x - target - k), max(0.0, down + target - k - x)
        high.append(up)
        low.append(down)
        if up > h or down > h:
            signals.append(i)
    return Cusum(tuple(high), tuple(low), tuple(signals))


@dataclass(frozen=True)
class Ewma:
    """Weighted averages, their limits and the indices outside."""

    values: tuple[float, ...]
    upper: tuple[float, ...]
    lower: tuple[float, ...]
    signals: tuple[int, ...]


def ewma(
    values: Sequence[float],
    *,
    target: float,
    sd: float,
    weight: float,
    width: float = 3.0,
    steady: bool = True,
) -> Ewma:
    """Exponentially weighted moving average chart.

    Parameters
    ----------
    values : sequence of float
        In time order.
    target, sd : float
        Mean and standard deviation in control.
    weight : float
        Of the newest value, above 0 up to 1.
    width : float
        Half width of the limits in standard deviations of the average.
    steady : bool
        Limits for a long series; False uses the exact variance of each point.

    Returns
    -------
    Ewma
        Starting from the target; limits ``target ± width sd sqrt(weight/(2 - weight))``.

    Notes
    -----
    NIST/SEMATECH e-Handbook 6.3.2.4.
    """
    require(0.0 < weight <= 1.0, "weight", weight, f"weight is {weight}; it must be in (0, 1].")
    z, out, upper, lower = target, [], [], []
    for i, x in enumerate(values, start=1):
        z = weight * x + (1.0 - weight) * z
        settled = 1.0 if steady else 1.0 - (1.0 - weight) ** (2 * i)
        half = width * sd * math.sqrt(weight / (2.0 - weight) * settled)
        out.append(z)
        upper.append(target + half)
        lower.append(target - half)
    signals = tuple(
        i for i, (v, u, d) in enumerate(zip(out, upper, lower, strict=True)) if not d <= v <= u
    )
    return Ewma(tuple(out), tuple(upper), tuple(lower), signals)


@cache
def cusum_limit(n: int, k: float, false_alarm: float) -> float:
    """Decision limit of a two-sided CUSUM so that ``n`` clean values rarely signal.

    Parameters
    ----------
    n : int
        Values in the series.
    k : float
        Allowance in standard deviations.
    false_alarm : float
        Chance of any signal over the whole series.

    Returns
    -------
    float
        Limit in standard deviations (own simulation with a fixed seed, normal noise).
    """
    noise = np.random.default_rng(SEED).standard_normal((n, DRAWS))
    up = down = worst = np.zeros(DRAWS)
    for x in noise:
        up, down = np.maximum(0.0, up + x - k), np.maximum(0.0, down - x - k)
        worst = np.maximum(worst, np.maximum(up, down))
    return float(np.quantile(worst, 1.0 - false_alarm))
