"""Saturation: vapour pressure over water and ice, the enhancement factor, and their inverses."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from wareleaf.air import _numbers as num
from wareleaf.air.constants import (
    GAS_CONSTANT_VAPOUR_J_KG_K,
    STANDARD_PRESSURE_PA,
    TEMPERATURE_MAX_C,
    TEMPERATURE_MIN_C,
    ZERO_C_K,
)
from wareleaf.measure import BadInput, read_figures

TRIPLE_C = 0.01
TRIPLE_K = 273.16
TRIPLE_PA = 611.657

# IAPWS-IF97 table 34, coefficients n1..n10 of the saturation line (from memory; the checks are the
# printed value at 300 K and CoolProp, see tests/air).
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
# IAPWS R14-08(2011) table 4, sublimation line (from memory; the same two checks).
_ICE_A = (-0.212144006e2, 0.273203819e2, -0.610598130e1)
_ICE_B = (0.333333333e-2, 0.120666667e1, 0.170333333e1)

_F = {f.quantity: f.value for f in read_figures("wareleaf.air", "enhancement")}
_FA = tuple(_F[f"a{i}"] for i in range(5))
_FB = tuple(_F[f"b{i}"] for i in range(5))


def _over_water_pa(temperature_c: Any) -> Any:
    """IAPWS-IF97 equations 29b and 30."""
    kelvin = temperature_c + ZERO_C_K
    theta = kelvin + _N[8] / (kelvin - _N[9])  # equation 29b
    a = (theta + _N[0]) * theta + _N[1]
    b = (_N[2] * theta + _N[3]) * theta + _N[4]
    c = (_N[5] * theta + _N[6]) * theta + _N[7]
    root = 2.0 * c / (num.sqrt(b * b - 4.0 * a * c) - b)  # equation 30
    square = root * root
    return 1e6 * square * square


def _over_ice_pa(temperature_c: Any) -> Any:
    """IAPWS R14-08(2011) equation 6."""
    theta = (temperature_c + ZERO_C_K) / TRIPLE_K
    ln_theta = num.log(theta)
    total = sum(a * num.exp(b * ln_theta) for a, b in zip(_ICE_A, _ICE_B, strict=True))
    return TRIPLE_PA * num.exp(total / theta)


def psat(temperature_c: Any) -> Any:
    """Saturation pressure without checks, Pa; ice below the triple point."""
    if isinstance(temperature_c, float):
        return (_over_ice_pa if temperature_c < TRIPLE_C else _over_water_pa)(temperature_c)
    frozen = temperature_c < TRIPLE_C
    if not frozen.any():
        return _over_water_pa(temperature_c)
    out = _over_water_pa(np.maximum(temperature_c, TRIPLE_C))
    out[frozen] = _over_ice_pa(temperature_c[frozen])
    return out


def factor(temperature_c: Any, saturation_pa: Any, pressure_pa: Any) -> Any:
    """Enhancement factor without checks (the fit in ``data/enhancement.csv``)."""
    z = 0.01 * temperature_c
    a = (((_FA[4] * z + _FA[3]) * z + _FA[2]) * z + _FA[1]) * z + _FA[0]
    b = (((_FB[4] * z + _FB[3]) * z + _FB[2]) * z + _FB[1]) * z + _FB[0]
    air_share = num.at_least(1.0 - saturation_pa / pressure_pa, 0.0)
    return num.exp(air_share * (a + 1e-5 * pressure_pa * b))


def saturated_vapour_pa(temperature_c: Any, pressure_pa: Any) -> Any:
    """``f * p_ws`` without checks, Pa: vapour pressure of saturated air."""
    saturation = psat(temperature_c)
    return factor(temperature_c, saturation, pressure_pa) * saturation


def vapour_slope(temperature_c: Any) -> Any:
    """Slope of ln(p_ws) by Clausius-Clapeyron, 1/K (within 4 %; steers Newton steps only)."""
    kelvin = temperature_c + ZERO_C_K
    heat = num.pick(temperature_c < TRIPLE_C, 2.836e6, 2.501e6 - 2360.0 * temperature_c)
    return heat / (GAS_CONSTANT_VAPOUR_J_KG_K * kelvin * kelvin)


def saturation_pressure_pa(dry_bulb_c: Any) -> Any:
    """Saturation vapour pressure of pure water, over ice below 0.01 degC.

    Parameters
    ----------
    dry_bulb_c : float or ndarray
        Temperature, degC, -100 to 200.

    Returns
    -------
    float or ndarray
        Pa. IAPWS-IF97 equation 30 over water, IAPWS R14-08(2011) equation 6 over ice; the two meet
        at the triple point.

    Raises
    ------
    BadInput
        Outside the range or not finite.
    """
    return psat(num.temperature("dry_bulb_c", dry_bulb_c))


def enhancement_factor(dry_bulb_c: Any, pressure_pa: Any = STANDARD_PRESSURE_PA) -> Any:
    """Enhancement factor f: vapour pressure of saturated air over that of pure water.

    Parameters
    ----------
    dry_bulb_c : float or ndarray
        Temperature, degC, -100 to 200.
    pressure_pa : float or ndarray
        Total pressure, Pa, 20 000 to 200 000.

    Returns
    -------
    float or ndarray
        ``ln f = (1 - p_ws/p) (A(t) + p B(t))`` with A and B polynomials fitted here to CoolProp
        (``data/enhancement.csv``); 1 at and above the boiling point.

    Raises
    ------
    BadInput
        Outside the ranges or not finite.
    """
    temperature_c = num.temperature("dry_bulb_c", dry_bulb_c)
    return factor(temperature_c, psat(temperature_c), num.pressure(pressure_pa))


def boiling_point_c(pressure_pa: Any) -> Any:
    """Boiling point of water at a pressure, degC: IAPWS-IF97 equations 29a and 31.

    Parameters
    ----------
    pressure_pa : float or ndarray
        Pa, 20 000 to 200 000.
    """
    beta = num.sqrt(num.sqrt(1e-6 * num.pressure(pressure_pa)))  # equation 29a
    e = (beta + _N[2]) * beta + _N[5]
    f = (_N[0] * beta + _N[3]) * beta + _N[6]
    g = (_N[1] * beta + _N[4]) * beta + _N[7]
    d = 2.0 * g / (-f - num.sqrt(f * f - 4.0 * e * g))
    total = _N[9] + d
    return 0.5 * (total - num.sqrt(total * total - 4.0 * (_N[8] + _N[9] * d))) - ZERO_C_K


def dew_from_vapour_c(vapour_pa: Any, pressure_pa: Any) -> Any:
    """Temperature at which air of this vapour pressure is saturated, degC (frost below 0.01 degC).

    Newton on ln(f p_ws), which is nearly straight in 1/T; no checks but the lowest temperature.
    """
    floor_pa = saturated_vapour_pa(TEMPERATURE_MIN_C, STANDARD_PRESSURE_PA)
    least = float(np.min(vapour_pa))
    if least < floor_pa:
        raise BadInput(
            "humidity_ratio",
            least,
            f"The air is too dry for a dew point: vapour pressure {least:g} Pa; "
            f"at least {floor_pa:.2g} Pa is needed (a frost point of {TEMPERATURE_MIN_C:g} degC).",
        )
    ln_vapour = num.log(vapour_pa)
    x = ln_vapour - math.log(TRIPLE_PA)
    dew = 13.7 * x + 0.48 * x * x + 0.012 * x * x * x  # start; Newton does the rest
    dew = num.at_least(dew, TEMPERATURE_MIN_C)
    for _ in range(15):
        step = (ln_vapour - num.log(saturated_vapour_pa(dew, pressure_pa))) / vapour_slope(dew)
        dew = num.at_most(num.at_least(dew + step, TEMPERATURE_MIN_C), TEMPERATURE_MAX_C)
        if np.max(np.abs(step)) < 1e-9:
            break
    return dew
