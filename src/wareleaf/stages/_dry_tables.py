"""The properties a drying cell looks up: humid air and one leaf, tabled once for speed.

A cell is computed tens of thousands of times a day, so the functions of ``air`` and ``leaf`` are
put into tables first. The steps are small enough that the tables add less than 1e-4 relative to
any property (a test holds it); heat and water balances do not pass through the tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.integrate import cumulative_simpson

from wareleaf import leaf
from wareleaf.air import (
    enthalpy_j_kg,
    humidity_ratio,
    latent_heat_j_kg,
    relative_humidity,
)
from wareleaf.air.constants import CP_WATER_J_KG_K, MOLAR_MASS_RATIO
from wareleaf.stages.common import Array

_COLD_C, _HOT_C, _STEP_K = -30.0, 170.0, 0.1
_WET_STEP_K = 0.05
_SATURATION_TOP = 0.9  # highest saturation pressure over total pressure in the wet-bulb table
_ACTIVITY_TOP = 0.99  # sorption is not asked above this water activity
_ACTIVITY_STEPS, _SORPTION_STEP_K = 120, 5.0
_MOISTURE_LOW, _MOISTURE_HIGH = 1e-3, 30.0
REFERENCE_C = 50.0  # heat of sorption and specific heat are taken here


@dataclass(frozen=True, eq=False)
class Tables:
    """Tables of one leaf in air of one pressure."""

    pressure_pa: float
    saturation_pa: Array  # by dry bulb: vapour pressure of saturated air
    wet_c: Array
    wet_ratio: Array  # humidity ratio of saturated air, by wet bulb
    wet_heat: Array  # h(t, W) - W cw t of saturated air, by wet bulb
    sorption: Array  # equilibrium moisture db, by temperature and activity, flattened
    binding_x: Array
    binding_heat: Array  # net heat of sorption, J/kg water, by moisture
    binding_sum: Array  # its integral from a moisture up to the wettest
    heat_dry: float  # J/(kg K) of dry matter
    heat_water: float  # J/(kg K) per kg of water in the leaf

    def wet_bulb(self, enthalpy: Array, ratio: Array) -> tuple[Array, Array, Array]:
        """Wet bulb degC, its saturated humidity ratio and its latent heat J/kg.

        Thermodynamic wet bulb: ``h + (Ws - W) cw Tw = hs`` (ASHRAE Fundamentals chapter 1),
        solved by three sweeps of ``A(Tw) = h - W cw Tw`` with ``A = hs - Ws cw Tw`` tabled; a
        sweep takes the error down by a factor of some 20.
        """
        wet = np.interp(enthalpy, self.wet_heat, self.wet_c)
        lift = CP_WATER_J_KG_K * ratio
        for _ in range(3):
            wet = np.interp(enthalpy - lift * wet, self.wet_heat, self.wet_c)
        return wet, self.saturated_ratio(wet), latent_heat(wet)

    def saturated_ratio(self, temperature_c: Array) -> Array:
        """Humidity ratio of saturated air."""
        place = (temperature_c - _COLD_C) * (1.0 / _WET_STEP_K)
        return _uniform(self.wet_ratio, place)

    def activity(self, dry_bulb_c: Array, ratio: Array) -> Array:
        """Relative humidity of air, which is the water activity it holds a leaf to."""
        place = (dry_bulb_c - _COLD_C) * (1.0 / _STEP_K)
        vapour = self.pressure_pa * ratio / (MOLAR_MASS_RATIO + ratio)
        return vapour / _uniform(self.saturation_pa, place)

    def equilibrium(self, dry_bulb_c: Array, ratio: Array) -> Array:
        """Equilibrium moisture db of the leaf in this air (desorption branch)."""
        activity = np.minimum(self.activity(dry_bulb_c, ratio), _ACTIVITY_TOP)
        across = _ACTIVITY_STEPS * (1.0 - np.sqrt(1.0 - activity / _ACTIVITY_TOP))
        along = dry_bulb_c * (1.0 / _SORPTION_STEP_K)
        rows = self.sorption.size // (_ACTIVITY_STEPS + 1)
        i = np.minimum(np.maximum(along, 0.0), rows - 1.0001).astype(np.intp)
        j = np.minimum(across, _ACTIVITY_STEPS - 0.0001).astype(np.intp)
        u = np.minimum(np.maximum(along - i, 0.0), 1.0)
        v = across - j
        at = i * (_ACTIVITY_STEPS + 1) + j
        s = self.sorption
        low = s[at] + v * (s[at + 1] - s[at])
        at = at + _ACTIVITY_STEPS + 1
        high = s[at] + v * (s[at + 1] - s[at])
        return low + u * (high - low)

    def leaf_heat(self, moisture_db: Array, leaf_c: Array) -> Array:
        """Enthalpy of the leaf, J per kg dry matter, with the heat of binding of its water."""
        bound = np.interp(moisture_db, self.binding_x, self.binding_sum)
        return (self.heat_dry + self.heat_water * moisture_db) * leaf_c + bound

    def leaf_c(self, heat: Array, moisture_db: Array) -> Array:
        """Leaf temperature from its enthalpy: the inverse of `leaf_heat`."""
        bound = np.interp(moisture_db, self.binding_x, self.binding_sum)
        return (heat - bound) / (self.heat_dry + self.heat_water * moisture_db)


def latent_heat(temperature_c: Array) -> Array:
    """Latent heat, J/kg; linear in temperature like that of ``air``."""
    base, slope = _latent()
    return base + slope * temperature_c


@lru_cache(maxsize=1)
def _latent() -> tuple[float, float]:
    at_zero, at_fifty = float(latent_heat_j_kg(0.0)), float(latent_heat_j_kg(50.0))
    return at_zero, (at_fifty - at_zero) / 50.0


def _uniform(table: Array, place: Array) -> Array:
    """Linear interpolation in an evenly spaced table, held at its ends."""
    index = np.minimum(np.maximum(place, 0.0), table.size - 1.000001)
    whole = index.astype(np.intp)
    low = table[whole]
    return low + (index - whole) * (table[whole + 1] - low)


@lru_cache(maxsize=32)
def tables(profile: leaf.LeafProfile, pressure_pa: float) -> Tables:
    """Tables of a leaf profile at an air pressure."""
    dry_c = np.arange(_COLD_C, _HOT_C + _STEP_K, _STEP_K)
    saturation = _saturation(dry_c, pressure_pa)
    wet_c = np.arange(_COLD_C, 110.0, _WET_STEP_K)
    wet_c = wet_c[_saturation(wet_c, pressure_pa) < _SATURATION_TOP * pressure_pa]
    wet_ratio = humidity_ratio(wet_c, 1.0, pressure_pa)
    wet_heat = enthalpy_j_kg(wet_c, wet_ratio) - wet_ratio * CP_WATER_J_KG_K * wet_c
    steps = np.linspace(0.0, 1.0, _ACTIVITY_STEPS + 1)
    activity = _ACTIVITY_TOP * (1.0 - (1.0 - steps) ** 2)
    rows = np.arange(0.0, 155.0 + _SORPTION_STEP_K, _SORPTION_STEP_K)
    sorption = leaf.equilibrium_moisture_db(profile, activity[None, :], rows[:, None])
    x = np.geomspace(_MOISTURE_LOW, _MOISTURE_HIGH, 1200)
    binding = np.maximum(leaf.net_isosteric_heat_j_kg(profile, x, REFERENCE_C), 0.0)
    total = cumulative_simpson(binding, x=x, initial=0.0)
    dry_heat = float(leaf.specific_heat_j_kg_k(profile, 0.0, REFERENCE_C))
    wet_leaf_heat = float(leaf.specific_heat_j_kg_k(profile, 1.0, REFERENCE_C))
    return Tables(
        pressure_pa=pressure_pa,
        saturation_pa=saturation,
        wet_c=wet_c,
        wet_ratio=wet_ratio,
        wet_heat=wet_heat,
        sorption=np.ascontiguousarray(sorption, dtype=np.float64).ravel(),
        binding_x=x,
        binding_heat=binding,
        binding_sum=total[-1] - total,
        heat_dry=dry_heat,
        heat_water=wet_leaf_heat - dry_heat,
    )


def _saturation(temperature_c: Array, pressure_pa: float) -> Array:
    """Vapour pressure of saturated air as ``air.relative_humidity`` means it."""
    ratio = 0.001
    vapour = pressure_pa * ratio / (MOLAR_MASS_RATIO + ratio)
    found: Array = vapour / relative_humidity(temperature_c, ratio, pressure_pa)
    return found


@lru_cache(maxsize=128)
def rate_table(profile: leaf.LeafProfile, velocity_m_s: float) -> Array:
    """Internal rate constant 1/s by dry bulb, at one velocity."""
    air_c = np.arange(_COLD_C, _HOT_C + _STEP_K, _STEP_K)
    per_h = leaf.rate_constant_per_h(profile, np.maximum(air_c, 0.0), velocity_m_s, "dry")
    table: Array = np.asarray(per_h, dtype=np.float64) / 3600.0
    return table


def rate_per_s(table: Array, dry_bulb_c: Array) -> Array:
    """Look a rate constant up, 1/s."""
    return _uniform(table, (dry_bulb_c - _COLD_C) * (1.0 / _STEP_K))
