"""One cell of a drying bed: a thin layer of leaf for a short time, and the air through it.

Water leaves a leaf through two resistances in series: outside, air at the layer's end takes it from
a surface at the wet bulb; inside, it follows the falling rate ``k (X - Xe)``:

    1/N = 1/Ne + 1/(k (X - Xe)),   Ne = e G (W* - W) / s,   e = 1 - exp(-h a s / (G cp))

with N in kg/(s kg dry matter), G dry air kg/(s m2), s dry matter kg/m2 in the layer, W* saturated
at the wet bulb. ``e`` is how far the air comes to equilibrium in the layer, so no layer can take up
more than the air can carry, however thick it is. With the air held over a step this integrates
exactly to ``y + ln y = y0 + ln y0 - k dt``, ``y = k (X - Xe) / Ne``: the Wright omega function.
Hence the step is stable at any length; it is the constant-rate time plus the Lewis exponential.

The leaf lies between wet bulb and air in the measure of the two rates, ``T* = T - (T - Tw) N/Ne``,
and comes to it through its heat capacity, exponentially. A leaf colder than the wet bulb
evaporates less, one below the dew point gathers dew. The air leaving takes exactly the water and
the enthalpy that the leaf lost, so both balances close in every cell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import wrightomega

from wareleaf.air.constants import (
    CP_DRY_AIR_J_KG_K,
    CP_VAPOUR_J_KG_K,
    LATENT_HEAT_0C_J_KG,
)
from wareleaf.stages._dry_tables import Tables, rate_per_s
from wareleaf.stages.common import Array

_TINY = 1e-14


@dataclass(frozen=True, eq=False)
class Bed:
    """What the cells of a zone share; arrays are columns, one row a scenario.

    Parameters
    ----------
    tables : Tables
        Properties of leaf and air.
    rates : ndarray
        Internal rate constant 1/s by dry bulb.
    rate_factor : ndarray
        On that constant, by scenario.
    flux : ndarray
        Dry air, kg/(s m2).
    layer_kg_m2 : ndarray
        Dry matter in one layer, kg/m2.
    conductance : ndarray
        ``h a``, W/(K kg dry matter).
    """

    tables: Tables
    rates: Array
    rate_factor: Array
    flux: Array
    layer_kg_m2: Array
    conductance: Array


@dataclass(frozen=True, eq=False)
class Drive:
    """What pulls on the leaf in a cell: all per second and per kg dry matter."""

    rate: Array  # k, 1/s
    equilibrium: Array  # Xe, kg/kg
    outside: Array  # Ne at the wet bulb, kg/(s kg)
    uptake: Array  # most the leaf can take back, kg/(s kg)
    wet_c: Array
    wet_ratio: Array
    warm: Array  # e G cp / s, W/(K kg)


def air_enthalpy(dry_bulb_c: Array, ratio: Array) -> Array:
    """Enthalpy, J/kg dry air: the closed form of ``air.enthalpy_j_kg``, unchecked."""
    return CP_DRY_AIR_J_KG_K * dry_bulb_c + ratio * (
        LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * dry_bulb_c
    )


def air_dry_bulb(enthalpy: Array, ratio: Array) -> Array:
    """Inverse of `air_enthalpy`."""
    return (enthalpy - ratio * LATENT_HEAT_0C_J_KG) / (CP_DRY_AIR_J_KG_K + ratio * CP_VAPOUR_J_KG_K)


def drive(bed: Bed, moisture: Array, dry_bulb: Array, ratio: Array, enthalpy: Array) -> Drive:
    """Rates and limits of a layer that meets this air."""
    t = bed.tables
    wet_c, wet_ratio, latent = t.wet_bulb(enthalpy, ratio)
    humid_heat = CP_DRY_AIR_J_KG_K + ratio * CP_VAPOUR_J_KG_K
    carried = bed.flux * humid_heat
    reach = -np.expm1(-bed.conductance * bed.layer_kg_m2 / carried)
    per_kg = reach * bed.flux / bed.layer_kg_m2
    binding = np.interp(moisture, t.binding_x, t.binding_heat)
    outside = per_kg * np.maximum(wet_ratio - ratio, 0.0) * (latent / (latent + binding))
    return Drive(
        rate=bed.rate_factor * rate_per_s(bed.rates, dry_bulb),
        equilibrium=t.equilibrium(dry_bulb, ratio),
        outside=outside,
        uptake=per_kg * ratio,
        wet_c=wet_c,
        wet_ratio=wet_ratio,
        warm=per_kg * humid_heat,
    )


def series_rate(inside: Array, outside: Array) -> Array:
    """Two resistances in series, ``1/N = 1/Ni + 1/Ne``; 0 when either is 0."""
    return inside * outside / (inside + outside + _TINY)


def _approach(excess: Array, rate: Array, limit: Array, dt: float | Array) -> Array:
    """Excess moisture after ``dt`` under ``d(u)/dt = -series(k u, limit)``, u of 0 or more."""
    limit = np.maximum(limit, _TINY)
    start = np.maximum(excess * rate / limit, 1e-300)
    after: Array = wrightomega(start + np.log(start) - rate * dt) * limit / rate
    return after


def cell(
    bed: Bed,
    moisture: Array,
    leaf_c: Array,
    dry_bulb: Array,
    ratio: Array,
    dt_s: float | Array,
) -> tuple[Array, Array, Array, Array]:
    """Advance a layer by a step and give the air that leaves it.

    Parameters
    ----------
    bed : Bed
        Shared by the cells.
    moisture, leaf_c : ndarray
        Of the layer at the start, kg/kg dry basis and degC.
    dry_bulb, ratio : ndarray
        Of the air that enters the layer during the step.
    dt_s : float or ndarray
        Length of the step, s.

    Returns
    -------
    tuple of ndarray
        Moisture and leaf temperature at the end; dry bulb and humidity ratio of the leaving air.
    """
    t = bed.tables
    enthalpy = air_enthalpy(dry_bulb, ratio)
    d = drive(bed, moisture, dry_bulb, ratio, enthalpy)
    excess = moisture - d.equilibrium
    wetter = excess >= 0.0
    size = np.abs(excess)
    heat = t.heat_dry + t.heat_water * moisture
    turn = dt_s * d.warm / heat
    decay = np.exp(-turn)
    depression = dry_bulb - d.wet_c

    # A leaf that is still cold: evaporation goes with the vapour pressure at its own temperature.
    share = series_rate(d.rate * size * wetter, d.outside) / (d.outside + _TINY)
    steady = dry_bulb - depression * share
    mean_c = steady + (leaf_c - steady) * (1.0 - decay) / (turn + _TINY)
    pull = t.saturated_ratio(np.minimum(mean_c, steady)) - ratio
    full = t.saturated_ratio(steady) - ratio
    cold = np.minimum(pull / np.maximum(full, _TINY), 1.0)
    dew = np.minimum(pull, 0.0) * (d.uptake / np.maximum(ratio, _TINY))  # condensation, below 0
    dew = np.where(leaf_c < d.wet_c, dew, 0.0)

    limit = np.where(wetter, d.outside * np.maximum(cold, 0.0), d.uptake)
    left = _approach(size, d.rate, limit, dt_s)
    lost = np.where(wetter, size - left, left - size) + dew * dt_s
    after = moisture - lost
    share = np.minimum(np.maximum(lost / (dt_s * (d.outside + _TINY)), 0.0), 1.0)
    steady = dry_bulb - depression * share
    leaf_after = steady + (leaf_c - steady) * decay

    per_air = bed.layer_kg_m2 / (bed.flux * dt_s)
    ratio_out = ratio + per_air * lost
    given = t.leaf_heat(moisture, leaf_c) - t.leaf_heat(after, leaf_after)
    out_c = air_dry_bulb(enthalpy + per_air * given, ratio_out)
    return after, leaf_after, out_c, ratio_out
