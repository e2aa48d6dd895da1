"""The face of a leaf: water activity and heat of sorption as plain numbers, from tables."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from wareleaf import leaf
from wareleaf.air.constants import MOLAR_MASS_RATIO
from wareleaf.stages._dry_tables import Tables, tables
from wareleaf.stages.common import Array

_COLD_C, _HOT_C, _STEP_K = -10.0, 140.0, 5.0
_DRIEST, _WETTEST, _MOISTURES = 1e-4, 60.0, 600


class Surface:
    """Water activity and heat of sorption of one leaf, as plain numbers for the right-hand side."""

    def __init__(self, activity: Array, props: Tables) -> None:
        self.activity_table, self.props = activity, props
        self.log_first = math.log(_DRIEST)
        self.log_step = (math.log(_WETTEST) - self.log_first) / (_MOISTURES - 1)
        self.x, self.heat = props.binding_x, props.binding_heat
        steps = np.diff(self.x) * 0.5 * (self.heat[1:] + self.heat[:-1])
        self.summed = np.concatenate([[0.0], np.cumsum(steps)])

    def activity(self, moisture_db: float, temperature_c: float) -> float:
        """Water activity, straight lines in the logarithm of moisture and in temperature."""
        place = (math.log(max(moisture_db, _DRIEST)) - self.log_first) / self.log_step
        warm = (min(max(temperature_c, _COLD_C), _HOT_C) - _COLD_C) / _STEP_K
        i, j = min(int(place), _MOISTURES - 2), min(int(warm), self.activity_table.shape[1] - 2)
        u, v = min(place - i, 1.0), warm - j
        (a, b), (c, d) = self.activity_table[i : i + 2, j : j + 2].tolist()
        found = (1.0 - u) * ((1.0 - v) * a + v * b) + u * ((1.0 - v) * c + v * d)
        dry = moisture_db / _DRIEST  # below the table: straight to nothing
        return found if dry >= 1.0 else found * max(dry, 0.0)

    def binding(self, moisture_db: Array) -> Array:
        """Net heat of sorption, J/kg water."""
        return np.interp(moisture_db, self.x, self.heat)

    def bound(self, moisture_db: Array) -> Array:
        """Its integral from the driest, J/kg dry matter: exact for the lines of `binding`."""
        x = np.asarray(moisture_db)
        i = np.clip(np.searchsorted(self.x, x) - 1, 0, self.x.size - 2)
        over = 0.5 * (x - self.x[i]) * (self.heat[i] + self.binding(x))
        inside = self.summed[i] + over
        return np.where(x > self.x[-1], self.summed[-1] + (x - self.x[-1]) * self.heat[-1], inside)

    def saturated_pa(self, temperature_c: float) -> float:
        """Vapour pressure of saturated air."""
        place = (min(max(temperature_c, -29.0), 169.0) + 30.0) * 10.0
        i = int(place)
        low, high = self.props.saturation_pa[i : i + 2].tolist()
        return float(low + (place - i) * (high - low))

    def ratio(self, moisture_db: float, temperature_c: float) -> float:
        """Humidity ratio of air in equilibrium with leaf of this moisture and temperature."""
        pressure = self.props.pressure_pa
        vapour = self.activity(moisture_db, temperature_c) * self.saturated_pa(temperature_c)
        vapour = min(vapour, 0.99 * pressure)  # at the boil
        return MOLAR_MASS_RATIO * vapour / (pressure - vapour)


@lru_cache(maxsize=32)
def surface_of(leaf_id: str, pressure_pa: float) -> Surface:
    """The surface of a leaf profile."""
    profile = leaf.profile(leaf_id)
    moisture = np.geomspace(_DRIEST, _WETTEST, _MOISTURES)
    at_c = np.arange(_COLD_C, _HOT_C + _STEP_K, _STEP_K)
    activity = np.asarray(leaf.water_activity(profile, moisture[:, None], at_c[None, :]))
    return Surface(activity, tables(profile, pressure_pa))
