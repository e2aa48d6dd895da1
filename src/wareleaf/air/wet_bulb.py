"""Thermodynamic wet bulb: a safeguarded Newton search that never leaves its bracket.

Air that takes up water (or ice) at the wet-bulb temperature t* until it is saturated keeps its
enthalpy: ``h(t, W) + (W* - W) h_w(t*) = h(t*, W*)`` (ASHRAE equation 31). Solved for W* this is

    W* = (cp_a (t - t*) + W (h0 + cp_v t - h_w)) / (h0 + cp_v t* - h_w)          (33 and 35)

and the search is for the t* where the vapour pressure of W* is that of saturation. It runs on the
logarithm of both, which is tame up to the boiling point. W* grows without bound there, so the
boiling point at the air's pressure, not the dry bulb, is the upper end of the bracket for hot air.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wareleaf.air import _numbers as num
from wareleaf.air.constants import (
    CP_DRY_AIR_J_KG_K,
    CP_ICE_J_KG_K,
    CP_VAPOUR_J_KG_K,
    CP_WATER_J_KG_K,
    HEAT_OF_FUSION_J_KG,
    LATENT_HEAT_0C_J_KG,
    MOLAR_MASS_RATIO,
    STANDARD_PRESSURE_PA,
    TEMPERATURE_MIN_C,
)
from wareleaf.air.functions import enthalpy_j_kg, ratio_from_vapour, relative_humidity
from wareleaf.air.saturation import boiling_point_c, saturated_vapour_pa, vapour_slope
from wareleaf.measure import BadInput

Array = NDArray[np.float64]

_TOLERANCE_K = 1e-7
_MOST_STEPS = 60  # bisection alone would be done by then; four or five is usual
SATURATED = 1.0 + 1e-6  # relative humidity; a caller's rounding is not fog


@lru_cache(maxsize=64)
def _start_table(pressure_kpa: int) -> tuple[Array, Array]:
    """Enthalpy of saturated air (J/kg) against temperature (degC), to start a search."""
    pressure_pa = 1e3 * pressure_kpa
    boiling = float(boiling_point_c(pressure_pa))
    temperature = np.append(
        np.linspace(-60.0, boiling - 8.0, 140), boiling - 8.0 * 0.7 ** np.arange(1, 20)
    )
    vapour = saturated_vapour_pa(temperature, pressure_pa)
    return enthalpy_j_kg(temperature, ratio_from_vapour(vapour, pressure_pa)), temperature


def _solve(t: Any, w: Any, p: Any) -> Any:
    """Wet bulb of one state (floats) or a block of states (arrays of one length), degC.

    Close to 0 degC both a wet and an iced bulb are steady states of the same air (ice takes more
    heat to evaporate). The iced one is taken where it exists, as CoolProp does (but for -0.2 to 0).
    """
    h = enthalpy_j_kg(t, w)
    saturated_at_0 = ratio_from_vapour(saturated_vapour_pa(0.0 * p, p), p)
    iced = h + w * HEAT_OF_FUSION_J_KG < saturated_at_0 * (
        LATENT_HEAT_0C_J_KG + HEAT_OF_FUSION_J_KG
    )
    water_a = num.pick(iced, -HEAT_OF_FUSION_J_KG, 0.0)  # enthalpy of the bulb's water: a + b t*
    water_b = num.pick(iced, CP_ICE_J_KG_K, CP_WATER_J_KG_K)
    high = num.at_most(t, boiling_point_c(p))
    high = num.pick(iced, num.at_most(high, 0.0), high)
    low = num.pick(iced, TEMPERATURE_MIN_C, 0.0)
    grid_h, grid_t = _start_table(round(1e-3 * float(np.mean(p))))
    wet = num.at_most(num.at_least(num.number(np.interp(h, grid_h, grid_t)), low), high)
    numerator_0 = h - w * water_a
    numerator_b = CP_DRY_AIR_J_KG_K + w * water_b
    evaporate_0 = LATENT_HEAT_0C_J_KG - water_a
    evaporate_b = CP_VAPOUR_J_KG_K - water_b
    for _ in range(_MOST_STEPS):
        evaporate = evaporate_0 + evaporate_b * wet
        w_star = num.at_least((numerator_0 - numerator_b * wet) / evaporate, 1e-12)
        # ln of saturated vapour pressure less ln of the vapour pressure of W*: rises with t*
        miss = num.log(saturated_vapour_pa(wet, p) * (MOLAR_MASS_RATIO + w_star) / (p * w_star))
        slope = vapour_slope(wet) + MOLAR_MASS_RATIO * (numerator_b + evaporate_b * w_star) / (
            evaporate * w_star * (MOLAR_MASS_RATIO + w_star)
        )
        above = miss > 0.0
        high = num.pick(above, wet, high)
        low = num.pick(above, low, wet)
        new = wet - miss / slope
        new = num.pick((new > high) | (new < low), 0.5 * (low + high), new)
        step = float(np.max(np.abs(new - wet)))
        wet = new
        if step < _TOLERANCE_K:
            break
    return wet


def bulb_water_j_kg(wet: Any) -> Any:
    """Enthalpy of the water on the bulb, J/kg: ice at or below 0 degC, else liquid."""
    return np.where(
        np.less_equal(wet, 0.0), CP_ICE_J_KG_K * wet - HEAT_OF_FUSION_J_KG, CP_WATER_J_KG_K * wet
    )


def ratio_of_wet_bulb(t: Any, wet: Any, p: Any) -> Any:
    """ASHRAE equations 33 and 35 without checks, kg/kg; negative where no air is that dry."""
    water = bulb_water_j_kg(wet)
    taken_up = LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * wet - water
    saturated = ratio_from_vapour(saturated_vapour_pa(wet, p), p)
    return (saturated * taken_up - CP_DRY_AIR_J_KG_K * (t - wet)) / (
        LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * t - water
    )


def humidity_ratio_from_wet_bulb(
    dry_bulb_c: Any, wet_bulb_c: Any, pressure_pa: Any = STANDARD_PRESSURE_PA
) -> Any:
    """Humidity ratio from dry and wet bulb, kg/kg: ASHRAE equations 33 (wet) and 35 (iced).

    Parameters
    ----------
    dry_bulb_c, wet_bulb_c : float or ndarray
        degC; the wet bulb at or below the dry bulb and below the boiling point. An iced bulb is
        meant at or below 0 degC.
    pressure_pa : float or ndarray
        Total pressure, Pa.

    Raises
    ------
    BadInput
        Wet bulb above dry bulb, at or above the boiling point, or lower than bone-dry air gives.
    """
    t = num.temperature("dry_bulb_c", dry_bulb_c)
    wet = num.temperature("wet_bulb_c", wet_bulb_c)
    p = num.pressure(pressure_pa)
    _refuse(
        wet > t + 1e-9,
        wet,
        "the wet bulb cannot be above the dry bulb; give one at or below it",
    )
    _refuse(wet >= boiling_point_c(p), wet, "it must be below the boiling point at this pressure")
    w = ratio_of_wet_bulb(t, wet, p)
    _refuse(
        w < -1e-9,
        wet,
        "it is lower than even bone-dry air of this dry bulb would show; check the readings",
    )
    w = np.maximum(w, 0.0)
    return w if np.ndim(w) else float(w)


def _refuse(wrong: Any, wet: Any, reason: str) -> None:
    """Raise for the first wet bulb that is wrong."""
    if np.any(wrong):
        wrong, wet = np.broadcast_arrays(wrong, wet)
        value = float(wet[wrong].flat[0])
        raise BadInput("wet_bulb_c", value, f"wet_bulb_c is {value:g}; {reason}.")


def wet_bulb_c(
    dry_bulb_c: Any, humidity_ratio: Any, pressure_pa: Any = STANDARD_PRESSURE_PA
) -> Any:
    """Thermodynamic wet bulb, degC.

    Parameters
    ----------
    dry_bulb_c : float or ndarray
        degC, -60 to 200.
    humidity_ratio : float or ndarray
        kg/kg dry air, 0 or more.
    pressure_pa : float or ndarray
        Total pressure, Pa, 20 000 to 200 000.

    Returns
    -------
    float or ndarray
        Never above the dry bulb nor the boiling point. Over ice when below 0 degC.

    Raises
    ------
    BadInput
        Out of range, or supersaturated air.
    """
    t = num.temperature("dry_bulb_c", dry_bulb_c)
    w = num.ratio(humidity_ratio)
    p = num.pressure(pressure_pa)
    rh = relative_humidity(t, w, p)
    worst = rh if isinstance(rh, float) else float(np.max(rh, initial=0.0))
    if worst > SATURATED:
        raise BadInput(
            "humidity_ratio",
            float(np.max(w)),
            f"humidity_ratio is above saturation (relative humidity {worst:.4g}); "
            "it must be at or below that of saturated air.",
        )
    if isinstance(t, float) and isinstance(w, float) and isinstance(p, float):
        return _solve(t, w, p)
    return num.in_blocks(_solve, t, w, p)
