"""One cell of a drying bed: a thin layer of leaf for a short time, and the air through it.

Water leaves a leaf through two resistances in series: outside, air takes it from a surface at the
wet bulb; inside, it follows the falling rate ``k (X - Xe)``:

    1/N = 1/Ne + 1/(k (X - Xe)),   Ne = g Dm,   g = h a / cp (Lewis number 1)

with N in kg/(s kg dry matter). The humidity that air still can take up, D = W* - W, falls through
the layer: ``dD/ds = -N/G``. For a layer of dry matter s that integrates exactly to

    z1 + ln z1 = z0 + ln z0 - g s/G,   z = g D / (k (X - Xe)),

so Dm is the log mean of D0 and D1, and no layer can take up more than the air can carry, however
thick it is. With that limit held over a step, time integrates exactly to the same form,
``y1 + ln y1 = y0 + ln y0 - k dt``, ``y = k (X - Xe) / Ne``: the constant-rate time plus the Lewis
exponential. Both are the Wright omega function, so a step is stable at any length. k and Xe are
those of the air midway through the layer (as it was a step before).

Xe is that of the desorption branch. A leaf drier than it takes water back only below the adsorption
branch, with the same k (both ways it is diffusion in the blade; no uptake rate was found) and no
more than the air brings; between the branches it stays as it is. So at a higher k a leaf is nearer
to the balance with its air: drier in drying air, wetter behind a zone that is damp and cold.

The leaf lies between wet bulb and air in the measure of the two rates, ``T* = T - (T - Tw) N/Nmax``
(Nmax: air leaves the layer as near to the wet bulb as the layer can bring it), and comes to it
through its heat capacity, exponentially. A leaf colder than the wet bulb evaporates by the vapour
pressure at its own temperature, one below the dew point gathers dew. The air leaving takes exactly
the water and the enthalpy that the leaf lost, so both balances close in every cell.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import wrightomega

from wareleaf.air.constants import (
    CP_DRY_AIR_J_KG_K,
    CP_VAPOUR_J_KG_K,
    LATENT_HEAT_0C_J_KG,
)
from wareleaf.stages._dry_tables import Tables, latent_heat, look_up
from wareleaf.stages.common import Array, Values

_TINY = 1e-14


class Leaf(NamedTuple):
    """Leaf of a layer: moisture kg/kg dry basis, temperature degC."""

    moisture: Array
    temperature_c: Array


class Air(NamedTuple):
    """Air, or a difference of two: dry bulb degC, humidity ratio kg/kg."""

    dry_bulb: Array
    ratio: Array


@dataclass(frozen=True, eq=False)
class Bed:
    """What the cells of a zone share; arrays are columns, one row a scenario.

    Parameters
    ----------
    tables : Tables
        Properties of leaf and air.
    by_dry_bulb : ndarray
        Saturation pressure and internal rate constant by dry bulb, see `look_up`.
    rate_factor : ndarray
        On that constant, by scenario.
    flux : ndarray
        Dry air, kg/(s m2).
    layer_kg_m2 : ndarray
        Dry matter in one layer, kg/m2.
    conductance : ndarray
        ``h a``, W/(K kg dry matter).
    dt_s : ndarray
        Length of a step, s.
    steps : int
        Steps through the zone.
    lane : ndarray or int
        Row of ``by_dry_bulb`` where a cell's own table starts, when several stand in one.
    """

    tables: Tables
    by_dry_bulb: Array
    rate_factor: Array
    flux: Array
    layer_kg_m2: Array
    conductance: Array
    dt_s: Array
    steps: int
    lane: NDArray[np.intp] | int = 0

    @cached_property
    def per_air(self) -> Array:
        """Dry leaf in a layer over the dry air that passes it, s."""
        return self.layer_kg_m2 / self.flux

    @cached_property
    def exchange(self) -> Array:
        """Conductance between a layer and the air that passes it, J/(K kg dry air)."""
        return self.conductance * self.per_air

    @cached_property
    def step_per_air(self) -> Array:
        """Dry leaf in a layer over the dry air that passes it in a step."""
        return self.layer_kg_m2 / (self.flux * self.dt_s)


class Drive(NamedTuple):
    """What pulls on the leaf in a cell: all per second and per kg dry matter."""

    rate: Array  # k, 1/s
    excess: Array  # X - Xe, kg/kg
    outside: Array  # Ne, kg/(s kg)
    most: Array  # Nmax, kg/(s kg)
    uptake: Array  # most that air can bring to a leaf drier than itself, kg/(s kg)
    dew: Array | float  # gathered by a cold leaf, 0 or below, kg/(s kg)
    held: Array | float  # what it would lose more if it were at the wet bulb, kg/(s kg)
    wet_c: Array
    warm: Array  # e G cp / s, W/(K kg)
    decay: Array  # of the leaf's distance from its steady temperature, over the step
    cold: bool  # whether any leaf is below the wet bulb
    air_heat: Array  # of the air that enters, J/kg dry air


def air_enthalpy(dry_bulb_c: Values, ratio: Values) -> Values:
    """Enthalpy, J/kg dry air: the closed form of ``air.enthalpy_j_kg``, unchecked."""
    return CP_DRY_AIR_J_KG_K * dry_bulb_c + ratio * (
        LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * dry_bulb_c
    )


def air_dry_bulb(enthalpy: Values, ratio: Values) -> Values:
    """Inverse of `air_enthalpy`."""
    return (enthalpy - ratio * LATENT_HEAT_0C_J_KG) / (CP_DRY_AIR_J_KG_K + ratio * CP_VAPOUR_J_KG_K)


def drive(bed: Bed, leaf: Leaf, air: Air, half: Air, dt_s: Array | float) -> Drive:
    """Rates and limits of a layer over a step (0: at this moment).

    Parameters
    ----------
    bed : Bed
        Shared by the cells.
    leaf : Leaf
        At the start of the step.
    air, half : Air
        That enters the layer, and how far it changes to the layer's middle.
    dt_s : ndarray or float
        Length of the step, s.
    """
    t, (moisture, leaf_c), (dry_bulb, ratio) = bed.tables, leaf, air
    air_heat = air_enthalpy(dry_bulb, ratio)
    wet_c, wet_ratio = t.wet_bulb(air_heat, ratio)
    latent = latent_heat(wet_c)
    binding = latent / (latent + np.interp(moisture, t.binding_x, t.binding_heat))
    humid_heat = CP_DRY_AIR_J_KG_K + ratio * CP_VAPOUR_J_KG_K
    units = bed.exchange / humid_heat
    reach = -np.expm1(-units) / bed.per_air
    warm = reach * humid_heat
    turn = dt_s * warm / (t.heat_dry + t.heat_water * moisture) + 1e-12

    full = np.maximum(wet_ratio - ratio, 0.0)
    pull: Array = full
    dew: Array | float = 0.0
    cold = leaf_c < wet_c
    any_cold = bool(cold.any())
    if any_cold:  # by its mean temperature on the way to the wet bulb
        mean_c = wet_c + np.minimum(leaf_c - wet_c, 0.0) * (-np.expm1(-turn) / turn)
        own = t.saturated_ratio(mean_c) - ratio
        pull = np.where(cold, np.minimum(np.maximum(own, 0.0), full), full)
        dew = np.where(cold, np.minimum(own, 0.0) * reach, 0.0)

    middle = dry_bulb + half.dry_bulb
    saturation, rate = look_up(bed.by_dry_bulb, middle, bed.lane)
    rate = bed.rate_factor * rate
    activity = t.activity(saturation, np.maximum(ratio + half.ratio, 0.0))
    excess = t.excess(moisture, middle, activity)

    outer = bed.conductance / humid_heat * binding * pull + _TINY
    z0 = outer / np.maximum(rate * excess, _TINY)
    z1 = np.maximum(wrightomega(z0 + np.log(z0) - units * binding), 1e-200)
    fall = np.maximum((z0 - z1) / z1, 1e-9)
    outside = outer * (z1 / z0) * fall / np.log1p(fall)
    held: Array | float = 0.0
    if any_cold:
        inside = rate * np.maximum(excess, 0.0)
        wholly = outside * np.where(cold, (full + _TINY) / (pull + _TINY), 1.0)
        held = series_rate(inside, wholly) - series_rate(inside, outside)
    return Drive(
        rate=rate,
        excess=excess,
        outside=outside,
        most=reach * full * binding,
        uptake=reach * ratio,
        dew=dew,
        held=held,
        wet_c=wet_c,
        warm=warm,
        decay=np.exp(-turn),
        cold=any_cold,
        air_heat=air_heat,
    )


def series_rate(inside: Array, outside: Array) -> Array:
    """Two resistances in series, ``1/N = 1/Ni + 1/Ne``; 0 when either is 0."""
    return inside * outside / (inside + outside + _TINY)


def steady_c(d: Drive, dry_bulb: Array, lost: Array) -> Array:
    """Leaf temperature that a rate of loss, kg/(s kg), holds: between wet bulb and air (or dew)."""
    share = np.minimum(np.maximum(lost / (d.most + _TINY), -3.0), 1.0)
    return dry_bulb - (dry_bulb - d.wet_c) * share


def _approach(excess: Array, rate: Array, limit: Array, dt: Array) -> Array:
    """Excess moisture after ``dt`` under ``d(u)/dt = -series(k u, limit)``, u of 0 or more."""
    limit = np.maximum(limit, _TINY)
    start = np.maximum(excess * rate / limit, 1e-300)
    after: Array = wrightomega(start + np.log(start) - rate * dt) * limit / rate
    return after


def cell(bed: Bed, leaf: Leaf, air: Air, half: Air) -> tuple[Leaf, Air]:
    """Advance a layer by a step and give the air that leaves it.

    Parameters
    ----------
    bed : Bed
        Shared by the cells.
    leaf : Leaf
        At the start of the step.
    air, half : Air
        That enters during the step, and how far it changes to the layer's middle.

    Returns
    -------
    tuple of Leaf and Air
        The leaf at the end of the step and the air that leaves during it.
    """
    t, dt, (moisture, leaf_c), (dry_bulb, ratio) = bed.tables, bed.dt_s, leaf, air
    d = drive(bed, leaf, air, half, dt)
    dries = d.excess >= 0.0
    if dries.all():
        lost = d.excess - _approach(d.excess, d.rate, d.outside, dt)
    else:  # a leaf drier than the air takes water back
        limit, size = np.where(dries, d.outside, d.uptake), np.abs(d.excess)
        lost = np.where(dries, 1.0, -1.0) * (size - _approach(size, d.rate, limit, dt))
    # a cold leaf warms to where it will stay once it is warm, not to the air it cools too little
    steady = steady_c(d, dry_bulb, lost / dt + d.held if d.cold else lost / dt)
    if d.cold:
        lost = lost + d.dew * dt
    after = moisture - lost
    leaf_after = steady + (leaf_c - steady) * d.decay
    # dew warms a leaf up to the wet bulb, not past it; nothing warms it past the air
    if d.cold:
        leaf_after = np.where(d.dew < 0.0, np.minimum(leaf_after, d.wet_c), leaf_after)
    leaf_after = np.minimum(leaf_after, np.maximum(leaf_c, dry_bulb))

    per_air = bed.step_per_air
    given = t.leaf_heat(moisture, leaf_c) - t.leaf_heat(after, leaf_after)
    ratio_out = ratio + per_air * lost
    out_c = air_dry_bulb(d.air_heat + per_air * given, ratio_out)
    return Leaf(after, leaf_after), Air(out_c, ratio_out)
