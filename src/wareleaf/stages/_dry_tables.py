"""The properties a drying cell looks up: humid air and one leaf, tabled once for speed.

A cell is computed tens of thousands of times a day, so the functions of ``air`` and ``leaf`` are
put into tables first. They add less than 1e-4 relative to air and rate constant (tests hold it) and
at most 3 % to the equilibrium moisture (10 % on the flank of a salt's step, which they smear by a
step of activity); isotherms are known no better.
Heat and water balances do not pass through the tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

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
_ACTIVITY_STEPS, _SORPTION_STEP_K = 180, 5.0
_MOISTURE_LOW, _MOISTURE_HIGH = 1e-3, 30.0
REFERENCE_C = 50.0  # heat of sorption and specific heat are taken here


@dataclass(frozen=True, eq=False)
class Tables:
    """Tables of one leaf in air of one pressure.

    Tables on an even grid have two columns, the value and its step to the next row; the sorption
    table has four, the value and its steps by temperature, by activity and by both.
    """

    pressure_pa: float
    saturation_pa: Array  # vapour pressure of saturated air, by dry bulb
    wet_c: Array
    wet_ratio: Array  # humidity ratio of saturated air, by wet bulb, two columns
    wet_heat: Array  # h(t, W) - W cw t of saturated air, by wet bulb
    sorption: Array  # equilibrium moisture db of drying leaf, by temperature and activity, flat
    sorption_gaining: Array  # the same of leaf that takes water up (adsorption branch)
    sorption_rows: int
    binding_x: Array
    binding_heat: Array  # net heat of sorption, J/kg water, by moisture
    binding_sum: Array  # its integral from a moisture up to the wettest
    heat_dry: float  # J/(kg K) of dry matter
    heat_water: float  # J/(kg K) per kg of water in the leaf

    def wet_bulb(self, enthalpy: Array, ratio: Array) -> tuple[Array, Array]:
        """Wet bulb degC and its saturated humidity ratio.

        Thermodynamic wet bulb: ``h + (Ws - W) cw Tw = hs`` (ASHRAE Fundamentals chapter 1), by
        sweeps of ``A(Tw) = h - W cw Tw`` with ``A = hs - Ws cw Tw`` tabled; a sweep takes the
        error down twentyfold and the first guess is some 20 K off at worst.
        """
        lift = CP_WATER_J_KG_K * ratio
        wet = np.interp(enthalpy - 40.0 * lift, self.wet_heat, self.wet_c)
        for _ in range(2):
            wet = np.interp(enthalpy - lift * wet, self.wet_heat, self.wet_c)
        return wet, self.saturated_ratio(wet)

    def saturated_ratio(self, temperature_c: Array) -> Array:
        """Humidity ratio of saturated air."""
        place = (temperature_c - _COLD_C) * (1.0 / _WET_STEP_K)
        whole = place.astype(np.intp)
        row = self.wet_ratio.take(whole, axis=0, mode="clip")
        found: Array = row[..., 0] + (place - whole) * row[..., 1]
        return found

    def sorbed(self, dry_bulb_c: Array, activity: Array, *, gaining: bool = False) -> Array:
        """Equilibrium moisture db of leaf that dries (``gaining``: takes water up) in this air."""
        held = np.minimum(activity * (1.0 / _ACTIVITY_TOP), 1.0)
        across = _ACTIVITY_STEPS * np.sqrt(1.0 - np.sqrt(1.0 - held))  # fine at both ends
        along = np.maximum(dry_bulb_c, 0.0) * (1.0 / _SORPTION_STEP_K)
        i = np.minimum(along.astype(np.intp), self.sorption_rows - 2)
        j = across.astype(np.intp)
        u, v = np.minimum(along - i, 1.0), across - j
        table = self.sorption_gaining if gaining else self.sorption
        row = table.take(i * (_ACTIVITY_STEPS + 1) + j, axis=0)
        found: Array = row[..., 0] + u * row[..., 1] + v * (row[..., 2] + u * row[..., 3])
        return found

    def excess(self, moisture_db: Array, dry_bulb_c: Array, activity: Array) -> Array:
        """Moisture over the balance that leaf moves to, kg/kg: 0 between the branches.

        Leaf dries down to the desorption branch; it takes water back (excess below 0) only below
        the adsorption branch.
        """
        over = moisture_db - self.sorbed(dry_bulb_c, activity)
        if np.count_nonzero(over < 0.0):
            gains = np.minimum(moisture_db - self.sorbed(dry_bulb_c, activity, gaining=True), 0.0)
            over = np.where(over < 0.0, gains, over)
        return over

    def activity(self, saturation_pa: Array, ratio: Array) -> Array:
        """Relative humidity of air, which is the water activity it holds a leaf to."""
        found: Array = self.pressure_pa * ratio / ((MOLAR_MASS_RATIO + ratio) * saturation_pa)
        return found

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


def _with_steps(values: Array) -> Array:
    """A value column and the step to the next row (0 after the last)."""
    return np.stack([values, np.diff(values, append=values[-1:])], axis=1)


@lru_cache(maxsize=32)
def tables(profile: leaf.LeafProfile, pressure_pa: float) -> Tables:
    """Tables of a leaf profile at an air pressure."""
    saturation = _saturation(_dry_bulbs(), pressure_pa)
    wet_c = np.arange(_COLD_C, 110.0, _WET_STEP_K)
    wet_c = wet_c[_saturation(wet_c, pressure_pa) < _SATURATION_TOP * pressure_pa]
    wet_ratio = humidity_ratio(wet_c, 1.0, pressure_pa)
    wet_heat = enthalpy_j_kg(wet_c, wet_ratio) - wet_ratio * CP_WATER_J_KG_K * wet_c
    x = np.geomspace(_MOISTURE_LOW, _MOISTURE_HIGH, 1200)
    binding = np.maximum(leaf.net_isosteric_heat_j_kg(profile, x, REFERENCE_C), 0.0)
    steps = 0.5 * (binding[1:] + binding[:-1]) * np.diff(x)  # exact of the line between rows
    total = np.concatenate([[0.0], np.cumsum(steps)])
    dry_heat = float(leaf.specific_heat_j_kg_k(profile, 0.0, REFERENCE_C))
    wet_leaf_heat = float(leaf.specific_heat_j_kg_k(profile, 1.0, REFERENCE_C))
    sorption, rows = _sorption(profile, "desorption")
    return Tables(
        pressure_pa=pressure_pa,
        saturation_pa=saturation,
        wet_c=wet_c,
        wet_ratio=_with_steps(wet_ratio),
        wet_heat=wet_heat,
        sorption=sorption,
        sorption_gaining=_sorption(profile, "adsorption")[0],
        sorption_rows=rows,
        binding_x=x,
        binding_heat=binding,
        binding_sum=total[-1] - total,
        heat_dry=dry_heat,
        heat_water=wet_leaf_heat - dry_heat,
    )


def _dry_bulbs() -> Array:
    return np.arange(_COLD_C, _HOT_C + _STEP_K, _STEP_K)


def _sorption(profile: leaf.LeafProfile, branch: str) -> tuple[Array, int]:
    """Equilibrium moisture by temperature (rows) and activity, flattened, with its steps."""
    steps = np.linspace(0.0, 1.0, _ACTIVITY_STEPS + 1)
    activity = _ACTIVITY_TOP * (1.0 - (1.0 - steps**2) ** 2)
    at_c = np.arange(0.0, _HOT_C + _SORPTION_STEP_K, _SORPTION_STEP_K)
    x = np.asarray(
        leaf.equilibrium_moisture_db(profile, activity[None, :], at_c[:, None], branch),
        dtype=np.float64,
    )
    by_t = np.diff(x, axis=0, append=x[-1:])
    by_a = np.diff(x, axis=1, append=x[:, -1:])
    both = np.diff(by_a, axis=0, append=by_a[-1:])
    return np.stack([x, by_t, by_a, both], axis=2).reshape(-1, 4), at_c.size


def _saturation(temperature_c: Array, pressure_pa: float) -> Array:
    """Vapour pressure of saturated air as ``air.relative_humidity`` means it."""
    ratio = 0.001
    vapour = pressure_pa * ratio / (MOLAR_MASS_RATIO + ratio)
    found: Array = vapour / relative_humidity(temperature_c, ratio, pressure_pa)
    return found


@lru_cache(maxsize=128)
def by_dry_bulb(profile: leaf.LeafProfile, pressure_pa: float, velocity_m_s: float) -> Array:
    """Saturation pressure Pa and internal rate constant 1/s by dry bulb, each with its steps."""
    held = np.maximum(_dry_bulbs(), 0.0)
    per_h = leaf.rate_constant_per_h(profile, held, velocity_m_s, "dry")
    rate = np.asarray(per_h, dtype=np.float64) / 3600.0
    saturation = tables(profile, pressure_pa).saturation_pa
    return np.concatenate([_with_steps(saturation), _with_steps(rate)], axis=1)


def look_up(
    table: Array, dry_bulb_c: Array, lane: NDArray[np.intp] | int = 0
) -> tuple[Array, Array]:
    """Saturation pressure Pa and rate constant 1/s at a dry bulb."""
    place = (dry_bulb_c - _COLD_C) * (1.0 / _STEP_K)
    whole = place.astype(np.intp)
    part = place - whole
    row = table.take(whole + lane, axis=0, mode="clip")
    return row[..., 0] + part * row[..., 1], row[..., 2] + part * row[..., 3]
