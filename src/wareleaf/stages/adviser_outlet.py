"""How outlet moisture scatters: from lots that were measured, and the curve it makes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from wareleaf.measure import require
from wareleaf.stages.common import finite

FEWEST = 3
ROBUST = 1.4826  # standard deviation of a normal over its median absolute deviation
STRAY = 4.5  # robust standard deviations (own choice: 1 of 150,000 normal lots lies beyond)
_REACH_SD = 4.0
_POINTS = 81


@dataclass(frozen=True)
class Seen:
    """Measured lots: how many, their mean and their standard deviation (n - 1), wet basis."""

    lots: int
    mean_wb: float
    sd_wb: float


def seen(outlet_wb: Sequence[float]) -> Seen:
    """Mean and standard deviation of the outlet moistures of lots.

    Parameters
    ----------
    outlet_wb : sequence of float
        One a lot, fraction wet basis; at least three, not all equal.

    Raises
    ------
    BadInput
        Fewer than three lots, an impossible moisture, or lots that are all equal.
    """
    require(
        len(outlet_wb) >= FEWEST,
        "outlet_wb",
        len(outlet_wb),
        f"outlet_wb holds {len(outlet_wb)} lots; a spread takes at least {FEWEST}.",
    )
    for each in outlet_wb:
        finite("outlet_wb", each, 0.0, 0.6)
    sd = float(np.std(outlet_wb, ddof=1))
    require(
        sd > 1e-9,
        "outlet_wb",
        sd,
        "outlet_wb holds lots that are all equal; they tell no spread. Read the meter finer.",
    )
    return Seen(len(outlet_wb), float(np.mean(outlet_wb)), sd)


def strays(outlet_wb: Sequence[float]) -> tuple[float, ...]:
    """Lots that lie far from the others: over `STRAY` robust standard deviations off the median.

    The robust standard deviation is 1.4826 times the median absolute deviation (textbook; equal to
    the standard deviation for a normal spread). Where most lots are equal there is none, and none
    stray.
    """
    lots = np.asarray(outlet_wb, dtype=float)
    off = np.abs(lots - np.median(lots)) if lots.size else lots
    robust_sd = ROBUST * float(np.median(off)) if lots.size else 0.0
    if not robust_sd > 0.0:
        return ()
    return tuple(lots[off > STRAY * robust_sd].tolist())


def split(sd_wb: float, shares: Mapping[str, float]) -> dict[str, float]:
    """A standard deviation in parts, by shares of the variance that add to one."""
    finite("sd_wb", sd_wb, 0.0, 0.3)
    for name, share in shares.items():
        finite(name, share, 0.0, 1.0)
    total = sum(shares.values())
    require(
        abs(total - 1.0) < 1e-6, "shares", total, f"shares add to {total:g}; they must add to 1."
    )
    return {name: sd_wb * math.sqrt(share) for name, share in shares.items()}


def curve(mean_wb: float, sd_wb: float) -> tuple[tuple[float, float], ...]:
    """The normal curve of outlet moisture: moisture, and the share of lots for each 0.01 of it."""
    finite("mean_wb", mean_wb, 0.0, 0.6)
    finite("sd_wb", sd_wb, 0.0, 0.3, above=True)
    at = np.linspace(max(0.0, mean_wb - _REACH_SD * sd_wb), mean_wb + _REACH_SD * sd_wb, _POINTS)
    height = norm.pdf(at, mean_wb, sd_wb) * 0.01
    return tuple(zip(at.tolist(), height.tolist(), strict=True))
