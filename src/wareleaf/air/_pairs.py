"""The less usual pairs of properties: each function finds what is missing for one pair.

Values come checked for range; what the pair itself rules out is refused here.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from wareleaf.air import functions as fn
from wareleaf.air.constants import (
    CP_DRY_AIR_J_KG_K,
    CP_VAPOUR_J_KG_K,
    LATENT_HEAT_0C_J_KG,
    MOLAR_MASS_RATIO,
)
from wareleaf.air.saturation import boiling_point_c, saturated_vapour_pa
from wareleaf.air.wet_bulb import bulb_water_j_kg, ratio_of_wet_bulb
from wareleaf.measure import BadInput

_HALVINGS = 60  # 210 K halved 60 times is below a double's own step


def _refuse(wrong: Any, field: str, values: Any, reason: str) -> None:
    if np.any(wrong):
        wrong, values = np.broadcast_arrays(wrong, values)
        value = float(values[wrong].flat[0])
        raise BadInput(field, value, f"{field} is {value:g}; {reason}.")


def _rising_root(function: Callable[[Any], Any], low: Any, high: Any) -> Any:
    """Bisect for the zero of a rising function, all states at once."""
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        above = function(middle) > 0.0
        high = np.where(above, middle, high)
        low = np.where(above, low, middle)
    return 0.5 * (low + high)


def ratio_of_dew_point(dew_point_c: Any, p: Any) -> Any:
    """Humidity ratio of air that is saturated at the dew point, kg/kg."""
    _refuse(
        dew_point_c >= boiling_point_c(p),
        "dew_point_c",
        dew_point_c,
        "it must be below the boiling point at this pressure",
    )
    return fn.ratio_from_vapour(saturated_vapour_pa(dew_point_c, p), p)


def ratio_of_enthalpy(t: Any, h: Any) -> Any:
    """Humidity ratio from dry bulb and enthalpy, kg/kg."""
    w = (h - CP_DRY_AIR_J_KG_K * t) / (LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * t)
    _refuse(w < -1e-12, "enthalpy_j_kg", h, "it is below that of bone-dry air of this dry bulb")
    return np.maximum(w, 0.0)


def dry_bulb_of_wet_bulb(wet: Any, w: Any, p: Any) -> Any:
    """Dry bulb from wet bulb and humidity ratio: ASHRAE equation 33 solved for t, degC."""
    _refuse(
        wet >= boiling_point_c(p),
        "wet_bulb_c",
        wet,
        "it must be below the boiling point at this pressure",
    )
    water = bulb_water_j_kg(wet)
    saturated = fn.ratio_from_vapour(saturated_vapour_pa(wet, p), p)
    _refuse(
        w > saturated * (1.0 + 1e-6),
        "humidity_ratio",
        w,
        "it is more than air saturated at the given wet bulb can hold",
    )
    taken_up = LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * wet - water
    return (saturated * taken_up + CP_DRY_AIR_J_KG_K * wet - w * (LATENT_HEAT_0C_J_KG - water)) / (
        CP_DRY_AIR_J_KG_K + w * CP_VAPOUR_J_KG_K
    )


def dry_bulb_of_rh_and_ratio(rh: Any, w: Any, p: Any, low_c: float, high_c: float) -> Any:
    """Dry bulb at which a humidity ratio gives a relative humidity, degC."""
    vapour = fn.vapour_pressure_pa(w, p)

    def excess(t: Any) -> Any:
        return rh * saturated_vapour_pa(t, p) - vapour

    low, high = _ends(p, low_c, high_c)
    _outside(excess, low, high, "relative_humidity", rh)
    return _rising_root(excess, low, high)


def dry_bulb_of_rh_and_enthalpy(rh: Any, h: Any, p: Any, low_c: float, high_c: float) -> Any:
    """Dry bulb at which air of a relative humidity has an enthalpy, degC."""

    def excess(t: Any) -> Any:
        vapour = np.minimum(rh * saturated_vapour_pa(t, p), (1.0 - 1e-12) * p)
        return fn.enthalpy_j_kg(t, fn.ratio_from_vapour(vapour, p)) - h

    low, high = _ends(p, low_c, high_c)
    _outside(excess, low, high, "enthalpy_j_kg", h)
    return _rising_root(excess, low, high)


def dry_bulb_of_rh_and_wet_bulb(rh: Any, wet: Any, p: Any, high_c: float) -> Any:
    """Dry bulb at which air of a relative humidity shows a wet bulb, degC."""
    _refuse(
        wet >= np.minimum(boiling_point_c(p), high_c),
        "wet_bulb_c",
        wet,
        "it must be below the boiling point at this pressure",
    )

    def excess(t: Any) -> Any:
        vapour_ratio = ratio_of_wet_bulb(t, wet, p)
        vapour = p * vapour_ratio / (MOLAR_MASS_RATIO + vapour_ratio)
        return rh - vapour / saturated_vapour_pa(t, p)

    low = wet - 1e-9
    high = np.full_like(low, high_c) if np.ndim(low) else high_c
    _outside(excess, low, high, "relative_humidity", rh)
    return _rising_root(excess, low, high)


def ratio_of_wet_bulb_and_enthalpy(wet: Any, h: Any, p: Any) -> Any:
    """Humidity ratio from wet bulb and enthalpy: ASHRAE equation 31 solved for W, kg/kg.

    The two say nearly the same: the difference is the enthalpy of the water taken up, which
    vanishes for liquid at 0 degC.
    """
    _refuse(
        (wet > 0.0) & (wet < 1.0),
        "wet_bulb_c",
        wet,
        "from 0 to 1 degC it says the same as enthalpy_j_kg; give another second property",
    )
    _refuse(
        wet >= boiling_point_c(p),
        "wet_bulb_c",
        wet,
        "it must be below the boiling point at this pressure",
    )
    saturated = fn.ratio_from_vapour(saturated_vapour_pa(wet, p), p)
    w = saturated - (fn.enthalpy_j_kg(wet, saturated) - h) / bulb_water_j_kg(wet)
    _refuse(
        (w < -1e-9) | (w > saturated * (1.0 + 1e-6)),
        "enthalpy_j_kg",
        h,
        "no air with the given wet bulb has it",
    )
    return np.clip(w, 0.0, saturated)


def dew_point_or_nan(w: Any, p: Any) -> Any:
    """Dew point, NaN where the air holds too little water to have one above -100 degC."""
    w, p = np.broadcast_arrays(np.asarray(w, dtype=np.float64), p)
    floor = fn.ratio_from_vapour(saturated_vapour_pa(-100.0, 101325.0), p)
    some = w > floor
    out = np.full(w.shape, np.nan)
    if some.any():
        out[some] = fn.dew_point_c(w[some], p[some])
    return out


def _ends(p: Any, low_c: float, high_c: float) -> tuple[Any, Any]:
    return (np.full_like(p, low_c), np.full_like(p, high_c)) if np.ndim(p) else (low_c, high_c)


def _outside(excess: Callable[[Any], Any], low: Any, high: Any, field: str, values: Any) -> None:
    """Refuse states whose dry bulb would lie outside the bracket."""
    _refuse(
        (excess(low) > 0.0) | (excess(high) < 0.0),
        field,
        values,
        "together with the other value it means a dry bulb outside -60 to 150 degC",
    )
