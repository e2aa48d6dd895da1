"""The points of a trial, checked: in range, in order, as many of each; and what they can tell."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from scipy.stats import rankdata

from wareleaf.measure import require
from wareleaf.stages.common import Array

_WRONG_WAY = -0.5
LEAST_SPAN_K = 5.0  # of temperatures that tell an activation energy (own choice)


def no_activation(celsius: Sequence[float], constants: int, what: str) -> str:
    """Why points at these temperatures tell no activation energy; empty when they can.

    Parameters
    ----------
    celsius : sequence of float
        Of each point, degC.
    constants : int
        That would be fitted, the activation energies among them.
    what : str
        Whose activation energy.
    """
    low, high = min(celsius, default=0.0), max(celsius, default=0.0)
    if high - low < LEAST_SPAN_K:
        at = f"at {low:g} degC" if high == low else f"between {low:g} and {high:g} degC"
        return (
            f"All points lie {at}: one temperature tells no activation energy of {what}, and the "
            f"one that stands was used. Repeat the trial at least {LEAST_SPAN_K:g} K away, better "
            "10 or more."
        )
    if len(celsius) <= constants:
        return (
            f"{len(celsius)} points are too few for {constants} constants: with the activation "
            f"energy of {what} it takes at least {constants + 1}."
        )
    return ""


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


def goes(name: str, over: Array, values: Array, way: int, why: str) -> None:
    """Refuse points that clearly run the wrong way: up (``way`` 1) or down (-1) over the other.

    Noise may turn single points or a pair; a rank correlation of three and more below -0.5 of the
    right way is no noise but columns or shares turned round.
    """
    if values.size < 3 or float(np.ptp(values)) == 0.0 or float(np.ptp(over)) == 0.0:
        return  # too few to tell, or what the fit itself refuses
    ranks = [rankdata(column) for column in (over, values)]
    require(
        way * float(np.corrcoef(*ranks)[0, 1]) > _WRONG_WAY,
        name,
        values.tolist(),
        f"{name} {'falls' if way > 0 else 'rises'} over the points; {why}, so check the columns.",
    )


def at_most(name: str, values: Array, most: float, why: str) -> None:
    """Refuse a reading above what there was at the start, a twentieth of doubt allowed."""
    for number, value in enumerate(values.tolist(), start=1):
        require(
            value <= 1.05 * most,
            f"{name}.{number - 1}",
            value,
            f"{name} of point {number} is {value:g}; {why} {most:g}, and it cannot gain.",
        )
