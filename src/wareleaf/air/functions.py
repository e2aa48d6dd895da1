"""Humid air at any pressure: humidity ratio, relative humidity, enthalpy, volume and dew point.

All functions take floats or arrays (broadcast) and give the same back. Per kg means per kg of dry
air. The real-gas effect enters through the enhancement factor; enthalpy and volume are ideal.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from wareleaf.air import _numbers as num
from wareleaf.air.constants import (
    CP_DRY_AIR_J_KG_K,
    CP_VAPOUR_J_KG_K,
    CP_WATER_J_KG_K,
    GAS_CONSTANT_DRY_AIR_J_KG_K,
    LATENT_HEAT_0C_J_KG,
    MOLAR_MASS_RATIO,
    STANDARD_PRESSURE_PA,
    ZERO_C_K,
)
from wareleaf.air.saturation import dew_from_vapour_c, saturated_vapour_pa
from wareleaf.measure import BadInput

_RH_SLACK = 1e-9  # rounding in a caller's own arithmetic is not supersaturation


def ratio_from_vapour(vapour_pa: Any, pressure_pa: Any) -> Any:
    """Humidity ratio of a vapour pressure, kg/kg: ASHRAE equation 20 (``p_w < p``)."""
    return MOLAR_MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa)


def vapour_pressure_pa(humidity_ratio: Any, pressure_pa: Any = STANDARD_PRESSURE_PA) -> Any:
    """Vapour pressure (mole fraction of water times total pressure), Pa: ASHRAE equation 20.

    Parameters
    ----------
    humidity_ratio : float or ndarray
        kg water per kg dry air, 0 or more.
    pressure_pa : float or ndarray
        Total pressure, Pa.
    """
    w = num.ratio(humidity_ratio)
    return num.pressure(pressure_pa) * w / (MOLAR_MASS_RATIO + w)


def humidity_ratio(
    dry_bulb_c: Any, relative_humidity: Any, pressure_pa: Any = STANDARD_PRESSURE_PA
) -> Any:
    """Humidity ratio, kg water per kg dry air.

    Parameters
    ----------
    dry_bulb_c : float or ndarray
        degC, -100 to 200.
    relative_humidity : float or ndarray
        0 to 1; vapour pressure over that of saturated air, over ice below 0.01 degC. Above the
        boiling point it is taken against the saturation pressure of pure water, as CoolProp does.
    pressure_pa : float or ndarray
        Total pressure, Pa, 20 000 to 200 000.

    Returns
    -------
    float or ndarray
        ``0.621945 p_w / (p - p_w)`` with ``p_w = RH f p_ws`` (ASHRAE equations 20 and 22, with
        the enhancement factor that the handbook's tables have and its equations leave out).

    Raises
    ------
    BadInput
        Outside the ranges, or where the vapour pressure would reach the total pressure.
    """
    t = num.temperature("dry_bulb_c", dry_bulb_c)
    rh = num.checked(
        "relative_humidity", relative_humidity, 0.0, 1.0 + _RH_SLACK, "from 0 to 1 (40 % is 0.4)"
    )
    p = num.pressure(pressure_pa)
    if num.is_long(t, rh, p):
        return num.in_blocks(_ratio, t, rh, p)
    return _ratio(t, rh, p)


def _ratio(t: Any, rh: Any, p: Any) -> Any:
    vapour = rh * saturated_vapour_pa(t, p)
    below = vapour < p
    if not (below if isinstance(below, bool) else below.all()):
        worst = float(np.max(rh))
        raise BadInput(
            "relative_humidity",
            worst,
            f"relative_humidity is {worst:g}, too high for this temperature and pressure: "
            "the vapour pressure must stay below the total pressure.",
        )
    return ratio_from_vapour(vapour, p)


def relative_humidity(
    dry_bulb_c: Any, humidity_ratio: Any, pressure_pa: Any = STANDARD_PRESSURE_PA
) -> Any:
    """Relative humidity, the inverse of `humidity_ratio`.

    A result above 1 is supersaturated air (fog); it is returned, not refused, so that a stage can
    see it and condense.

    Parameters
    ----------
    dry_bulb_c, humidity_ratio, pressure_pa : float or ndarray
        degC; kg/kg dry air, 0 or more; Pa.
    """
    t = num.temperature("dry_bulb_c", dry_bulb_c)
    p = num.pressure(pressure_pa)
    return vapour_pressure_pa(humidity_ratio, p) / saturated_vapour_pa(t, p)


def dew_point_c(humidity_ratio: Any, pressure_pa: Any = STANDARD_PRESSURE_PA) -> Any:
    """Dew point, degC; the frost point where it is below 0.01 degC.

    Parameters
    ----------
    humidity_ratio, pressure_pa : float or ndarray
        kg/kg dry air; Pa.

    Raises
    ------
    BadInput
        Out of range, or air drier than a frost point of -100 degC.
    """
    p = num.pressure(pressure_pa)
    return dew_from_vapour_c(vapour_pressure_pa(humidity_ratio, p), p)


def latent_heat_j_kg(temperature_c: Any) -> Any:
    """Heat of evaporation of water that closes the enthalpies of this room, J/kg.

    ``h0 + (cp_v - cp_w) t``: enthalpy of vapour less that of liquid water. Against IAPWS it is
    0.05 % high at 25 degC, 0.5 % at 100 and 1.8 % at 150.
    """
    t = num.temperature("temperature_c", temperature_c)
    return LATENT_HEAT_0C_J_KG + (CP_VAPOUR_J_KG_K - CP_WATER_J_KG_K) * t


def enthalpy_j_kg(dry_bulb_c: Any, humidity_ratio: Any) -> Any:
    """Enthalpy, J per kg dry air, 0 for dry air at 0 degC and for liquid water at 0 degC.

    ``cp_a t + W (h0 + cp_v t)`` (ASHRAE equation 30): one closed form in every energy balance. It
    is ideal; docs/understand/humid-air.md gives the distance from the real gas.

    Parameters
    ----------
    dry_bulb_c, humidity_ratio : float or ndarray
        degC; kg/kg dry air. Not range-checked: stages call it on differences and trial values.
    """
    t, w = num.number(dry_bulb_c), num.number(humidity_ratio)
    return CP_DRY_AIR_J_KG_K * t + w * (LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * t)


def dry_bulb_from_enthalpy_c(enthalpy_j_kg: Any, humidity_ratio: Any) -> Any:
    """Dry bulb, degC: the exact inverse of `enthalpy_j_kg`.

    Parameters
    ----------
    enthalpy_j_kg, humidity_ratio : float or ndarray
        J per kg dry air; kg/kg dry air.
    """
    h, w = num.number(enthalpy_j_kg), num.number(humidity_ratio)
    return (h - w * LATENT_HEAT_0C_J_KG) / (CP_DRY_AIR_J_KG_K + w * CP_VAPOUR_J_KG_K)


def specific_volume_m3_kg(
    dry_bulb_c: Any, humidity_ratio: Any, pressure_pa: Any = STANDARD_PRESSURE_PA
) -> Any:
    """Volume of humid air per kg of dry air, m3/kg: ASHRAE equation 26.

    Parameters
    ----------
    dry_bulb_c, humidity_ratio, pressure_pa : float or ndarray
        degC; kg/kg dry air; Pa.
    """
    t = num.temperature("dry_bulb_c", dry_bulb_c)
    w = num.ratio(humidity_ratio)
    share = 1.0 + w / MOLAR_MASS_RATIO
    return GAS_CONSTANT_DRY_AIR_J_KG_K * (t + ZERO_C_K) * share / num.pressure(pressure_pa)


def standard_pressure_pa(altitude_m: Any) -> Any:
    """Pressure of the standard atmosphere, Pa: ASHRAE equation 3.

    Parameters
    ----------
    altitude_m : float or ndarray
        Height above sea level, m, -500 to 11 000.
    """
    z = num.checked("altitude_m", altitude_m, -500.0, 11_000.0, "from -500 to 11000 m")
    return 101325.0 * (1.0 - 2.25577e-5 * z) ** 5.2559
