"""Sizes and partition curves: how broken leaf is spread over sizes, and what a sieve lets pass.

The curves are the usual ones of particle technology. For tea, that a sifter passes each size class
in proportion to its feed is published (Thevathasan 1989), so a partition curve is a sound model.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import curve_fit
from scipy.special import ndtr

from wareleaf.measure import require
from wareleaf.stages.common import Array, finite, stage_figures

FIGURES = stage_figures("sift")
KINDS = ("log_normal", "rosin_rammler")
PARTITIONS = ("whiten", "reid_plitt")


def _power(base: Array, exponent: float) -> Array:
    """``base**exponent`` held below overflow; beyond e^50 nothing passes or stays anyway."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.exp(np.minimum(exponent * np.log(base), 50.0)), float)


def rosin_rammler_retained(size: Array | float, scale: float, exponent: float) -> Array:
    """Share coarser than a size, ``R = exp(-(x/x')**n)`` (Rosin and Rammler 1933)."""
    return np.asarray(np.exp(-_power(np.asarray(size, float) / scale, exponent)), float)


def fit_rosin_rammler(
    size: Sequence[float], retained: Sequence[float], method: str = "least_squares"
) -> tuple[float, float]:
    """Scale and exponent of the Rosin-Rammler law from a sieve analysis.

    Parameters
    ----------
    size : sequence of float
        Apertures, any one unit.
    retained : sequence of float
        Share coarser than each, between 0 and 1.
    method : str
        ``least_squares`` on the retained share, or ``log_log``: a straight line through
        ``ln(-ln R)`` over ``ln x``. They weigh the ends differently; say which was used.

    Returns
    -------
    tuple of float
        Scale (in the unit of ``size``) and exponent.
    """
    x, r = np.asarray(size, float), np.asarray(retained, float)
    require(
        x.size == r.size and x.size >= 3,
        "retained",
        list(retained),
        "A fit needs at least three apertures with one retained share each.",
    )
    require(
        bool(np.all((r > 0.0) & (r < 1.0))) and bool(np.all(x > 0.0)),
        "retained",
        list(retained),
        "retained must lie between 0 and 1, ends excluded, and sizes must be above 0.",
    )
    slope, intercept = np.polyfit(np.log(x), np.log(-np.log(r)), 1)
    scale, exponent = math.exp(-intercept / slope), float(slope)
    if method == "log_log":
        return scale, exponent
    require(
        method == "least_squares",
        "method",
        method,
        f"method is {method!r}; it must be least_squares or log_log.",
    )
    best, _ = curve_fit(rosin_rammler_retained, x, r, p0=(scale, exponent), maxfev=10_000)
    return float(best[0]), float(best[1])


@dataclass(frozen=True)
class Feed:
    """Sizes of the feed.

    Parameters
    ----------
    kind : str
        ``log_normal`` or ``rosin_rammler``.
    size_mm : float
        Median of the log-normal, or the Rosin-Rammler scale (36.8 % coarser).
    spread : float
        Standard deviation of ln(size), or the Rosin-Rammler exponent.
    """

    kind: str = "log_normal"
    size_mm: float = 1.4
    spread: float = FIGURES["tea_broken.size_log_sd"].value

    def __post_init__(self) -> None:
        """Refuse sizes that cannot be."""
        require(
            self.kind in KINDS,
            "kind",
            self.kind,
            f"kind is {self.kind!r}; it must be log_normal or rosin_rammler.",
        )
        finite("size_mm", self.size_mm, 0.0, 1000.0, "mm", above=True)
        least, most = (0.2, 50.0) if self.kind == "rosin_rammler" else (0.01, 3.0)
        finite("spread", self.spread, least, most)

    def passing(self, size_mm: Array | float) -> Array:
        """Share finer than a size."""
        x = np.asarray(size_mm, float)
        if self.kind == "rosin_rammler":
            return np.asarray(-np.expm1(-_power(x / self.size_mm, self.spread)), float)
        with np.errstate(divide="ignore"):
            return np.asarray(ndtr(np.log(x / self.size_mm) / self.spread), float)

    def classes(self, count: int = 400) -> tuple[Array, Array]:
        """Middle sizes, mm, and mass shares of narrow classes; the shares add to one."""
        if self.kind == "rosin_rammler":
            low, high = (self.size_mm * (-math.log1p(-q)) ** (1 / self.spread) for q in _TAILS)
        else:
            low, high = (self.size_mm * math.exp(s * 5.0 * self.spread) for s in (-1, 1))
        edges = np.geomspace(low, high, count - 1)
        cumulative = np.concatenate([[0.0], self.passing(edges), [1.0]])
        middles = np.concatenate([[low], np.sqrt(edges[1:] * edges[:-1]), [high]])
        return middles, np.diff(cumulative)


_TAILS = (1e-6, 1.0 - 1e-6)


def whiten_oversize(relative_size: Array | float, alpha: float) -> Array:
    """Share of a size that stays on the sieve (Whiten's curve; half at the cut size).

    ``P = (exp(a x) - 1)/(exp(a x) + exp(a) - 2)``, x = size over cut size; written with
    ``exp(-a x)`` so that coarse sizes do not overflow.
    """
    x = np.asarray(relative_size, float)
    small = np.exp(-alpha * x)
    return np.asarray((1.0 - small) / (1.0 + (math.exp(alpha) - 2.0) * small), float)


def reid_plitt_oversize(relative_size: Array | float, exponent: float) -> Array:
    """Share of a size that stays on the sieve, ``1 - exp(-ln(2) x**m)`` (Reid and Plitt)."""
    x = np.asarray(relative_size, float)
    return np.asarray(-np.expm1(-math.log(2.0) * _power(x, exponent)), float)


def logistic_oversize(size: Array | float, cut: float, probable_error: float) -> Array:
    """Logistic partition curve; 25 and 75 % lie one probable error from the cut size."""
    x = np.asarray(size, float)
    return np.asarray(1.0 / (1.0 + np.exp(-math.log(3.0) * (x - cut) / probable_error)), float)


def partition(kind: str, relative_size: Array, sharpness: float) -> Array:
    """Share that stays on the sieve by the named curve."""
    if kind == "whiten":
        return whiten_oversize(relative_size, sharpness)
    return reid_plitt_oversize(relative_size, sharpness)


def overall_efficiency(shares: Sequence[float], efficiencies: Sequence[float]) -> float:
    """Total efficiency from grade efficiencies: the mass-weighted mean."""
    return float(np.dot(np.asarray(shares, float), np.asarray(efficiencies, float)))


def surface_mean_mm(edges_mm: Sequence[float], cumulative: Sequence[float]) -> float:
    """Surface mean (Sauter) diameter, ``1/sum(x/d)``, cumulative linear between edges.

    Within an interval of evenly spread mass the integral of ``dx/d`` is ``ln(d2/d1)/(d2 - d1)``.
    """
    d, c = np.asarray(edges_mm, float), np.asarray(cumulative, float)
    return float((c[-1] - c[0]) / np.sum(np.diff(c) * np.log(d[1:] / d[:-1]) / np.diff(d)))


def standard_apertures_mm() -> tuple[float, ...]:
    """Apertures of ISO 3310-1, coarsest first."""
    from wareleaf.measure import read_figures

    rows = read_figures("wareleaf.stages", "sift")
    return tuple(f.value for f in rows if f.subject == "iso_3310_1")


def nearest_standard_mm(aperture_mm: float) -> float:
    """The ISO 3310-1 aperture nearest on a logarithmic scale."""
    return min(standard_apertures_mm(), key=lambda a: abs(math.log(a / aperture_mm)))
