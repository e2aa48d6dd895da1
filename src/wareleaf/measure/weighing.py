"""A scale that was misread: the one ticket whose weight does not fit the other weighing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from wareleaf.measure.charts import DRAWS, SEED
from wareleaf.measure.errors import require


@dataclass(frozen=True)
class WeighOutlier:
    """A weight that does not fit the others.

    Parameters
    ----------
    index : int
        Position in the series.
    ratio : float
        Weight over expected weight, divided by the usual ratio: 1.10 reads 10 % too much.
    z : float
        Robust standard deviations of its logarithm.
    likely_kg : float
        What the usual ratio would give.
    p_value : float
        Chance that the worst of a clean series lies this far out.
    sentence : str
        For people.
    """

    index: int
    ratio: float
    z: float
    likely_kg: float
    p_value: float
    sentence: str


@cache
def _null_worst(n: int) -> NDArray[np.float64]:
    noise = np.random.default_rng(SEED).standard_normal((DRAWS, n))
    away = np.abs(noise - np.median(noise, axis=1, keepdims=True))
    return np.sort(away.max(axis=1) / (1.4826 * np.median(away, axis=1)))


def weigh_outliers(
    net_kg: Sequence[float],
    expected_kg: Sequence[float],
    *,
    least_relative_sd: float = 0.0,
    false_alarm: float = 0.001,
) -> tuple[WeighOutlier, ...]:
    """Weights that do not fit a check weight, field weight or count.

    Parameters
    ----------
    net_kg : sequence of float
        Weighed, above 0; at least 6.
    expected_kg : sequence of float
        From the other weighing, above 0; a constant factor between the two does not matter.
    least_relative_sd : float
        Scatter to allow even if the series happens to agree better.
    false_alarm : float
        Allowed chance that a clean series has any outlier.

    Returns
    -------
    tuple of WeighOutlier
        In order of position; empty for a clean series.

    Raises
    ------
    BadInput
        For unequal lengths, fewer than 6 weights or weights not above 0.

    Notes
    -----
    Median and median absolute deviation of ``ln(net/expected)``; the threshold is that of the
    worst of as many normal values, by own simulation with a fixed seed (own method).
    """
    require(
        len(net_kg) == len(expected_kg) and len(net_kg) >= 6,
        "net_kg",
        len(net_kg),
        "net_kg and expected_kg must be equally long, with at least 6 weights.",
    )
    pair = np.array([net_kg, expected_kg], dtype=float)
    require(
        bool(np.isfinite(pair).all() and (pair > 0.0).all()),
        "net_kg",
        float(np.min(pair)),
        "Every weight must be a finite number above 0.",
    )
    ratio = np.log(pair[0] / pair[1])
    centre = float(np.median(ratio))
    spread = 1.4826 * float(np.median(np.abs(ratio - centre)))
    z = (ratio - centre) / max(spread, least_relative_sd, 1e-12)
    null = _null_worst(ratio.size)
    found = []
    for i, value in enumerate(z):
        above = null.size - np.searchsorted(null, abs(value), side="left")
        p_value = float((above + 1) / (null.size + 1))
        if p_value > false_alarm:
            continue
        factor = math.exp(ratio[i] - centre)
        likely = float(pair[1, i]) * math.exp(centre)
        side = "more" if factor > 1.0 else "less"
        found.append(
            WeighOutlier(
                index=i,
                ratio=factor,
                z=float(value),
                likely_kg=likely,
                p_value=p_value,
                sentence=f"{pair[0, i]:.1f} kg is {abs(factor - 1.0):.0%} {side} than the "
                f"{likely:.1f} kg that the other weighing leads one to expect; weigh again.",
            )
        )
    return tuple(found)
