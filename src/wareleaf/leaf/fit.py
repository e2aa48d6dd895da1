"""One engine for every fit: least squares with standard errors, for any curve of this house.

The curve is fitted to the readings themselves, never to their logarithms. Levenberg-Marquardt
(MINPACK, through SciPy) without bounds, a trust region with them, from every start that is given;
the best end is taken. The covariance is formed here, s^2 (J^T J)^-1 with s^2 = RSS/(n - p), by a
singular value decomposition of the scaled Jacobian, so that constants which the readings do not
determine are told and not hidden behind a number. Textbook formulas; the engine is held to the
certified values of the NIST Statistical Reference Datasets.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from wareleaf.leaf._arrays import Array
from wareleaf.measure import BadInput

Curve = Callable[[Array], Array]  # parameters to predictions at the readings
Jacobian = Callable[[Array], Array]  # parameters to d prediction / d parameter, (n, p)

_STEP = 5e-5  # relative, of five-point differences: rounding and curvature both stay below 1e-10
_TIGHT = 1e-15
_SINGULAR = 1e-9  # smallest over largest singular value of the scaled Jacobian
_FLAT = 1e-11  # spread of readings, relative, that counts as none
_ROUNDING = 1e-12  # of the largest reading: residuals below this are arithmetic, not misfit


@dataclass(frozen=True)
class Fit:
    """A fitted curve.

    Parameters
    ----------
    model : str
        Name of the curve.
    parameters : dict of str to float
        Best constants.
    standard_errors : dict of str to (float or None)
        One standard deviation each; None where the readings do not determine the constant, or where
        there is no reading to spare.
    covariance : ndarray or None
        Of the constants in the order of ``parameters``; None as above.
    predicted, residuals : ndarray
        The curve at the readings, and reading less curve.
    rss, rmse, residual_sd : float
        Sum of squares; sqrt(RSS/n); sqrt(RSS/(n - p)), NaN without readings to spare.
    mean_relative_deviation_percent : float or None
        100/n times the sum of abs(residual)/abs(reading), over readings other than 0.
    aicc : float or None
        n ln(RSS/n) + 2 k + 2 k (k + 1)/(n - k - 1), k = p + 1 (Hurvich and Tsai 1989, from memory);
        None when n - k - 1 is not above 0. Compare it only between fits of the same readings.
    evaluations : int
        Calls of the curve in the run that won.
    """

    model: str
    parameters: dict[str, float]
    standard_errors: dict[str, float | None]
    covariance: Array | None
    predicted: Array
    residuals: Array
    rss: float
    rmse: float
    residual_sd: float
    mean_relative_deviation_percent: float | None
    aicc: float | None
    evaluations: int

    @property
    def determined(self) -> bool:
        """Whether the readings determine every constant."""
        return all(e is not None for e in self.standard_errors.values())


def fit_curve(
    model: str,
    curve: Curve,
    readings: Array,
    names: Sequence[str],
    starts: Sequence[Sequence[float]],
    *,
    lower: Mapping[str, float] | None = None,
    upper: Mapping[str, float] | None = None,
    jacobian: Jacobian | None = None,
    field: str = "readings",
) -> Fit:
    """Fit a curve by least squares from one or several starts.

    Parameters
    ----------
    model : str
        Name, for messages.
    curve : callable
        Gives predictions for a vector of constants. Where it has no value (not finite, or
        `BadInput`) the trial is treated as very far off, so the search turns back.
    readings : ndarray
        What was read, one number for each prediction.
    names : sequence of str
        Of the constants.
    starts : sequence of sequences
        First guesses; the best end of all is taken.
    lower, upper : mapping, optional
        Bounds by name.
    jacobian : callable, optional
        Exact derivatives; central differences when left out.
    field : str
        What the readings are called by the caller, for messages.

    Raises
    ------
    BadInput
        Readings not finite or all equal, fewer than one above the number of constants, or no start
        from which the curve can be evaluated.
    """
    y = np.asarray(readings, dtype=float)
    check_enough(model, y, len(names), field)
    low = np.array([(lower or {}).get(n, -math.inf) for n in names])
    high = np.array([(upper or {}).get(n, math.inf) for n in names])
    far = 1e6 * (float(np.max(np.abs(y))) + 1.0)

    def off(p: Array) -> Array:
        return _evaluated(curve, p, y.size, far) - y

    def slope(p: Array) -> Array:
        return jacobian(p) if jacobian else _differences(off, p, low, high)

    best: tuple[float, Array, int] | None = None
    for start in starts:
        found = _one_start(off, slope, np.asarray(start, dtype=float), low, high, far)
        if found is not None and (best is None or found[0] < best[0]):
            best = found
    if best is None:
        raise BadInput(
            field, None, f"The {model} curve cannot be evaluated from any start near these {field}."
        )
    _, p, evaluations = best
    return _told(model, names, y, p, off(p), slope(p), evaluations)


def check_enough(model: str, readings: Array, constants: int, field: str) -> None:
    """Refuse readings that cannot carry this many constants."""
    if not np.all(np.isfinite(readings)):
        bad = float(readings[~np.isfinite(readings)][0])
        raise BadInput(field, bad, f"{field} holds {bad}; every reading must be a finite number.")
    if readings.size < constants + 1:
        raise BadInput(
            field,
            int(readings.size),
            f"{field} has {readings.size} readings; {model} has {constants} constants and needs at "
            f"least {constants + 1}.",
        )
    spread = float(np.ptp(readings))
    if spread <= _FLAT * float(np.max(np.abs(readings))):
        raise BadInput(
            field,
            float(readings[0]),
            f"{field} are all {readings[0]:g}; a fit needs readings that differ.",
        )


def spread_starts(
    start: Sequence[float], factors: Sequence[float] = (0.1, 0.3, 3.0, 10.0)
) -> list[list[float]]:
    """The start itself, then all of it and each of its numbers alone times each factor."""
    first = [float(v) for v in start]
    found = [first]
    for factor in factors:
        found.append([v * factor for v in first])
        for i in range(len(first)):
            found.append([v * factor if i == j else v for j, v in enumerate(first)])
    return found


def ranked(fits: Sequence[Fit]) -> list[Fit]:
    """Best first: by AICc; fits that have none come last, by RMSE."""
    return sorted(fits, key=lambda f: (f.aicc is None, f.aicc if f.aicc is not None else f.rmse))


def _evaluated(curve: Curve, p: Array, size: int, far: float) -> Array:
    try:
        with np.errstate(all="ignore"):
            values = np.asarray(curve(p), dtype=float)
    except BadInput:
        return np.full(size, far)
    return np.clip(np.nan_to_num(values, nan=far, posinf=far, neginf=-far), -far, far)


def _differences(off: Curve, p: Array, low: Array, high: Array) -> Array:
    """Five-point central differences; near a bound three points that move inward together."""
    columns = []
    for i, value in enumerate(p):
        step = _STEP * (abs(value) if value != 0.0 else 1.0)

        def at(moved: float, i: int = i) -> Array:
            other = p.copy()
            other[i] = moved
            return off(other)

        ahead, behind = min(value + step, high[i]), max(value - step, low[i])
        column = (at(ahead) - at(behind)) / (ahead - behind)
        if low[i] <= value - 2.0 * step and value + 2.0 * step <= high[i]:
            wide = (at(value + 2.0 * step) - at(value - 2.0 * step)) / (4.0 * step)
            column = column + (column - wide) / 3.0
        columns.append(column)
    return np.stack(columns, axis=-1)


def _one_start(
    off: Curve, slope: Jacobian, start: Array, low: Array, high: Array, far: float
) -> tuple[float, Array, int] | None:
    """Sum of squares, constants and evaluations from one start; None when it goes nowhere."""
    bounded = bool(np.any(np.isfinite(low)) or np.any(np.isfinite(high)))
    at = np.clip(start, low, high) if bounded else start
    if bounded:  # a trust region needs a start inside
        room = np.where(np.isfinite(high - low), high - low, np.maximum(np.abs(at), 1e-6))
        at = np.clip(at, low + 1e-8 * room, high - 1e-8 * room)
    if float(np.max(np.abs(off(at)))) >= 0.5 * far:
        return None
    tight = {"xtol": _TIGHT, "ftol": _TIGHT, "gtol": _TIGHT, "x_scale": "jac"}
    try:
        found = (
            least_squares(off, at, slope, (low, high), "trf", max_nfev=400, **tight)
            if bounded
            else least_squares(off, at, slope, method="lm", max_nfev=5000, **tight)
        )
    except (ValueError, np.linalg.LinAlgError):
        return None
    p, count = np.asarray(found.x, dtype=float), int(found.nfev)
    p = _polished(off, slope, p, low, high)
    return float(np.sum(off(p) ** 2)), p, count


def _polished(off: Curve, slope: Jacobian, p: Array, low: Array, high: Array) -> Array:
    """A few Gauss-Newton steps by scaled least squares, kept only while they do not get worse."""
    best = float(np.sum(off(p) ** 2))
    for _ in range(8):
        jacobian = slope(p)
        scale = np.linalg.norm(jacobian, axis=0)
        if not (np.all(np.isfinite(jacobian)) and np.all(scale > 0.0)):
            return p
        step = np.linalg.lstsq(jacobian / scale, -off(p), rcond=1e-12)[0] / scale
        tried = np.clip(p + step, low, high)
        value = float(np.sum(off(tried) ** 2))
        if not value <= best * (1.0 + 1e-13):
            return p
        p, best = tried, min(value, best)
        if np.all(np.abs(step) <= 1e-14 * np.abs(p)):
            return p
    return p


def _told(
    model: str,
    names: Sequence[str],
    y: Array,
    p: Array,
    off: Array,
    jacobian: Array,
    evaluations: int,
) -> Fit:
    n, count = y.size, p.size
    rss = float(np.sum(off**2))
    covariance, loose = _covariance(jacobian, rss / (n - count))
    errors = {
        name: None if loose[i] else float(math.sqrt(covariance[i, i]))
        for i, name in enumerate(names)
    }
    told = y != 0.0
    deviation = float(100.0 * np.mean(np.abs(off[told] / y[told]))) if np.any(told) else None
    return Fit(
        model=model,
        parameters=dict(zip(names, (float(v) for v in p), strict=True)),
        standard_errors=errors,
        covariance=None if np.any(loose) else covariance,
        predicted=y + off,
        residuals=-off,
        rss=rss,
        rmse=math.sqrt(rss / n),
        residual_sd=math.sqrt(rss / (n - count)),
        mean_relative_deviation_percent=deviation,
        aicc=_aicc(rss, n, count + 1, float(np.max(np.abs(y)))),
        evaluations=evaluations,
    )


def _covariance(jacobian: Array, variance: float) -> tuple[Array, np.ndarray]:
    """Covariance and, for each constant, whether the readings leave it loose."""
    scale = np.linalg.norm(jacobian, axis=0)
    flat = ~(np.isfinite(scale) & (scale > 0.0))
    scale = np.where(flat, 1.0, scale)
    _, values, right = np.linalg.svd(np.where(flat, 0.0, jacobian) / scale, full_matrices=False)
    weak = values <= _SINGULAR * values[0]
    inverse = np.where(weak, 0.0, 1.0 / np.where(weak, 1.0, values))
    covariance = variance * (right.T * inverse**2) @ right / np.outer(scale, scale)
    loose = flat | np.any(np.abs(right[weak]) > 1e-3, axis=0)
    return covariance, loose


def _aicc(rss: float, n: int, k: int, size: float) -> float | None:
    if n - k - 1 <= 0:
        return None
    least = n * (_ROUNDING * size) ** 2
    return n * math.log(max(rss, least) / n) + 2.0 * k + 2.0 * k * (k + 1) / (n - k - 1)
