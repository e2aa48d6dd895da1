"""Sorption isotherms as plain functions: moisture from water activity and back.

Every model has two functions that are exact inverses of each other. Moisture is dry basis, kg water
per kg dry matter; water activity is a fraction; temperature is in degrees C. Constants published
for moisture in percent must be converted first (`parameters_from_percent`).

The forms are those of ASAE D245 (from memory) for the modified models, and of Sci Rep 2025,
s41598-025-01935-x, Table 1, for GAB and Peleg (read).
"""

from __future__ import annotations

import numpy as np

from wareleaf.leaf._arrays import Array, Number, as_given
from wareleaf.leaf._checks import (
    checked_activity,
    checked_moisture,
    checked_open_activity,
    first_where,
)
from wareleaf.measure import BadInput

GAS_CONSTANT_J_MOL_K = 8.314462618  # CODATA 2018, exact
KELVIN = 273.15


def _heat_factor(heat_j_mol: float, temperature_c: Number, reference_c: float) -> Array:
    """exp((heat/R)(1/T - 1/Tref)): 1 at the reference; a positive heat falls with temperature."""
    kelvin = np.asarray(temperature_c, dtype=float) + KELVIN
    slope = heat_j_mol / GAS_CONSTANT_J_MOL_K
    return np.asarray(np.exp(slope * (1.0 / kelvin - 1.0 / (reference_c + KELVIN))))


def _positive_scale(scale: Array, model: str, temperature_c: Number) -> Array:
    if not np.all(scale > 0.0):
        bad = first_where(np.asarray(temperature_c, dtype=float), ~(scale > 0.0))
        raise BadInput(
            "temperature_c",
            bad,
            f"temperature_c is {bad:g}; the temperature term of these {model} constants is not "
            "above 0 there, give one where it is.",
        )
    return scale


# --- GAB -----------------------------------------------------------------------------------


def gab_moisture_db(
    water_activity: Number,
    temperature_c: Number,
    *,
    monolayer_db: float,
    c: float,
    k: float,
    heat_monolayer_j_mol: float = 0.0,
    heat_c_j_mol: float = 0.0,
    heat_k_j_mol: float = 0.0,
    reference_c: float = 25.0,
) -> Number:
    """Moisture from the GAB isotherm, X = Xm C K aw / ((1 - K aw)(1 - K aw + C K aw)).

    Parameters
    ----------
    water_activity, temperature_c : float or ndarray
        0 to 1, and degrees C.
    monolayer_db, c, k : float
        Xm (kg/kg), C and K at `reference_c`.
    heat_monolayer_j_mol, heat_c_j_mol, heat_k_j_mol : float
        Each constant is multiplied by exp((heat/R)(1/T - 1/Tref)).

    Raises
    ------
    BadInput
        Where K aw reaches 1: the isotherm diverges there and has no meaning beyond.
    """
    aw = checked_activity(water_activity)
    xm = monolayer_db * _heat_factor(heat_monolayer_j_mol, temperature_c, reference_c)
    cc = c * _heat_factor(heat_c_j_mol, temperature_c, reference_c)
    kk = k * _heat_factor(heat_k_j_mol, temperature_c, reference_c)
    ka = kk * aw
    if not np.all(ka < 1.0):
        at, edge = first_where(aw, ~(ka < 1.0)), first_where(1.0 / kk, ~(ka < 1.0))
        raise BadInput(
            "water_activity",
            at,
            f"water_activity is {at:g}; this GAB isotherm diverges at 1/K = {edge:.4g}, "
            "give less than that.",
        )
    return as_given(xm * cc * ka / ((1.0 - ka) * (1.0 - ka + cc * ka)))


