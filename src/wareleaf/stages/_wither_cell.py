"""One step of cells of a wither bed: leaf of one temperature, air in plug flow past it.

The approach of the air to the leaf is ``1 - exp(-N)``, ``N = h A / (G c)`` (heat exchanger with
one stream). Heat and water have the same ``N`` for a free surface (Lewis relation with factor
one), so a wet leaf in steady air sits at the thermodynamic wet bulb. Water from inside the leaf
meets the thin-layer resistance ``k (X - Xe)`` in series. It goes back only into leaf below the
adsorption branch, up to that branch; between the branches it stays where it is.

Second order in step and layer: air and leaf temperature are those of the middle of the step, ``k``
and ``Xe`` those of the air midway through the layer, ``X`` that of the middle of the step; how far
the middle is from where the cell starts is taken from the layer's last step (`Past`). The leaf
temperature is implicit, in ``Xe`` too (Newton), the air quasi-steady, and no step takes more than
what is over the balance: stable at any step.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from wareleaf.air.constants import (
    CP_DRY_AIR_J_KG_K,
    CP_VAPOUR_J_KG_K,
    CP_WATER_J_KG_K,
    LATENT_HEAT_0C_J_KG,
    MOLAR_MASS_RATIO,
)
from wareleaf.stages._wither_leaf import Bed, Past, State
from wareleaf.stages.common import Array

_CP_A, _CP_V, _CP_W = CP_DRY_AIR_J_KG_K, CP_VAPOUR_J_KG_K, CP_WATER_J_KG_K
_EPS, _L0 = MOLAR_MASS_RATIO, LATENT_HEAT_0C_J_KG
_LATENT = _L0 + (_CP_V - _CP_W) * 20.0  # steers Newton only
_NEWTON_TOLERANCE_K = 3e-2  # of the last correction, which is still applied: error of 1e-4 K
_NEWTON_MAX = 8
_BRACKET_TOLERANCE_K = 1e-9
_BRACKET_MAX = 80
_BRACKET_K = 30.0
_TINY = 1e-30
_SHUT = 1e30
_FILM_LEAST = 1e-3  # kg per kg dry matter; less than that the leaf has taken up


class EnteringAir(NamedTuple):
    """Air entering cells."""

    dry_bulb_c: Array
    humidity_ratio: Array
    flow_kg_s_m2: Array
    pressure_pa: Array


class Still(NamedTuple):
    """Of the bed over a step, as whole (layers, cases) arrays.

    On arrays this small broadcasting costs as much as the sum.
    """

    dry_per_s: Array  # dry matter over the step, kg/(s m2)
    half_s: Array  # half of one over it
    heat_dry: Array  # its heat capacity over the step, W/(m2 K)
    heat_water: Array  # that of its water, by moisture
    minus_ha: Array
    turn: Array  # rate factor times the step, s


def still(bed: Bed, rate_factor: Array, step_s: float, layers: int) -> Still:
    """What does not change from step to step."""
    dry = bed.layer_dry_kg_m2 / step_s
    rows = (
        dry,
        0.5 / dry,
        dry * bed.specific_heat_dry_j_kg_k,
        dry * _CP_W,
        -bed.layer_ha_w_m2_k,
        rate_factor * step_s,
    )
    return Still(*(np.repeat(row[None], layers, axis=0) for row in rows))


class Cells:
    """One step of cells that do not touch each other.

    ``held`` and ``past`` are moved on in place by `solve`.
    """

    def __init__(self, held: State, past: Past, air: EnteringAir, bed: Bed, still: Still):
        self.held, self.past, self.air, self.bed, self.still = held, past, air, bed, still
        dry_bulb, ratio, flow, pressure = air
        self.wet = bool(np.count_nonzero(held.film_db))
        self.capacity = flow * (_CP_A + _CP_V * ratio)
        self.minus_units = still.minus_ha / self.capacity
        self.half_units = 0.5 * self.minus_units
        self.unchanged = self.capacity * np.exp(self.minus_units)
        self.sensible = self.capacity - self.unchanged
        total = held.moisture_db + held.film_db if self.wet else held.moisture_db
        heat_leaf = still.heat_dry + still.heat_water * total
        # Dry part of the leaf's balance, stiffness T' - pull.
        self.stiffness = heat_leaf + self.sensible
        self.pull = heat_leaf * held.leaf_c + self.sensible * dry_bulb
        # Slope of the vapour pressure over itself (Magnus): steers Newton only.
        self.steer = 4030.2 / np.square(held.leaf_c + 235.0)
        self.steer_pa = self.steer * pressure
        self.brought, self.scale = flow * ratio, _EPS * flow
        middle_w = ratio + past.half_w
        self.vapour = middle_w * pressure / (_EPS + middle_w)
        self.middle_db = held.moisture_db + past.half_db
        self.activity = np.interp(self.middle_db, bed.sorption_db, bed.drying.knots)
        turn = still.turn * np.interp(dry_bulb + past.half_c, bed.rate_c, bed.rate_per_s) + _TINY
        # What is over the balance falls to the middle as in the last step; at most all of it goes.
        self.take = still.dry_per_s * np.minimum(turn / (1.0 + past.half_gone), 1.0)

    def _towards(self, humidity: Array) -> tuple[Array, Array, Array]:
        """Water activity of the leaf, what is over its balance, and the balance's slope.

        Each on the leaf's own branch; between the branches nothing is over or under.
        """
        bed, moisture = self.bed, self.held.moisture_db
        balanced, rises = bed.drying.at(humidity)
        over = moisture - balanced
        gains = over < 0.0
        if not np.count_nonzero(gains):
            return self.activity, over + _TINY, rises
        balanced, rises_gaining = bed.gaining.at(humidity)
        under = moisture - balanced
        over = np.where(gains, np.minimum(under, 0.0), over)
        rises = np.where(gains, rises_gaining * (under < 0.0), rises)
        taking = np.interp(self.middle_db, bed.sorption_db, bed.gaining.knots)
        return np.where(gains, taking, self.activity), over + _TINY, rises

    def _from_leaf(
        self, drive: Array, d_drive: Array, over: Array, d_over: Array
    ) -> tuple[Array, Array]:
        """Water from inside the leaf, kg/(s m2), and its slope with leaf temperature.

        Inner and outer resistance in series: the outer one is that of the surface at the leaf's
        water activity, the inner one is thin-layer drying, ``k (X - Xe)``. Their ratio is that
        midway through the layer, where ``drive`` (humidity to take up, times flow) has fallen.
        """
        minus_ratio = self.minus_units * drive / (self.take * over)
        # Outside and inside disagree on the direction only while the leaf changes temperature
        # fast; nothing passes then (the inner resistance is as good as infinite).
        ratio = np.maximum(-minus_ratio, minus_ratio * _SHUT)
        outer = 1.0 / (1.0 + ratio * np.exp(self.half_units / (1.0 + ratio)))
        minus_through = self.minus_units * outer
        stay = np.exp(minus_through)
        gain = 1.0 - stay
        inner = stay * minus_through * (outer - 1.0)
        return drive * gain, (gain - inner) * d_drive + inner * drive / over * d_over

    def _from_film(
        self, free: Array, d_free: Array, *, dew: bool
    ) -> tuple[Array, Array, Array, Array]:
        """Water from the film, kg/(s m2), and the share of leaf it covers, each with its slope.

        ``free`` is what leaf wholly covered would give. The share is that at the middle of the
        step, and never more than lets the film go below nothing.
        """
        gone, d_gone = free, d_free
        if dew:
            gone, d_gone = np.maximum(free, 0.0), d_free * (free > 0.0)
        half = gone * self.still.half_s
        cover = half + np.maximum(self.bed.film_kg_kg, half)
        share = np.minimum(self.held.film_db / cover, 1.0)
        d_share = np.where(share < 1.0, share / cover * -self.still.half_s * d_gone, 0.0)
        film, d_film = share * gone, share * d_gone + gone * d_share
        if dew:
            film, d_film = film + np.minimum(free, 0.0), d_film + d_free * (free <= 0.0)
        return film, d_film, share, d_share

    def _water(self, leaf_c: Array) -> tuple[Array, Array | float, Array, Array | float]:
        """Water from leaf and from film, kg/(s m2), and their slopes with leaf temperature."""
        bed, pressure, brought = self.bed, self.air.pressure_pa, self.brought
        saturated_pa = np.interp(leaf_c, bed.saturation_c, bed.saturation_pa)
        humidity = self.vapour / saturated_pa
        activity, over, rises = self._towards(humidity)
        d_over = rises * humidity * self.steer
        self.over = over
        # humidity ratio at the leaf's surface, times flow
        leaf_pa = activity * saturated_pa
        below = pressure - leaf_pa
        at_leaf = self.scale * leaf_pa / below
        d_leaf = at_leaf * self.steer_pa / below
        if not (self.wet or self._dews(saturated_pa)):
            inner, d_inner = self._from_leaf(at_leaf - brought, d_leaf, over, d_over)
            return inner, 0.0, d_inner, 0.0
        self.wet = True
        below = pressure - saturated_pa
        at_film = self.scale * saturated_pa / below
        d_at_film = at_film * self.steer_pa / below
        approach = self.sensible / self.capacity
        free, d_free = approach * (at_film - brought), approach * d_at_film
        dew = bool(np.count_nonzero(free < 0.0))
        film, d_film, share, d_share = self._from_film(free, d_free, dew=dew)
        drive = at_leaf - brought
        if dew:  # what condenses goes to the film, not into the leaf
            drive = at_leaf - np.minimum(brought, at_film)
            d_leaf = d_leaf - d_at_film * (free < 0.0)
        inner, d_inner = self._from_leaf(drive, d_leaf, over, d_over)
        bare = 1.0 - share
        return bare * inner, film, bare * d_inner - d_share * inner, d_film

    def _dews(self, saturated_pa: Array) -> bool:
        """Whether the entering air is over saturation at the leaf anywhere."""
        _, ratio, _, pressure = self.air
        return bool(np.count_nonzero(ratio * pressure / (_EPS + ratio) > saturated_pa))

    def _step(self, leaf_c: Array) -> tuple[Array, Array]:
        """Leaf balance at a trial temperature: what it falls short and Newton's step.

        ``m c (T' - T) / dt = Q - E (h_vapour - h_water)``, all at the new temperature ``T'``.
        """
        inner, film, d_inner, d_film = self.water = self._water(leaf_c)
        water, d_water = (inner + film, d_inner + d_film) if self.wet else (inner, d_inner)
        stiffness = self.stiffness + water * (_CP_V - _CP_W)
        short = self.pull - water * _L0 - stiffness * leaf_c
        return short, short / (stiffness + d_water * _LATENT)

    def solve(self, guess_c: Array) -> tuple[Array, Array]:
        """Move the leaf on by the step; the air that leaves (dry bulb, ratio). From a guess."""
        leaf_c = guess_c
        for _ in range(_NEWTON_MAX):
            _, change = self._step(leaf_c)
            if np.abs(change).max() < _NEWTON_TOLERANCE_K:
                # the water is carried on to the end of Newton's step
                inner, film, d_inner, d_film = self.water
                film = film + d_film * change if self.wet else film
                return self._after(inner + d_inner * change, film)
            leaf_c = leaf_c + change
        return self._solve_bracketed()

    def _solve_bracketed(self) -> tuple[Array, Array]:
        """As ``solve``, for the rare step where dew and drying meet: the balance rises with the
        leaf temperature, so Newton is kept between a colder and a warmer bound.
        """
        low = np.minimum(self.held.leaf_c, self.air.dry_bulb_c) - _BRACKET_K
        high = np.maximum(self.held.leaf_c, self.air.dry_bulb_c) + _BRACKET_K
        leaf_c = 0.5 * (low + high)
        for _ in range(_BRACKET_MAX):
            short, change = self._step(leaf_c)
            low = np.where(short > 0.0, leaf_c, low)
            high = np.where(short > 0.0, high, leaf_c)
            newton = leaf_c + change
            fits = (newton > low) & (newton < high)
            moved = np.where(fits, newton, 0.5 * (low + high)) - leaf_c
            if float(np.abs(moved).max()) < _BRACKET_TOLERANCE_K:
                break
            leaf_c = leaf_c + moved
        inner, film, _, _ = self._water(leaf_c)
        return self._after(inner, film)

    def _after(self, inner: Array, film: Array | float) -> tuple[Array, Array]:
        """Take the water from the leaf; its temperature then closes the balance wholly."""
        held, past, (dry_bulb, ratio, flow, _) = self.held, self.past, self.air
        lost = inner / self.still.dry_per_s
        water = inner + film if self.wet else inner
        leaf_c = (self.pull - _L0 * water) / (self.stiffness + (_CP_V - _CP_W) * water)
        held.leaf_c[...] = leaf_c
        held.moisture_db[...] -= lost
        if self.wet:
            film_db = held.film_db - film / self.still.dry_per_s
            taken_up = np.where(film_db < _FILM_LEAST, film_db, 0.0)
            held.moisture_db[...] += taken_up
            np.subtract(film_db, taken_up, out=held.film_db)
        carried = water / flow
        out_c = leaf_c + self.unchanged * (dry_bulb - leaf_c) / (self.capacity + _CP_V * water)
        np.multiply(out_c - dry_bulb, 0.5, out=past.half_c)
        np.multiply(carried, 0.5, out=past.half_w)
        np.multiply(lost, -0.5, out=past.half_db)
        np.divide(lost, 2.0 * self.over, out=past.half_gone)
        return out_c, ratio + carried
