"""Leaf of a wither bed: what it is told (`Bed`), where it stands (`State`), its last step."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from wareleaf.air.constants import CP_WATER_J_KG_K
from wareleaf.stages.common import Array


class Balance(NamedTuple):
    """Moisture in balance with air by its humidity: straight lines between knots, flat outside.

    The lines are numbered by the knot at their upper end.
    """

    knots: Array
    upper: Array
    moisture_db: Array  # at the upper end
    slope: Array

    def at(self, humidity: Array) -> tuple[Array, Array]:
        """Moisture db, and its slope with humidity."""
        line = self.knots.searchsorted(humidity)
        slope = self.slope.take(line)
        return self.moisture_db.take(line) + slope * (humidity - self.upper.take(line)), slope


def balance(activity: Array, moisture_db: Array) -> Balance:
    """Lines through an isotherm; ``activity`` must rise strictly."""
    slope = np.concatenate([[0.0], np.diff(moisture_db) / np.diff(activity), [0.0]])
    upper, held = (np.append(row, row[-1]) for row in (activity, moisture_db))
    return Balance(activity, upper, held, slope)


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
    sorption_db : ndarray
        Dry-basis moistures, rising, of the two isotherms.
    drying, gaining : Balance
        Isotherm of drying leaf, and of leaf that takes water up (adsorption branch).
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
    drying: Balance
    gaining: Balance
    rate_c: Array
    rate_per_s: Array


class State(NamedTuple):
    """Leaf by layer (bottom first) and case: shapes (layers, cases)."""

    moisture_db: Array
    film_db: Array
    leaf_c: Array

    def enthalpy_j_m2(self, bed: Bed) -> Array:
        """Heat in the leaf and its water above 0 degC, J/m2 of net, by case."""
        water = CP_WATER_J_KG_K * (self.moisture_db + self.film_db)
        heat = bed.specific_heat_dry_j_kg_k + water
        return bed.layer_dry_kg_m2 * np.sum(heat * self.leaf_c, axis=0)

    def water_kg_m2(self, bed: Bed) -> Array:
        """Water in the leaf, kg/m2 of net, by case."""
        return bed.layer_dry_kg_m2 * np.sum(self.moisture_db + self.film_db, axis=0)


class Past(NamedTuple):
    """What a layer did in its last step: carries the next step to its middle in time and depth.

    ``half_c``, ``half_w``: half the change of the air through the layer. ``half_db``: half the
    change of the leaf's own moisture. ``half_gone``: that over what was over its balance.
    """

    half_c: Array
    half_w: Array
    half_db: Array
    half_gone: Array
