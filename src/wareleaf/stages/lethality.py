"""Lethality: what a measured temperature trace does to microbes and enzymes.

A heated leaf is never at one temperature. The lethal rate turns each moment into seconds at a
reference temperature, and its integral over the trace is the equivalent time. The method here is
the trapezoid on the lethal rate between readings; it is stated because integrating a temperature
that is taken as linear between readings gives less (for one textbook trace 2.385 instead of
2.503 min, see the tests). The trace should be of the coldest point; a probe in the water says
nothing about the middle of a clump.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wareleaf.measure import require

METHOD = "trapezoid on the lethal rate 10**((T - T_ref)/z) between readings"

SOURCES = (
    "Bigelow's lethal rate L = 10**((T - T_ref)/z), as in Geankoplis, Transport Processes and "
    "Unit Operations, 3rd ed., section 9.12 (worked examples read in a faithful reproduction).",
)

COUNTED_DECADES = 12.0
"""Beyond it a kill is an extrapolation that means enough, not a count (common practice)."""


def decades(kill: float) -> str:
    """A kill in words; past what anyone counts it only means enough."""
    if kill > COUNTED_DECADES:
        return f"more than {COUNTED_DECADES:.0f} decades"
    return f"{kill:.1f} decades"


@dataclass(frozen=True)
class Lethality:
    """Result of a temperature trace.

    Parameters
    ----------
    equivalent_time_s : float
        Seconds at the reference temperature with the same effect.
    equivalent_time_sd_s : float
        One standard deviation of it from the common error of the thermometer.
    log_reduction : float or None
        Decimal reductions, where a D value was given.
    linear_temperature_time_s : float
        The same integral with temperature, not lethal rate, linear between readings; the gap
        between the two says whether the readings are close enough together.
    temperature_max_c : float
        Highest reading.
    warnings : tuple of str
        Sentences for people.
    """

    equivalent_time_s: float
    equivalent_time_sd_s: float
    log_reduction: float | None
    linear_temperature_time_s: float
    temperature_max_c: float
    warnings: tuple[str, ...]


def lethal_rate(
    temperature_c: NDArray[np.float64] | float, reference_c: float, z_k: float
) -> NDArray[np.float64]:
    """Lethal rate, seconds at the reference temperature per second.

    ``L = 10**((T - T_ref)/z)`` (Geankoplis 3rd ed., section 9.12).

    Parameters
    ----------
    temperature_c : float or ndarray
        Temperature of the product, degrees C.
    reference_c : float
        Reference temperature, degrees C.
    z_k : float
        Kelvin for a tenfold change of rate, above 0.

    Raises
    ------
    BadInput
        For a z that is not above 0, or a rate too large to be a number.
    """
    require(
        math.isfinite(z_k) and z_k > 0.0,
        "z_k",
        z_k,
        f"z_k is {z_k:g}; it must be above 0 kelvin (between 5 and 35 for most food cases).",
    )
    exponent = (np.asarray(temperature_c, float) - reference_c) / z_k
    top = float(np.max(exponent, initial=0.0))
    require(
        top < 300.0,
        "z_k",
        z_k,
        f"z_k of {z_k:g} makes the lethal rate 10^{top:.0f}; give a larger z_k or check "
        "temperature_c and reference_c.",
    )
    return np.asarray(10.0**exponent, float)


def check_trace(
    time_s: Sequence[float], temperature_c: Sequence[float]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Check a trace and return it as arrays; two readings at the same time are a step.

    Raises
    ------
    BadInput
        Fewer than two readings, lengths that differ, times that run backward, or temperatures
        outside -60 to 250 degrees C.
    """
    t, temp = np.asarray(time_s, float), np.asarray(temperature_c, float)
    require(
        t.ndim == 1 and t.size >= 2,
        "time_s",
        list(time_s),
        "time_s needs at least two readings.",
    )
    require(
        t.shape == temp.shape,
        "temperature_c",
        list(temperature_c),
        f"temperature_c has {temp.size} values and time_s {t.size}; give one for each time.",
    )
    steps = np.diff(t)
    back = int(np.argmin(steps))
    require(
        bool(np.all(np.isfinite(t))) and bool(steps[back] >= 0.0) and bool(t[-1] > t[0]),
        "time_s",
        float(t[back + 1]),
        f"time_s goes from {t[back]:g} to {t[back + 1]:g}; times must rise "
        "(two equal times mark a step in temperature).",
    )
    low, high = float(np.min(temp)), float(np.max(temp))
    odd = low if not low >= -60.0 else high
    require(
        low >= -60.0 and high <= 250.0,
        "temperature_c",
        odd,
        f"temperature_c holds {odd:g}; give degrees C from -60 to 250.",
    )
    return t, temp


