"""One step of cells of a wither bed: leaf of one temperature, air in plug flow past it.

The approach of the air to the leaf is ``1 - exp(-N)``, ``N = h A / (G c)`` (heat exchanger with
one stream). Heat and water have the same ``N`` for a free surface (Lewis relation with factor
one), so a wet leaf in steady air sits at the thermodynamic wet bulb. Water from inside the leaf
meets the thin-layer resistance in series. It goes back only into leaf below the adsorption branch,
up to that branch; between the branches it stays where it is. The leaf temperature is implicit
(Newton), the moisture exponential, the air quasi-steady: stable at any step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wareleaf.air.constants import (
    CP_DRY_AIR_J_KG_K,
    CP_VAPOUR_J_KG_K,
    CP_WATER_J_KG_K,
    LATENT_HEAT_0C_J_KG,
    MOLAR_MASS_RATIO,
)
from wareleaf.stages.common import Array

_CP_A, _CP_V, _CP_W = CP_DRY_AIR_J_KG_K, CP_VAPOUR_J_KG_K, CP_WATER_J_KG_K
_EPS, _L0 = MOLAR_MASS_RATIO, LATENT_HEAT_0C_J_KG
_NEWTON_TOLERANCE_K = 1e-2  # of the last correction, which is still applied: error of 1e-5 K
_NEWTON_MAX = 8
_BRACKET_TOLERANCE_K = 1e-9
_BRACKET_MAX = 80
_BRACKET_K = 30.0
_TINY = 1e-30
_FILM_LEAST = 1e-3  # kg per kg dry matter; less than that the leaf has taken up


@dataclass(frozen=True)
class Bed:
    """Constants of the bed, per layer and m2 of net, and its tables.

    Parameters
    ----------
    layer_dry_kg_m2 : ndarray (cases,)
        Dry matter of one layer, kg/m2.
    layer_ha_w_m2_k : ndarray (cases,)
        Transfer coefficient times leaf surface of one layer, W/K per m2 of net.
    specific_heat_dry_j_kg_k : float
        Of dry matter.
    film_kg_kg : float
        Free water, kg per kg dry matter, that covers the leaf wholly.
    saturation_c, saturation_pa : ndarray
        Vapour pressure of saturated air against temperature.
    sorption_db, sorption_aw : ndarray
        Water activity of drying leaf against dry-basis moisture, both rising.
    gaining_aw : ndarray
        The same of leaf that takes water up (adsorption branch).
    rate_c, rate_per_s : ndarray
        Internal rate constant against air temperature, 1/s.
    """

    layer_dry_kg_m2: Array
    layer_ha_w_m2_k: Array
    specific_heat_dry_j_kg_k: float
    film_kg_kg: float
    saturation_c: Array
    saturation_pa: Array
    sorption_db: Array
    sorption_aw: Array
    gaining_aw: Array
    rate_c: Array
    rate_per_s: Array


@dataclass
class State:
    """Leaf by layer (bottom first) and case: shapes (layers, cases)."""

    moisture_db: Array
    film_db: Array
    leaf_c: Array

    def enthalpy_j_m2(self, bed: Bed) -> Array:
        """Heat in the leaf and its water above 0 degC, J/m2 of net, by case."""
        heat = bed.specific_heat_dry_j_kg_k + _CP_W * (self.moisture_db + self.film_db)
        return bed.layer_dry_kg_m2 * np.sum(heat * self.leaf_c, axis=0)

    def water_kg_m2(self, bed: Bed) -> Array:
        """Water in the leaf, kg/m2 of net, by case."""
        return bed.layer_dry_kg_m2 * np.sum(self.moisture_db + self.film_db, axis=0)


@dataclass(frozen=True, slots=True)
class EnteringAir:
    """Air entering cells."""

    dry_bulb_c: Array
    humidity_ratio: Array
    flow_kg_s_m2: Array
    pressure_pa: Array


class Cells:
    """One step of cells that do not touch each other."""

    def __init__(self, held: State, air: EnteringAir, bed: Bed, rate_factor: Array, step_s: float):
        self.held, self.air, self.bed, self.step_s = held, air, bed, step_s
        # Whole arrays, not broadcast: on arrays this small broadcasting costs as much as the sum.
        self.dry_per_s = np.zeros_like(held.leaf_c) + bed.layer_dry_kg_m2 / step_s
        self.heat_air = _CP_A + _CP_V * air.humidity_ratio
        # Lewis relation with factor one: kg/s per unit of humidity ratio.
        self.conductance = bed.layer_ha_w_m2_k / self.heat_air
        self.units = self.conductance / air.flow_kg_s_m2
        self.approach = -np.expm1(-self.units)
        self.sensible = air.flow_kg_s_m2 * self.heat_air * self.approach
        vapour = air.humidity_ratio * air.pressure_pa / (_EPS + air.humidity_ratio)
        humidity = vapour / np.interp(held.leaf_c, bed.saturation_c, bed.saturation_pa)
        self.wet = bool(np.count_nonzero(held.film_db)) or bool(np.count_nonzero(humidity > 1.0))
        self.activity, gap = self._towards(humidity)
        total = held.moisture_db + held.film_db
        heat_leaf = self.dry_per_s * (bed.specific_heat_dry_j_kg_k + _CP_W * total)
        # Dry part of the leaf's balance, stiffness T' - pull.
        self.stiffness = heat_leaf + self.sensible
        self.pull = heat_leaf * held.leaf_c + self.sensible * air.dry_bulb_c
        # Slope of the vapour pressure over itself (Magnus) times the pressure: steers Newton only.
        self.steer = 4030.2 * air.pressure_pa / np.square(held.leaf_c + 235.0)
        rate = np.interp(air.dry_bulb_c, bed.rate_c, bed.rate_per_s) * rate_factor
        # What the inside could give over the step, kg/(s m2): exponential, so stable at any step.
        self.inside = -self.dry_per_s * np.expm1(-rate * step_s) * gap + _TINY

    def _towards(self, humidity: Array) -> tuple[Array, Array]:
        """Water activity of the leaf and its moisture over the balance that it moves to.

        Each on the leaf's own branch; between the branches nothing is over or under.
        """
        bed, moisture = self.bed, self.held.moisture_db
        activity = np.interp(moisture, bed.sorption_db, bed.sorption_aw)
        gap = moisture - np.interp(humidity, bed.sorption_aw, bed.sorption_db)
        gains = gap < 0.0
        if np.count_nonzero(gains):
            under = moisture - np.interp(humidity, bed.gaining_aw, bed.sorption_db)
            gap = np.where(gains, np.minimum(under, 0.0), gap)
            taking = np.interp(moisture, bed.sorption_db, bed.gaining_aw)
            activity = np.where(gains, taking, activity)
        return activity, gap

    def _from_leaf(self, surface_w: Array, d_surface: Array, air_w: Array) -> tuple[Array, Array]:
        """Water from inside the leaf, kg/(s m2), and its slope with leaf temperature.

        Inner and outer resistance in series: the outer one is that of the surface at the leaf's
        water activity, the inner one is thin-layer drying, ``k (X - Xe)``.
        """
        drive = surface_w - air_w
        resistance = self.conductance * drive / self.inside
        # Outside and inside disagree on the direction only while the leaf changes temperature
        # fast; nothing passes then.
        outer = (resistance >= 0.0) / (1.0 + np.abs(resistance))
        through = self.units * outer
        stay = np.exp(-through)
        gain = 1.0 - stay
        steep = gain - stay * through * (1.0 - outer)
        flow = self.air.flow_kg_s_m2
        return flow * drive * gain, flow * steep * d_surface

    def _from_film(self, excess_w: Array, d_free_w: Array) -> tuple[Array, Array, Array, Array]:
        """Water from the film, kg/(s m2), and the share of leaf it covers, each with its slope.

        The share is that at the end of the step, so the film never goes below nothing.
        """
        whole = self.bed.film_kg_kg
        full = self.air.flow_kg_s_m2 * self.approach
        free, d_free = full * excess_w, full * d_free_w
        gone = np.maximum(free, 0.0)
        cover = whole + gone / self.dry_per_s
        share = np.minimum(1.0, self.held.film_db / cover)
        part = (share < 1.0) & (free > 0.0)
        slope = share / cover * d_free
        film = share * gone + np.minimum(free, 0.0)
        d_film = np.where(part, whole * slope, d_free)
        d_share = np.where(part, -slope / self.dry_per_s, 0.0)
        return film, d_film, share, d_share

    def _water(self, leaf_c: Array) -> tuple[Array, Array | float, Array, Array | float]:
        """Water from leaf and from film, kg/(s m2), and their slopes with leaf temperature."""
        bed, pressure, air_w = self.bed, self.air.pressure_pa, self.air.humidity_ratio
        saturated_pa = np.interp(leaf_c, bed.saturation_c, bed.saturation_pa)
        leaf_pa = self.activity * saturated_pa
        below = pressure - leaf_pa
        leaf_w = _EPS * leaf_pa / below
        d_leaf_w = leaf_w * self.steer / below
        if not self.wet:
            inner, d_inner = self._from_leaf(leaf_w, d_leaf_w, air_w)
            return inner, 0.0, d_inner, 0.0
        below = pressure - saturated_pa
        free_w = _EPS * saturated_pa / below
        d_free_w = free_w * self.steer / below
        film, d_film, share, d_share = self._from_film(free_w - air_w, d_free_w)
        # What condenses goes to the film, not into the leaf.
        d_leaf_w = d_leaf_w - np.where(air_w > free_w, d_free_w, 0.0)
        inner, d_inner = self._from_leaf(leaf_w, d_leaf_w, np.minimum(air_w, free_w))
        bare = 1.0 - share
        return bare * inner, film, bare * d_inner - d_share * inner, d_film

    def _step(self, leaf_c: Array) -> tuple[Array, Array, Array, Array | float]:
        """Leaf balance at a trial temperature: what is in excess, Newton's step, and the water.

        ``m c (T' - T) / dt = Q - E (h_vapour - h_water)``, all at the new temperature ``T'``; the
        water is carried on to the end of the step.
        """
        inner, film, d_inner, d_film = self._water(leaf_c)
        latent = _L0 + (_CP_V - _CP_W) * leaf_c
        water = inner + film
        excess = self.stiffness * leaf_c - self.pull + water * latent
        slope = self.stiffness + water * (_CP_V - _CP_W) + (d_inner + d_film) * latent
        change = -excess / slope
        return excess, change, inner + d_inner * change, film + d_film * change

    def solve(self, guess_c: Array) -> tuple[State, tuple[Array, Array]]:
        """Leaf at the end of the step and the air that leaves; Newton from a guess."""
        leaf_c = guess_c
        for _ in range(_NEWTON_MAX):
            _, change, inner, film = self._step(leaf_c)
            leaf_c = leaf_c + change
            if np.count_nonzero(np.abs(change) < _NEWTON_TOLERANCE_K) == change.size:
                return self._after(leaf_c, inner, film)
        return self._solve_bracketed()

    def _solve_bracketed(self) -> tuple[State, tuple[Array, Array]]:
        """As ``solve``, for the rare step where dew and drying meet: the balance rises with the
        leaf temperature, so Newton is kept between a colder and a warmer bound.
        """
        low = np.minimum(self.held.leaf_c, self.air.dry_bulb_c) - _BRACKET_K
        high = np.maximum(self.held.leaf_c, self.air.dry_bulb_c) + _BRACKET_K
        leaf_c = 0.5 * (low + high)
        for _ in range(_BRACKET_MAX):
            excess, change, inner, film = self._step(leaf_c)
            low = np.where(excess < 0.0, leaf_c, low)
            high = np.where(excess < 0.0, high, leaf_c)
            newton = leaf_c + change
            fits = (newton > low) & (newton < high)
            moved = np.where(fits, newton, 0.5 * (low + high)) - leaf_c
            if float(np.abs(moved).max()) < _BRACKET_TOLERANCE_K:
                break
            leaf_c = leaf_c + moved
        inner, film, _, _ = self._water(leaf_c)
        return self._after(leaf_c, inner, film)

    def _after(
        self, leaf_c: Array, inner: Array, film: Array | float
    ) -> tuple[State, tuple[Array, Array]]:
        held, air = self.held, self.air
        moisture, film_db = held.moisture_db - inner / self.dry_per_s, held.film_db
        if self.wet:
            film_db = film_db - film / self.dry_per_s
            dried = film_db < _FILM_LEAST
            moisture = np.where(dried, moisture + film_db, moisture)
            film_db = np.where(dried, 0.0, film_db)
        carried = (inner + film) / air.flow_kg_s_m2
        out_w = air.humidity_ratio + carried
        given = self.sensible * (air.dry_bulb_c - leaf_c) / air.flow_kg_s_m2
        heat = self.heat_air * air.dry_bulb_c - given + carried * _CP_V * leaf_c
        return State(moisture, film_db, leaf_c), (heat / (_CP_A + _CP_V * out_w), out_w)
