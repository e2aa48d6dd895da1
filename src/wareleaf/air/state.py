"""The state of humid air from any two of its usual properties."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from wareleaf.air import _numbers as num
from wareleaf.air import _pairs as pairs
from wareleaf.air import functions as fn
from wareleaf.air.constants import STANDARD_PRESSURE_PA
from wareleaf.air.saturation import psat
from wareleaf.air.wet_bulb import SATURATED, humidity_ratio_from_wet_bulb, wet_bulb_c
from wareleaf.measure import BadInput

DRY_BULB_MIN_C = -60.0
DRY_BULB_MAX_C = 150.0
_NAMES = (
    "dry_bulb_c",
    "relative_humidity",
    "wet_bulb_c",
    "dew_point_c",
    "humidity_ratio",
    "enthalpy_j_kg",
)


@dataclass(frozen=True)
class AirState:
    """Humid air, all properties (floats, or arrays of one shape).

    Parameters
    ----------
    dry_bulb_c, wet_bulb_c, dew_point_c : float or ndarray
        degC. The dew point is NaN for air with no water at all.
    relative_humidity : float or ndarray
        0 to 1.
    humidity_ratio : float or ndarray
        kg water per kg dry air.
    pressure_pa, vapour_pressure_pa, saturation_pressure_pa : float or ndarray
        Pa: total, of the vapour in the air, and of pure water at the dry bulb.
    enthalpy_j_kg : float or ndarray
        J per kg dry air, 0 for dry air at 0 degC.
    specific_volume_m3_kg : float or ndarray
        m3 per kg dry air.
    """

    dry_bulb_c: Any
    relative_humidity: Any
    wet_bulb_c: Any
    dew_point_c: Any
    humidity_ratio: Any
    pressure_pa: Any
    vapour_pressure_pa: Any
    saturation_pressure_pa: Any
    enthalpy_j_kg: Any
    specific_volume_m3_kg: Any


def air_state(
    *,
    dry_bulb_c: Any = None,
    relative_humidity: Any = None,
    wet_bulb_c: Any = None,
    dew_point_c: Any = None,
    humidity_ratio: Any = None,
    enthalpy_j_kg: Any = None,
    pressure_pa: Any = STANDARD_PRESSURE_PA,
) -> AirState:
    """State of humid air from exactly two properties and the pressure.

    Parameters
    ----------
    dry_bulb_c, wet_bulb_c, dew_point_c : float or ndarray, optional
        degC; the dry bulb of the result must lie from -60 to 150.
    relative_humidity : float or ndarray, optional
        0 to 1.
    humidity_ratio : float or ndarray, optional
        kg water per kg dry air.
    enthalpy_j_kg : float or ndarray, optional
        J per kg dry air.
    pressure_pa : float or ndarray
        Total pressure, Pa, 20 000 to 200 000.

    Raises
    ------
    BadInput
        Not exactly two; out of range; wet bulb above dry bulb; supersaturated; dew point with
        humidity ratio, which say the same thing; wet bulb with enthalpy from 0 to 1 degC, which
        nearly do.
    """
    given = dict(
        zip(
            _NAMES,
            (dry_bulb_c, relative_humidity, wet_bulb_c, dew_point_c, humidity_ratio, enthalpy_j_kg),
            strict=True,
        )
    )
    given = {name: _read(name, value) for name, value in given.items() if value is not None}
    if len(given) != 2:
        raise BadInput(
            "properties",
            sorted(given),
            f"Exactly two of {', '.join(_NAMES)} are needed; {len(given)} are given.",
        )
    p = num.pressure(pressure_pa)
    shape = np.broadcast_shapes(*(np.shape(v) for v in (*given.values(), p)))
    if shape:
        given = {name: np.broadcast_to(value, shape) for name, value in given.items()}
        p = np.broadcast_to(p, shape)
    t, w = _temperature_and_ratio(given, p)
    return _complete(t, w, p, given)


def _read(name: str, value: Any) -> Any:
    if name == "relative_humidity":
        return num.checked(name, value, 0.0, 1.0, "from 0 to 1 (40 % is 0.4)")
    if name == "humidity_ratio":
        return num.ratio(value)
    if name == "enthalpy_j_kg":
        return num.checked(name, value, -1e6, 1e9, "a finite number, J per kg dry air")
    if name == "dry_bulb_c":
        accepted = f"from {DRY_BULB_MIN_C:g} to {DRY_BULB_MAX_C:g} degC"
        return num.checked(name, value, DRY_BULB_MIN_C, DRY_BULB_MAX_C, accepted)
    return num.temperature(name, value)


def _temperature_and_ratio(given: dict[str, Any], p: Any) -> tuple[Any, Any]:
    """Dry bulb and humidity ratio from the two given properties."""
    if "dew_point_c" in given:
        if "humidity_ratio" in given:
            raise BadInput(
                "humidity_ratio",
                None,
                "dew_point_c and humidity_ratio say the same thing at a given pressure; "
                "give one of them and another property.",
            )
        given = {**given, "humidity_ratio": pairs.ratio_of_dew_point(given["dew_point_c"], p)}
        del given["dew_point_c"]
    t, w = given.get("dry_bulb_c"), given.get("humidity_ratio")
    if t is not None:
        return t, _ratio_at(t, given, p)
    if w is not None:
        return _temperature_at(w, given, p), w
    wet, h = given.get("wet_bulb_c"), given.get("enthalpy_j_kg")
    if "relative_humidity" not in given:
        w = pairs.ratio_of_wet_bulb_and_enthalpy(wet, h, p)
        return fn.dry_bulb_from_enthalpy_c(h, w), w
    rh = given["relative_humidity"]
    if h is not None:
        t = pairs.dry_bulb_of_rh_and_enthalpy(rh, h, p, DRY_BULB_MIN_C, DRY_BULB_MAX_C)
    else:
        t = pairs.dry_bulb_of_rh_and_wet_bulb(rh, wet, p, DRY_BULB_MAX_C)
    return t, fn.humidity_ratio(t, rh, p)


def _ratio_at(t: Any, given: dict[str, Any], p: Any) -> Any:
    """Humidity ratio from the dry bulb and the other given property."""
    if "relative_humidity" in given:
        return fn.humidity_ratio(t, given["relative_humidity"], p)
    if "wet_bulb_c" in given:
        return humidity_ratio_from_wet_bulb(t, given["wet_bulb_c"], p)
    if "enthalpy_j_kg" in given:
        return pairs.ratio_of_enthalpy(t, given["enthalpy_j_kg"])
    return given["humidity_ratio"]


def _temperature_at(w: Any, given: dict[str, Any], p: Any) -> Any:
    """Dry bulb from the humidity ratio and the other given property."""
    if "enthalpy_j_kg" in given:
        return fn.dry_bulb_from_enthalpy_c(given["enthalpy_j_kg"], w)
    if "wet_bulb_c" in given:
        return pairs.dry_bulb_of_wet_bulb(given["wet_bulb_c"], w, p)
    rh = given["relative_humidity"]
    return pairs.dry_bulb_of_rh_and_ratio(rh, w, p, DRY_BULB_MIN_C, DRY_BULB_MAX_C)


def _complete(t: Any, w: Any, p: Any, given: dict[str, Any]) -> AirState:
    """All properties of a checked state; what was given comes back as it was given."""
    num.checked(
        "dry_bulb_c", t, DRY_BULB_MIN_C, DRY_BULB_MAX_C, "from -60 to 150 degC in the result"
    )
    rh = fn.relative_humidity(t, w, p)
    worst = float(np.max(rh, initial=0.0))
    if worst > SATURATED:
        name = next(n for n in reversed(given) if n != "dry_bulb_c")
        raise BadInput(
            name,
            float(np.max(given[name])),
            f"{name} is above saturation: these two values mean a relative humidity of "
            f"{100.0 * worst:.5g} %; it must be at or below 100 %.",
        )
    shown: dict[str, Any] = {
        "dry_bulb_c": t,
        "relative_humidity": np.minimum(rh, 1.0),
        "humidity_ratio": w,
        "pressure_pa": p,
        "vapour_pressure_pa": fn.vapour_pressure_pa(w, p),
        "saturation_pressure_pa": psat(t),
        "enthalpy_j_kg": fn.enthalpy_j_kg(t, w),
        "specific_volume_m3_kg": fn.specific_volume_m3_kg(t, w, p),
    }
    if "wet_bulb_c" not in given:
        shown["wet_bulb_c"] = wet_bulb_c(t, w, p)
    if "dew_point_c" not in given:
        shown["dew_point_c"] = pairs.dew_point_or_nan(w, p)
    shown |= given
    return AirState(**{k: v if np.ndim(v) else float(v) for k, v in shown.items()})
