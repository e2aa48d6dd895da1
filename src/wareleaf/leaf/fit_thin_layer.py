"""Thin-layer drying curves by name, and their fit to weighed readings.

Each curve gives the moisture ratio (X - Xe)/(X0 - Xe) over hours. The forms are those every paper
on thin layers prints (Lewis 1921, Page 1949, Henderson and Pabis 1961, Midilli 2002; two-term and
logarithmic; Wang and Singh 1978: from memory), checked against a printed table with fitted
constants, doi 10.1016/j.ultsonch.2023.106633, Table 1 (read). ``diffusion_slab`` is Crank's series
for a slab dried from both faces (from memory), whole and not its first term.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wareleaf.leaf._arrays import Array, Number, as_given
from wareleaf.leaf.fit import Fit, check_enough, fit_curve, ranked
from wareleaf.measure import require

WETTEST_DB = 50.0  # kg/kg, 98 % wet basis: no leaf is wetter
EQUILIBRIUM = "equilibrium_moisture_db"
SLAB_RATE = "diffusivity_over_half_thickness_squared_per_h"
SOURCES = (
    "Thin-layer forms as printed in Ultrasonics Sonochemistry 100 (2023) 106633, Table 1. "
    "doi 10.1016/j.ultsonch.2023.106633 (read); Henderson-Pabis, logarithmic and Midilli likewise; "
    "two-term from memory.",
    "Crank J. The Mathematics of Diffusion, slab (from memory).",
)


def slab_moisture_ratio(fourier: Number) -> Number:
    """Mean moisture ratio of a slab whose two faces are held at equilibrium.

    Parameters
    ----------
    fourier : float or ndarray
        D t/L^2 with L the half thickness, 0 or more.

    Returns
    -------
    float or ndarray
        8/pi^2 sum over odd m of exp(-m^2 pi^2 Fo/4)/m^2 (Crank's series); below Fo = 0.2 its twin
        for short times, 1 - 2 sqrt(Fo) (1/sqrt(pi) + 2 sum (-1)^n ierfc(n/sqrt(Fo))). Both are good
        to rounding where they are used.
    """
    from scipy.special import erfc

    fo = np.asarray(fourier, dtype=float)
    late = np.zeros(fo.shape)
    for m in range(1, 14, 2):
        late = late + np.exp(-((m * math.pi) ** 2) * np.maximum(fo, 0.2) / 4.0) / m**2
    root = np.sqrt(np.clip(fo, 1e-300, 0.2))
    early = 1.0 / math.sqrt(math.pi) + np.zeros(fo.shape)
    for n in (1, 2, 3):
        z = n / root
        ierfc = np.exp(-z * z) / math.sqrt(math.pi) - z * erfc(z)
        early = early + 2.0 * (-1.0) ** n * ierfc
    short = 1.0 - 2.0 * np.sqrt(np.clip(fo, 0.0, 0.2)) * early
    return as_given(np.where(fo < 0.2, short, 8.0 / math.pi**2 * late))


@dataclass(frozen=True)
class ThinLayer:
    """One thin-layer curve.

    Parameters
    ----------
    name : str
        As the doors know it.
    ratio : callable
        Moisture ratio from hours and constants.
    names : tuple of str
        Of the constants, with units where they have one; k in 1/h (Page, Midilli: 1/h^n).
    starts : callable
        First guesses from a rate constant in 1/h.
    positive : tuple of str
        Constants that must be above 0.
    own_end : bool
        Whether the curve has an end of its own, so that equilibrium cannot be fitted as well.
    """

    name: str
    ratio: Callable[[Array, Array], Array]
    names: tuple[str, ...]
    starts: Callable[[float], list[list[float]]]
    positive: tuple[str, ...]
    own_end: bool = False


def _two_term_starts(k: float) -> list[list[float]]:
    return [[a, f * k, 1.0 - a, s * k] for a in (0.3, 0.6) for f in (3.0, 8.0) for s in (0.7, 0.3)]


def _powers(k: float) -> list[list[float]]:
    return [[k**n, n] for n in (0.6, 1.0, 1.5)]


CURVES: dict[str, ThinLayer] = {
    c.name: c
    for c in (
        ThinLayer("lewis", lambda t, p: np.exp(-p[0] * t), ("k",), lambda k: [[k]], ("k",)),
        ThinLayer(
            "page",
            lambda t, p: np.exp(-p[0] * t ** p[1]),
            ("k", "n"),
            _powers,
            ("k", "n"),
        ),
        ThinLayer(
            "henderson_pabis",
            lambda t, p: p[0] * np.exp(-p[1] * t),
            ("a", "k"),
            lambda k: [[1.0, k]],
            ("a", "k"),
        ),
        ThinLayer(
            "logarithmic",
            lambda t, p: p[0] * np.exp(-p[1] * t) + p[2],
            ("a", "k", "c"),
            lambda k: [[1.0, k, 0.0], [0.8, 1.5 * k, 0.15], [1.5, 0.5 * k, -0.5]],
            ("a", "k"),
            own_end=True,
        ),
        ThinLayer(
            "two_term",
            lambda t, p: p[0] * np.exp(-p[1] * t) + p[2] * np.exp(-p[3] * t),
            ("a", "k1", "b", "k2"),
            _two_term_starts,
            ("k1", "k2"),
        ),
        ThinLayer(
            "midilli",
            lambda t, p: p[0] * np.exp(-p[1] * t ** p[2]) + p[3] * t,
            ("a", "k", "n", "b"),
            lambda k: [[1.0, *start, 0.0] for start in _powers(k)],
            ("a", "k", "n"),
            own_end=True,
        ),
        ThinLayer(
            "wang_singh",
            lambda t, p: 1.0 + p[0] * t + p[1] * t * t,
            ("a", "b"),
            lambda k: [[-0.7 * k, 0.1 * k * k]],
            (),
            own_end=True,
        ),
        ThinLayer(
            "diffusion_slab",
            lambda t, p: slab_moisture_ratio(p[0] * t),
            (SLAB_RATE,),
            lambda k: [[4.0 * k / math.pi**2]],
            (SLAB_RATE,),
        ),
    )
}


def fit_thin_layer(
    time_h: Sequence[float],
    moisture_db: Sequence[float],
    models: Sequence[str],
    equilibrium_moisture_db: float | None = 0.0,
) -> list[Fit]:
    """Fit thin-layer curves to one drying run, best first.

    Parameters
    ----------
    time_h, moisture_db : sequence of float
        Readings in the order of time; the first is the start and sets the moisture ratio of 1.
    models : sequence of str
        Names in `CURVES`.
    equilibrium_moisture_db : float or None
        Where the run would end; None fits it as one more constant, for curves without an end of
        their own.

    Returns
    -------
    list of Fit
        Residuals and RMSE in kg/kg dry basis.

    Raises
    ------
    BadInput
        Readings out of order, not finite, below 0, all equal or too few; an unknown model; a start
        at or below equilibrium; leaf that only grows wetter.
    """
    time, db = checked_run(time_h, moisture_db, equilibrium_moisture_db)
    for name in models:
        require(name in CURVES, "models", name, f"models holds {name!r}; there are {list(CURVES)}.")
    require(len(models) > 0, "models", None, f"models is empty; there are {list(CURVES)}.")
    return ranked([_fit(CURVES[name], time, db, equilibrium_moisture_db) for name in models])


def checked_run(
    time_h: Sequence[float], moisture_db: Sequence[float], equilibrium_moisture_db: float | None
) -> tuple[Array, Array]:
    """Times from the first reading, and moistures, when they are those of a drying run."""
    time, db = np.asarray(time_h, dtype=float), np.asarray(moisture_db, dtype=float)
    require(
        time.ndim == 1 and time.shape == db.shape,
        "moisture_db",
        int(db.size),
        f"moisture_db has {db.size} readings and time_h {time.size}; give one for each time.",
    )
    check_enough("a drying curve", db, 1, "moisture_db")
    for number, (before, after) in enumerate(pairwise(time.tolist()), start=2):
        require(
            math.isfinite(before) and math.isfinite(after) and after > before,
            "time_h",
            after,
            f"time_h {number} is {after:g}, after {before:g}; give times that rise.",
        )
    least = float(np.min(db))
    require(least >= 0.0, "moisture_db", least, f"moisture_db is {least:g}; it must be 0 or more.")
    most = float(np.max(db))
    require(
        most <= WETTEST_DB,
        "moisture_db",
        most,
        f"moisture_db is {most:g}; it must be at most {WETTEST_DB:g} kg/kg: divide percent by 100.",
    )
    start, end = float(db[0]), float(db[-1])
    require(
        end < start,
        "moisture_db",
        end,
        f"moisture_db ends at {end:g} and starts at {start:g}; a drying run must end drier.",
    )
    if equilibrium_moisture_db is not None:
        require(
            math.isfinite(equilibrium_moisture_db) and 0.0 <= equilibrium_moisture_db < start,
            EQUILIBRIUM,
            equilibrium_moisture_db,
            f"{EQUILIBRIUM} is {equilibrium_moisture_db:g}; it must be from 0 to below the first "
            f"moisture, {start:g}.",
        )
    return time - time[0], db


def _rate_guess(time: Array, ratio: Array) -> float:
    """A rate constant from the reading nearest to a ratio of 1/e."""
    inside = (time > 0.0) & (ratio > 0.02) & (ratio < 0.98)
    if not np.any(inside):
        return 1.0 / float(time[-1])
    at = np.argmin(np.where(inside, np.abs(ratio - math.exp(-1.0)), np.inf))
    return float(-np.log(ratio[at]) / time[at])


def _fit(curve: ThinLayer, time: Array, db: Array, equilibrium: float | None) -> Fit:
    free = equilibrium is None and not curve.own_end
    base = 0.0 if equilibrium is None else equilibrium
    start_db, last = float(db[0]), float(np.min(db))
    names = (*curve.names, EQUILIBRIUM) if free else curve.names
    check_enough(curve.name, db, len(names), "moisture_db")

    def moisture(p: Array) -> Array:
        end = float(p[-1]) if free else base
        return np.asarray(end + (start_db - end) * curve.ratio(time, p), dtype=float)

    starts = []
    for end in (0.0, 0.5 * last, 0.95 * last) if free else (base,):
        k = _rate_guess(time, (db - end) / (start_db - end))
        starts += [[*s, end] if free else s for s in curve.starts(k)]
    lower = dict.fromkeys(curve.positive, 1e-12) | ({EQUILIBRIUM: 0.0} if free else {})
    upper = {EQUILIBRIUM: start_db * (1.0 - 1e-9)} if free else {}
    return _in_order(
        fit_curve(
            curve.name,
            moisture,
            db,
            names,
            starts,
            lower=lower,
            upper=upper,
            field="moisture_db",
        )
    )


def _in_order(fit: Fit) -> Fit:
    """Two exponentials are one curve whichever comes first: the quicker one does."""
    if fit.model != "two_term" or fit.parameters["k1"] >= fit.parameters["k2"]:
        return fit
    twin = {"a": "b", "b": "a", "k1": "k2", "k2": "k1"}
    names = list(fit.parameters)
    order = [names.index(twin.get(n, n)) for n in names]
    covariance = None if fit.covariance is None else fit.covariance[np.ix_(order, order)]
    return Fit(
        **{
            **vars(fit),
            "parameters": {n: fit.parameters[twin.get(n, n)] for n in names},
            "standard_errors": {n: fit.standard_errors[twin.get(n, n)] for n in names},
            "covariance": covariance,
        }
    )
