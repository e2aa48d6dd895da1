"""Small array helpers of the leaf room: scalars in, scalars out, and a bracketed inverse."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Number = Any  # float or ndarray of float; broadcasting decides


def as_given(values: Any) -> Number:
    """Return a Python float for a zero-dimensional result, the array otherwise."""
    array = np.asarray(values, dtype=float)
    return float(array) if array.ndim == 0 else array


def solve_increasing(
    function: Callable[[Array], Array],
    wanted: Array,
    low: Array,
    high: Array,
    tolerance: float = 1e-13,
) -> Array:
    """Solve function(x) = wanted for x in low..high, elementwise, the function increasing.

    Chandrupatla's bracketed method (Adv. Eng. Software 28(3):145-149, 1997; from memory) on
    arrays: the root never leaves its bracket. Values beyond the function's ends give the end.
    """
    x1, x2 = np.broadcast_to(high, wanted.shape), np.broadcast_to(low, wanted.shape)
    f1, f2 = function(x1) - wanted, function(x2) - wanted
    above, below = f1 <= 0.0, f2 >= 0.0
    f1, f2 = np.where(above, 1.0, f1), np.where(below, -1.0, f2)
    ended = above | below
    t = np.full(wanted.shape, 0.5)
    best = x1
    for _ in range(120):
        if bool(np.all(ended)):
            break
        x = x1 + t * (x2 - x1)
        f = np.where(ended, 0.0, function(x) - wanted)
        same = np.sign(f) == np.sign(f1)
        x3, f3 = np.where(same, x1, x2), np.where(same, f1, f2)
        x2, f2 = np.where(same, x2, x1), np.where(same, f2, f1)
        x1, f1 = x, f
        best = np.where(np.abs(f1) < np.abs(f2), x1, x2)
        width = np.abs(x2 - x1)
        limit = tolerance + 4e-16 * np.abs(best)
        done = (width <= 2.0 * limit) | (f1 == 0.0)
        if bool(np.all(done)):
            break
        t = _step((x1, x2, x3), (f1, f2, f3))
        least = np.minimum(limit / np.where(width > 0.0, width, 1.0), 0.5)
        t = np.where(done, 0.5, np.clip(t, least, 1.0 - least))
    return np.where(above, high, np.where(below, low, best))


def _step(x: tuple[Array, Array, Array], f: tuple[Array, Array, Array]) -> Array:
    """Inverse quadratic interpolation where it can be trusted, bisection elsewhere."""
    (x1, x2, x3), (f1, f2, f3) = x, f
    apart = (x3 != x2) & (x2 != x1) & (f1 != f2) & (f3 != f2) & (f3 != f1)
    x32, f32, f31, f21, x21 = (
        np.where(apart, d, 1.0) for d in (x3 - x2, f3 - f2, f3 - f1, f2 - f1, x2 - x1)
    )
    xi, phi = (x1 - x2) / x32, (f1 - f2) / f32
    trusted = apart & (phi**2 < xi) & ((1.0 - phi) ** 2 < 1.0 - xi)
    quadratic = -(f1 / f21) * (f3 / f32) + (x3 - x1) / x21 * (f1 / f31) * (f2 / f32)
    return np.where(trusted, quadratic, 0.5)