def gab_water_activity(
    moisture_db: Number,
    temperature_c: Number,
    *,
    monolayer_db: float,
    c: float,
    k: float,
    heat_monolayer_j_mol: float = 0.0,
    heat_c_j_mol: float = 0.0,
    heat_k_j_mol: float = 0.0,
    reference_c: float = 25.0,
) -> Number:
    """Water activity from the GAB isotherm, the root below 1/K of its quadratic in y = K aw.

    (C - 1) X y^2 + (C Xm - (C - 2) X) y - X = 0 (derived), solved without cancellation.
    Bounded at 1: leaf wetter than the isotherm reaches holds free water.
    """
    db = checked_moisture(moisture_db)
    xm = monolayer_db * _heat_factor(heat_monolayer_j_mol, temperature_c, reference_c)
    cc = c * _heat_factor(heat_c_j_mol, temperature_c, reference_c)
    kk = k * _heat_factor(heat_k_j_mol, temperature_c, reference_c)
    # X (1 + (C - 2) y - (C - 1) y^2) = Xm C y; the sum below is above 0 for every C, Xm > 0.
    linear = cc * xm - (cc - 2.0) * db
    y = 2.0 * db / (linear + np.sqrt(linear**2 + 4.0 * (cc - 1.0) * db**2))
    return as_given(np.minimum(y / kk, 1.0))


# --- the modified models -------------------------------------------------------------------


def modified_oswin_moisture_db(
    water_activity: Number, temperature_c: Number, *, a: float, b: float, c: float
) -> Number:
    """Moisture from the modified Oswin isotherm, X = (a + b T)(aw/(1 - aw))^(1/c)."""
    aw = checked_open_activity(water_activity, "modified Oswin")
    scale = _positive_scale(
        np.asarray(a + b * np.asarray(temperature_c, dtype=float)), "modified Oswin", temperature_c
    )
    return as_given(scale * (aw / (1.0 - aw)) ** (1.0 / c))


def modified_oswin_water_activity(
    moisture_db: Number, temperature_c: Number, *, a: float, b: float, c: float
) -> Number:
    """Water activity from the modified Oswin isotherm, aw = 1/(1 + ((a + b T)/X)^c)."""
    db = checked_moisture(moisture_db)
    scale = _positive_scale(
        np.asarray(a + b * np.asarray(temperature_c, dtype=float)), "modified Oswin", temperature_c
    )
    ratio = (db / scale) ** c
    return as_given(ratio / (1.0 + ratio))


def modified_halsey_moisture_db(
    water_activity: Number, temperature_c: Number, *, a: float, b: float, c: float
) -> Number:
    """Moisture from the modified Halsey isotherm, X = (exp(a + b T)/-ln aw)^(1/c)."""
    aw = checked_open_activity(water_activity, "modified Halsey")
    log_scale = a + b * np.asarray(temperature_c, dtype=float)
    drop = -np.log(np.where(aw > 0.0, aw, 0.5))
    return as_given(np.where(aw > 0.0, (np.exp(log_scale) / drop) ** (1.0 / c), 0.0))


def modified_halsey_water_activity(
    moisture_db: Number, temperature_c: Number, *, a: float, b: float, c: float
) -> Number:
    """Water activity from the modified Halsey isotherm, aw = exp(-exp(a + b T) X^-c)."""
    db = checked_moisture(moisture_db)
    log_scale = a + b * np.asarray(temperature_c, dtype=float)
    log_db = np.log(np.maximum(db, 1e-200))
    return as_given(np.exp(-np.exp(np.minimum(log_scale - c * log_db, 700.0))))


def modified_henderson_moisture_db(
    water_activity: Number, temperature_c: Number, *, a: float, b: float, c: float
) -> Number:
    """Moisture from the modified Henderson isotherm, 1 - aw = exp(-a (T + c) X^b)."""
    aw = checked_open_activity(water_activity, "modified Henderson")
    scale = _positive_scale(
        np.asarray(a * (np.asarray(temperature_c, dtype=float) + c)),
        "modified Henderson",
        temperature_c,
    )
    return as_given((-np.log1p(-aw) / scale) ** (1.0 / b))


def modified_henderson_water_activity(
    moisture_db: Number, temperature_c: Number, *, a: float, b: float, c: float
) -> Number:
    """Water activity from the modified Henderson isotherm, aw = 1 - exp(-a (T + c) X^b)."""
    db = checked_moisture(moisture_db)
    scale = _positive_scale(
        np.asarray(a * (np.asarray(temperature_c, dtype=float) + c)),
        "modified Henderson",
        temperature_c,
    )
    return as_given(-np.expm1(-scale * db**b))


