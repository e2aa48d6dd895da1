"""Is the make in control? Individuals and moving range for a laboratory or process figure.

CUSUM and EWMA charts live in `wareleaf.measure.drift`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wareleaf.measure import require

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
