"""Sorption isotherms fitted to measured points, with temperature where the points carry it.

Moisture is fitted over water activity and temperature, by the same functions that predict it in
`leaf.isotherms`. Each model is fitted with its temperature term and without it; the one with the
lower AICc is told, and what was held is said. Points of one temperature cannot tell a temperature
term, so there it is always held. With the leaf's salts given, the fitted constants are those of its
organic matter, and the brine of the salts (`leaf.salt`) stands beside them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from wareleaf.leaf._arrays import Array
from wareleaf.leaf.fit import Fit, check_enough, fit_curve, ranked
from wareleaf.leaf.models import MODELS
from wareleaf.leaf.salt import check_salt, water_of_both_kg_kg
from wareleaf.measure import BadInput, require

LEAST_SPAN_K = 2.0  # temperatures nearer than this count as one
_HEAT_MOST_J_MOL = 2e5
_BRINE_MOST = 1.2  # of a point's water; more than meter and salt analysis explain
_DRIEST_ORGANIC = 0.05  # of a point's water, for first guesses, where its salt seems to hold it all
_KELVIN_ZERO = 273.15


@dataclass(frozen=True)
class SorptionFit:
    """A fitted isotherm.

    Parameters
    ----------
    fit : Fit
        Free constants with their errors; residuals and RMSE in kg/kg dry basis.
    constants : dict of str to float
        All constants the model's functions take, held ones included.
    held : tuple of str
        Constants that were held, not fitted.
    """

    fit: Fit
    constants: dict[str, float]
    held: tuple[str, ...]


@dataclass(frozen=True)
class _Points:
    aw: Array
    db: Array
    celsius: Array
    salts: tuple[float, float] = (0.0, 0.0)

    @property
    def reference_c(self) -> float:
        return float(np.mean(self.celsius))

    @property
    def brine_db(self) -> Array:
        """Water that the salts hold, kg per kg dry matter."""
        return np.asarray(water_of_both_kg_kg(*self.salts, self.aw, self.celsius))

    def organic(self) -> _Points:
        """The points of the organic matter alone, to start from."""
        rest = np.maximum(self.db - self.brine_db, _DRIEST_ORGANIC * self.db)
        return _Points(self.aw, rest / (1.0 - sum(self.salts)), self.celsius)


@dataclass(frozen=True)
class _Plan:
    """Which constants are free, which are held at what, first guesses, and bounds."""

    free: tuple[str, ...]
    held: dict[str, float]
    starts: list[list[float]]
    lower: dict[str, float]
    upper: dict[str, float]


def fit_sorption(
    water_activity: Sequence[float],
    moisture_db: Sequence[float],
    temperature_c: Sequence[float],
    models: Sequence[str],
    salts: tuple[float, float] = (0.0, 0.0),
) -> list[SorptionFit]:
    """Fit isotherms to points, best first.

    Parameters
    ----------
    water_activity, moisture_db, temperature_c : sequence of float
        One entry a point; activity between 0 and 1 (both excluded), moisture above 0.
    models : sequence of str
        Names in `leaf.MODELS`.
    salts : (float, float)
        NaCl and KCl as shares of the dry matter; the constants are then of the organic matter.

    Raises
    ------
    BadInput
        Points that cannot be sorption (with the point's number), all-equal readings, fewer points
        than constants, an unknown model, salt that alone would hold more water than a point has.
    """
    points = _checked(water_activity, moisture_db, temperature_c, salts)
    require(len(models) > 0, "models", None, f"models is empty; there are {list(MODELS)}.")
    for name in models:
        require(name in MODELS, "models", name, f"models holds {name!r}; there are {list(MODELS)}.")
    found = [_best(name, points) for name in models]
    order = ranked([f.fit for f in found])
    return sorted(found, key=lambda f: order.index(f.fit))


def least_constants(model: str) -> int:
    """How many constants a model has without its temperature term."""
    two_points = _Points(np.array([0.3, 0.6]), np.array([0.05, 0.1]), np.array([25.0, 25.0]))
    return len(_PLANS[model](two_points, False).free)


def _checked(
    water_activity: Sequence[float],
    moisture_db: Sequence[float],
    temperature_c: Sequence[float],
    salts: tuple[float, float],
) -> _Points:
    check_salt(*salts)
    points = _Points(
        np.asarray(water_activity, dtype=float),
        np.asarray(moisture_db, dtype=float),
        np.asarray(temperature_c, dtype=float),
        salts,
    )
    for number, (aw, db, t) in enumerate(
        zip(points.aw, points.db, points.celsius, strict=True), start=1
    ):
        require(
            0.0 < aw < 1.0,
            f"points.{number - 1}.water_activity",
            float(aw),
            f"water_activity of point {number} is {aw:g}; it must be between 0 and 1.",
        )
        require(
            bool(0.0 < db < 50.0),
            f"points.{number - 1}.moisture_db",
            float(db),
            f"moisture_db of point {number} is {db:g}; it must be above 0 and below 50 kg/kg.",
        )
        require(
            bool(-20.0 <= t <= 150.0),
            f"points.{number - 1}.temperature_c",
            float(t),
            f"temperature_c of point {number} is {t:g}; it must be from -20 to 150 degC.",
        )
    check_enough("an isotherm", points.db, 1, "points")
    check_enough("an isotherm", points.aw, 1, "points")
    if points.db.size > 2 and float(np.corrcoef(points.aw, points.db)[0, 1]) <= 0.0:
        raise BadInput(
            "points",
            None,
            "points lose moisture as water activity rises; leaf in damper air holds more water, "
            "so check the columns.",
        )
    _check_brine(points)
    return points


def _check_brine(points: _Points) -> None:
    brine = points.brine_db
    worst = int(np.argmax(brine / points.db))
    require(
        bool(brine[worst] <= _BRINE_MOST * points.db[worst]),
        "salt_nacl_fraction",
        points.salts[0],
        f"point {worst + 1} holds {points.db[worst]:.3g} kg/kg, and these salts alone would hold "
        f"{brine[worst]:.3g} at water activity {points.aw[worst]:g}; give smaller shares of salt.",
    )


def _best(name: str, points: _Points) -> SorptionFit:
    """The model with and without its temperature term, whichever has the lower AICc."""
    start = points.organic()
    plans = [_PLANS[name](start, False)]
    if float(np.ptp(points.celsius)) >= LEAST_SPAN_K:
        plans.insert(0, _PLANS[name](start, True))
    check_enough(name, points.db, min(len(p.free) for p in plans), "points")
    able = [p for p in plans if points.db.size > len(p.free)]
    found = [_fit(name, points, plan) for plan in able]
    first = ranked([f.fit for f in found])[0]
    return next(f for f in found if f.fit is first)


def _fit(name: str, points: _Points, plan: _Plan) -> SorptionFit:
    model = MODELS[name]
    brine, organic_share = points.brine_db, 1.0 - sum(points.salts)

    def moisture(p: Array) -> Array:
        constants = plan.held | dict(zip(plan.free, (float(v) for v in p), strict=True))
        organic = np.asarray(model.moisture_db(points.aw, points.celsius, **constants))
        return np.asarray(brine + organic_share * organic, dtype=float)

    fit = fit_curve(
        name,
        moisture,
        points.db,
        plan.free,
        plan.starts,
        lower=plan.lower,
        upper=plan.upper,
        field="points",
    )
    optional = {n for n in plan.held if n != "reference_c"}
    return SorptionFit(fit, plan.held | fit.parameters, tuple(sorted(optional)))


def _line(columns: Sequence[Array], wanted: Array) -> list[float]:
    """Ordinary linear least squares, for first guesses."""
    return [float(v) for v in np.linalg.lstsq(np.stack(columns, axis=-1), wanted, rcond=None)[0]]


def _gab(points: _Points, heats: bool) -> _Plan:
    """aw/X is a parabola in aw for GAB, which gives a first guess; K aw must stay below 1."""
    aw, db, most = points.aw, points.db, float(np.max(points.aw))
    square, linear, constant = _line([aw * aw, aw, np.ones_like(aw)], aw / db)
    middle = float(np.median(db))
    guesses = [[0.5 * middle, c, k] for c in (3.0, 10.0, 40.0) for k in (0.7, 0.9 / most)]
    inside = linear * linear - 4.0 * square * constant
    if inside > 0.0 and constant > 0.0:
        k = (-linear + math.sqrt(inside)) / (2.0 * constant)
        c = linear / (constant * k) + 2.0
        if k > 0.0 and c > 0.0:
            guesses.insert(0, [1.0 / (constant * k * c), c, min(k, 0.99 / most)])
    names = ("monolayer_db", "c", "k")
    terms = ("heat_monolayer_j_mol", "heat_c_j_mol", "heat_k_j_mol")
    lower: dict[str, float] = dict.fromkeys(names, 1e-06)
    upper: dict[str, float] = {"k": 1.5 / most, "c": 1e5}
    held = {"reference_c": points.reference_c}
    if not heats:
        return _Plan(names, held | dict.fromkeys(terms, 0.0), guesses, lower, upper)
    lower |= dict.fromkeys(terms, -_HEAT_MOST_J_MOL)
    upper |= dict.fromkeys(terms, _HEAT_MOST_J_MOL)
    starts = [[*g, *h] for g in guesses for h in ((0.0, 0.0, 0.0), (3e3, 5e3, -5e2))]
    return _Plan((*names, *terms), held, starts, lower, upper)


def _oswin(points: _Points, temperature: bool) -> _Plan:
    """Straight line: ln X = ln(a + b T) + ln(aw/(1 - aw))/c."""
    logit = np.log(points.aw / (1.0 - points.aw))
    level, slope = _line([np.ones_like(logit), logit], np.log(points.db))
    a, c = math.exp(level), 1.0 / max(slope, 0.05)
    if not temperature:
        return _Plan(("a", "c"), {"b": 0.0}, [[a, c]], {"a": 1e-9, "c": 1e-3}, {})
    scale = points.db * np.exp(-logit / c)
    first = _line([np.ones_like(scale), points.celsius], scale)
    return _Plan(("a", "b", "c"), {}, [[*first, c], [a, 0.0, c]], {"c": 1e-3}, {})


def _halsey(points: _Points, temperature: bool) -> _Plan:
    """Straight line: ln(-ln aw) = a + b T - c ln X."""
    wanted, log_x = np.log(-np.log(points.aw)), np.log(points.db)
    if not temperature:
        a, minus_c = _line([np.ones_like(log_x), log_x], wanted)
        return _Plan(("a", "c"), {"b": 0.0}, [[a, max(-minus_c, 0.1)]], {"c": 1e-3}, {})
    a, b, minus_c = _line([np.ones_like(log_x), points.celsius, log_x], wanted)
    return _Plan(("a", "b", "c"), {}, [[a, b, max(-minus_c, 0.1)]], {"c": 1e-3}, {})


def _henderson(points: _Points, temperature: bool) -> _Plan:
    """Straight line: ln(-ln(1 - aw)) = ln(a (T + c)) + b ln X."""
    wanted, log_x = np.log(-np.log1p(-points.aw)), np.log(points.db)
    level, power = _line([np.ones_like(log_x), log_x], wanted)
    power = max(power, 0.1)
    return _shifted(points, temperature, lambda warm: [math.exp(level) / warm, power])


def _chung_pfost(points: _Points, temperature: bool) -> _Plan:
    """Straight line: ln(-ln aw) = ln(a/(T + c)) - b X."""
    level, minus_b = _line([np.ones_like(points.db), points.db], np.log(-np.log(points.aw)))
    b = max(-minus_b, 1e-3)
    return _shifted(points, temperature, lambda warm: [math.exp(level) * warm, b])


def _shifted(points: _Points, temperature: bool, guess: Callable[[float], list[float]]) -> _Plan:
    """Constants a, b and the shift c of (T + c); without a temperature term T is absolute."""
    mean = points.reference_c
    lower = {"a": 1e-12, "b": 1e-6}
    if not temperature:
        start = guess(mean + _KELVIN_ZERO)
        return _Plan(("a", "b"), {"c": _KELVIN_ZERO}, [start], lower, {})
    least = -float(np.min(points.celsius)) + 1e-3
    starts = [[*guess(mean + c), c] for c in (10.0, 50.0, 200.0, 1000.0) if c > least]
    return _Plan(("a", "b", "c"), {}, starts, lower | {"c": least}, {"c": 1e6})


def _peleg(points: _Points, heats: bool) -> _Plan:
    """For given powers the two factors are linear, which gives first guesses."""
    names = ("c1", "c2", "c3", "c4")
    terms = ("heat_scale_j_mol", "heat_exponent_j_mol")
    starts: list[list[float]] = []
    for low in (0.4, 0.8, 1.2):
        for high in (3.0, 6.0, 12.0, 25.0):
            one, two = _line([points.aw**low, points.aw**high], points.db)
            starts.append([max(one, 1e-4), low, max(two, 1e-4), high])
    lower = {"c1": 1e-9, "c2": 1e-3, "c3": 0.0, "c4": 1e-3}
    upper = {"c2": 100.0, "c4": 300.0}
    held = {"reference_c": points.reference_c}
    if not heats:
        return _Plan(names, held | dict.fromkeys(terms, 0.0), starts, lower, upper)
    lower |= dict.fromkeys(terms, -_HEAT_MOST_J_MOL)
    upper |= dict.fromkeys(terms, _HEAT_MOST_J_MOL)
    return _Plan((*names, *terms), held, [[*s, 0.0, 0.0] for s in starts], lower, upper)


_PLANS: dict[str, Callable[[_Points, bool], _Plan]] = {
    "gab": _gab,
    "modified_oswin": _oswin,
    "modified_halsey": _halsey,
    "modified_henderson": _henderson,
    "modified_chung_pfost": _chung_pfost,
    "peleg": _peleg,
}
