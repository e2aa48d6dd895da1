"""The points of a trial, checked: each in its range, in order, as many of one as of another."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from wareleaf.measure import require
from wareleaf.stages.common import Array


def column(
    name: str,
    values: Sequence[float],
    low: float,
    high: float,
    unit: str = "",
    *,
    ends: bool = True,
) -> Array:
    """Readings of one kind, each checked; without ``ends`` the ends of the range are refused."""
    for number, value in enumerate(values, start=1):
        inside = low <= value <= high if ends else low < value < high  # false for what is no number
        accepted = f"from {low:g} to {high:g}" if ends else f"between {low:g} and {high:g}"
        require(
            inside,
            f"{name}.{number - 1}",
            value,
            f"{name} of point {number} is {value:g}; it must be {accepted} {unit}".rstrip() + ".",
        )
    return np.asarray(values, dtype=float)


def rising(name: str, values: Sequence[float]) -> None:
    """Refuse times that are out of order."""
    for number, (before, after) in enumerate(pairwise(values), start=2):
        require(
            after >= before,
            f"{name}.{number - 1}",
            after,
            f"{name} of point {number} is {after:g} after {before:g}; give points in the order "
            "they were taken.",
        )


def as_long(first: str, others: dict[str, Sequence[float]], count: int) -> None:
    """Refuse lists of different lengths."""
    for name, values in others.items():
        require(
            len(values) == count,
            name,
            len(values),
            f"{name} has {len(values)} values and {first} has {count}; they must be as many.",
        )
