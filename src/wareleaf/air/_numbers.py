"""Take floats or arrays, check their range once, and compute with the cheapest library for each."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from wareleaf.air.constants import (
    PRESSURE_MAX_PA,
    PRESSURE_MIN_PA,
    TEMPERATURE_MAX_C,
    TEMPERATURE_MIN_C,
)
from wareleaf.measure import BadInput

_ACCEPTED_C = f"from {TEMPERATURE_MIN_C:g} to {TEMPERATURE_MAX_C:g} degC"
_ACCEPTED_PA = f"from {PRESSURE_MIN_PA:g} to {PRESSURE_MAX_PA:g} Pa (not kPa, not gauge)"


def number(value: Any) -> Any:
    """Turn an input into a float, or an array of floats when it has a shape."""
    if isinstance(value, float):
        return float(value)  # numpy's own floats are floats too, but slow ones
    array = np.asarray(value, dtype=np.float64)
    return array if array.ndim else float(array)


def checked(field: str, value: Any, low: float, high: float, accepted: str) -> Any:
    """Return the number, or refuse it when any part is outside low..high or not a number.

    Raises
    ------
    BadInput
        Names the field, the worst value and what is accepted.
    """
    value = number(value)
    if isinstance(value, float):
        worst = value
        inside = low <= value <= high
    elif value.size == 0:
        return value
    else:
        least, most = float(value.min()), float(value.max())
        worst = most if least >= low else least
        inside = low <= least and most <= high  # False when a NaN is among them
    if not inside:
        raise BadInput(field, worst, f"{field} is {worst:g}; it must be {accepted}.")
    return value


def temperature(field: str, value: Any) -> Any:
    """Check a temperature in degC."""
    return checked(field, value, TEMPERATURE_MIN_C, TEMPERATURE_MAX_C, _ACCEPTED_C)


def pressure(value: Any) -> Any:
    """Check a total pressure in Pa."""
    return checked("pressure_pa", value, PRESSURE_MIN_PA, PRESSURE_MAX_PA, _ACCEPTED_PA)


def ratio(value: Any) -> Any:
    """Check a humidity ratio in kg/kg dry air."""
    return checked(
        "humidity_ratio", value, 0.0, 1e9, "0 or more and finite, kg water per kg dry air"
    )


def exp(value: Any) -> Any:
    """Exponential of a float or an array."""
    return math.exp(value) if isinstance(value, float) else np.exp(value)


def log(value: Any) -> Any:
    """Natural logarithm of a float or an array."""
    return math.log(value) if isinstance(value, float) else np.log(value)


def sqrt(value: Any) -> Any:
    """Square root of a float or an array."""
    return math.sqrt(value) if isinstance(value, float) else np.sqrt(value)


def at_least(value: Any, low: Any) -> Any:
    """Raise values below a floor to it."""
    return max(value, low) if isinstance(value, float) else np.maximum(value, low)


def at_most(value: Any, high: Any) -> Any:
    """Lower values above a ceiling to it."""
    return min(value, high) if isinstance(value, float) else np.minimum(value, high)


def pick(condition: Any, yes: Any, no: Any) -> Any:
    """One of two values by a condition, or value by value for arrays."""
    if isinstance(condition, bool | np.bool_):
        return yes if condition else no
    return np.where(condition, yes, no)


BLOCK = 8192  # states at a time: the temporaries stay in the processor's cache, twice as fast


def is_long(*values: Any) -> bool:
    """Whether any of the numbers is an array of more than a block."""
    return any(not isinstance(v, float) and np.size(v) > BLOCK for v in values)


def in_blocks(function: Callable[..., Any], *values: Any) -> Any:
    """Apply an elementwise function to broadcast arrays, a cacheful at a time."""
    arrays = np.broadcast_arrays(*values)
    shape, size = arrays[0].shape, arrays[0].size
    flat = [np.ascontiguousarray(a, dtype=np.float64).ravel() for a in arrays]
    out = np.empty(size)
    for start in range(0, size, BLOCK):
        part = slice(start, start + BLOCK)
        out[part] = function(*(a[part] for a in flat))
    return out.reshape(shape)