def equivalent_time_s(
    time_s: Sequence[float], temperature_c: Sequence[float], reference_c: float, z_k: float
) -> float:
    """Seconds at the reference temperature, by the trapezoid on the lethal rate.

    Parameters
    ----------
    time_s, temperature_c : sequence of float
        The trace; times rise, two equal times are a step.
    reference_c, z_k : float
        Reference temperature, degrees C, and z, kelvin.
    """
    t, temp = check_trace(time_s, temperature_c)
    rate = lethal_rate(temp, reference_c, z_k)
    return float(np.sum(np.diff(t) * (rate[1:] + rate[:-1]) / 2.0))


def linear_temperature_time_s(
    time_s: Sequence[float], temperature_c: Sequence[float], reference_c: float, z_k: float
) -> float:
    """Seconds at the reference temperature with temperature linear between readings (exact).

    Between two readings the integral is ``dt (L2 - L1)/ln(L2/L1)``: the logarithmic mean.
    """
    t, temp = check_trace(time_s, temperature_c)
    rate = lethal_rate(temp, reference_c, z_k)
    slope = np.diff(temp) * math.log(10.0) / z_k
    flat = np.abs(slope) < 1e-9
    safe = np.where(flat, 1.0, slope)
    mean = np.where(flat, rate[:-1], (rate[1:] - rate[:-1]) / safe)
    return float(np.sum(np.diff(t) * mean))


def seconds_at(temperature_c: float, equivalent_s: float, reference_c: float, z_k: float) -> float:
    """Seconds at one steady temperature that are worth ``equivalent_s`` at the reference."""
    return equivalent_s / float(lethal_rate(temperature_c, reference_c, z_k))


def lethality(
    time_s: Sequence[float],
    temperature_c: Sequence[float],
    reference_c: float,
    z_k: float,
    *,
    d_reference_s: float | None = None,
    temperature_standard_uncertainty_k: float = 0.0,
) -> Lethality:
    """Equivalent time and decimal reduction over a measured trace.

    Parameters
    ----------
    time_s, temperature_c : sequence of float
        The trace of the coldest point; times rise, two equal times are a step.
    reference_c, z_k : float
        Reference temperature, degrees C, and z, kelvin.
    d_reference_s : float, optional
        Seconds for one decimal reduction at the reference temperature.
    temperature_standard_uncertainty_k : float
        Standard uncertainty of the thermometer, taken as one error common to all readings.

    Raises
    ------
    BadInput
        When the trace or a constant cannot be used.
    """
    require(
        d_reference_s is None or d_reference_s > 0.0,
        "d_reference_s",
        d_reference_s,
        f"d_reference_s is {d_reference_s}; it must be above 0 seconds.",
    )
    require(
        temperature_standard_uncertainty_k >= 0.0,
        "temperature_standard_uncertainty_k",
        temperature_standard_uncertainty_k,
        "temperature_standard_uncertainty_k must be 0 or more.",
    )
    value = equivalent_time_s(time_s, temperature_c, reference_c, z_k)
    linear = linear_temperature_time_s(time_s, temperature_c, reference_c, z_k)
    warnings = []
    if linear > 0.0 and value / linear - 1.0 > 0.02:
        warnings.append(
            f"The readings are far apart: with temperature linear between them the equivalent "
            f"time would be {linear:.4g} s, {100 * (1 - linear / value):.0f} % less. "
            "Read more often."
        )
    killed = None if d_reference_s is None else value / d_reference_s
    if killed is not None and killed > COUNTED_DECADES:
        warnings.append(
            f"More than {COUNTED_DECADES:.0f} decades mean enough; the number is an "
            "extrapolation, not a count."
        )
    # A common error u shifts every temperature: dF/dT = F ln(10)/z.
    spread = value * math.log(10.0) / z_k * temperature_standard_uncertainty_k
    return Lethality(
        equivalent_time_s=value,
        equivalent_time_sd_s=spread,
        log_reduction=killed,
        linear_temperature_time_s=linear,
        temperature_max_c=float(np.max(np.asarray(temperature_c, float))),
        warnings=tuple(warnings),
    )