def modified_chung_pfost_moisture_db(
    water_activity: Number, temperature_c: Number, *, a: float, b: float, c: float
) -> Number:
    """Moisture from modified Chung-Pfost, aw = exp(-a/(T + c) exp(-b X)); 0 below its foot.

    The model has a water activity above 0 at no moisture at all; below that foot moisture is 0.
    """
    aw = checked_open_activity(water_activity, "modified Chung-Pfost")
    scale = _positive_scale(
        np.asarray(a / (np.asarray(temperature_c, dtype=float) + c)),
        "modified Chung-Pfost",
        temperature_c,
    )
    drop = -np.log(np.where(aw > 0.0, aw, 1e-300))
    return as_given(np.maximum(-np.log(drop / scale) / b, 0.0))


def modified_chung_pfost_water_activity(
    moisture_db: Number, temperature_c: Number, *, a: float, b: float, c: float
) -> Number:
    """Water activity from modified Chung-Pfost, aw = exp(-a/(T + c) exp(-b X))."""
    db = checked_moisture(moisture_db)
    scale = _positive_scale(
        np.asarray(a / (np.asarray(temperature_c, dtype=float) + c)),
        "modified Chung-Pfost",
        temperature_c,
    )
    return as_given(np.exp(-scale * np.exp(-b * db)))


# --- Peleg ---------------------------------------------------------------------------------


def peleg_moisture_db(
    water_activity: Number,
    temperature_c: Number,
    *,
    c1: float,
    c2: float,
    c3: float,
    c4: float,
    heat_scale_j_mol: float = 0.0,
    heat_exponent_j_mol: float = 0.0,
    reference_c: float = 25.0,
) -> Number:
    """Moisture from the Peleg isotherm, X = c1 aw^c2 + c3 aw^c4.

    Parameters
    ----------
    c1, c2, c3, c4 : float
        At `reference_c`; c1 and c3 in kg/kg. c1, c2, c4 above 0, c3 0 or more.
    heat_scale_j_mol : float
        c1 and c3 are multiplied by exp((heat/R)(1/T - 1/Tref)).
    heat_exponent_j_mol : float
        c2 likewise. A negative value makes the net isosteric heat fall with moisture:
        q = heat_scale/c2 + heat_exponent ln(aw) where the first term rules (derived here).
    """
    aw = checked_activity(water_activity)
    scale = _heat_factor(heat_scale_j_mol, temperature_c, reference_c)
    power = c2 * _heat_factor(heat_exponent_j_mol, temperature_c, reference_c)
    return as_given(scale * (c1 * aw**power + c3 * aw**c4))


def peleg_water_activity(
    moisture_db: Number,
    temperature_c: Number,
    *,
    c1: float,
    c2: float,
    c3: float,
    c4: float,
    heat_scale_j_mol: float = 0.0,
    heat_exponent_j_mol: float = 0.0,
    reference_c: float = 25.0,
) -> Number:
    """Water activity from the Peleg isotherm; 1 above its end (free water).

    Newton's method on ln X over u = ln aw, which is convex and rising, from the smaller of the two
    one-term answers, which lies at or above the root: each step stays above it and none can fail.
    """
    db = checked_moisture(moisture_db)
    scale = _heat_factor(heat_scale_j_mol, temperature_c, reference_c)
    power = c2 * _heat_factor(heat_exponent_j_mol, temperature_c, reference_c)
    log_x = np.log(np.maximum(db, 1e-300) / scale)
    first = np.log(c1)
    u = np.asarray((log_x - first) / power)
    if c3 > 0.0:
        second = np.log(c3)
        u = np.minimum(np.minimum(u, (log_x - second) / c4), 0.0)
        for _ in range(30):
            one, two = first + power * u, second + c4 * u
            both = np.logaddexp(one, two)
            share = np.exp(two - both)
            step = (both - log_x) / (power + (c4 - power) * share)
            before, u = u, np.minimum(u - step, 0.0)
            if bool(np.all(np.abs(u - before) < 1e-13)):
                break
    return as_given(np.where(db > 0.0, np.exp(np.minimum(u, 0.0)), 0.0))
