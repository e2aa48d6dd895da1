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
    """Water activity and heat of sorption of one leaf, as plain numbers for the right-hand side.

    Leaf that takes water up has the activity of its adsorption branch, which lies above that of
    leaf that dries. Without a table of its own the two are one.
    """

    def __init__(self, activity: Array, props: Tables, gaining: Array | None = None) -> None:
        self.activity_table, self.props = activity, props
        self.gaining_table = None if gaining is None else np.maximum(gaining, activity)
        self.log_first = math.log(_DRIEST)
        self.log_step = (math.log(_WETTEST) - self.log_first) / (_MOISTURES - 1)
        self.x, self.heat = props.binding_x, props.binding_heat
        steps = np.diff(self.x) * 0.5 * (self.heat[1:] + self.heat[:-1])
        self.summed = np.concatenate([[0.0], np.cumsum(steps)])

    def activity(self, moisture_db: float, temperature_c: float) -> float:
        """Water activity of leaf that dries."""
        return self._between(self.activity_table, moisture_db, temperature_c)

    def gaining_activity(self, moisture_db: float, temperature_c: float) -> float:
        """Water activity of leaf that takes water up."""
        if self.gaining_table is None:
            return self.activity(moisture_db, temperature_c)
        return self._between(self.gaining_table, moisture_db, temperature_c)

    def _between(self, table: Array, moisture_db: float, temperature_c: float) -> float:
        """Straight lines in the logarithm of moisture and in temperature."""
        place = (math.log(max(moisture_db, _DRIEST)) - self.log_first) / self.log_step
        warm = (min(max(temperature_c, _COLD_C), _HOT_C) - _COLD_C) / _STEP_K
        i, j = min(int(place), _MOISTURES - 2), min(int(warm), table.shape[1] - 2)
        u, v = min(place - i, 1.0), warm - j
        (a, b), (c, d) = table[i : i + 2, j : j + 2].tolist()
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

    def over(self, air_ratio: float, moisture_db: float, temperature_c: float) -> float:
        """Humidity ratio at the face less that of the air, by the way that water goes.

        Leaf over its desorption branch dries by it; leaf under its adsorption branch takes water
        up by that; between the branches nothing passes.
        """
        out = self._ratio(self.activity(moisture_db, temperature_c), temperature_c) - air_ratio
        if out >= 0.0:
            return out
        activity = self.gaining_activity(moisture_db, temperature_c)
        return min(self._ratio(activity, temperature_c) - air_ratio, 0.0)

    def _ratio(self, activity: float, temperature_c: float) -> float:
        """Humidity ratio of air that holds this water activity at this temperature."""
        pressure = self.props.pressure_pa
        vapour = min(activity * self.saturated_pa(temperature_c), 0.99 * pressure)  # at the boil
        return MOLAR_MASS_RATIO * vapour / (pressure - vapour)


@lru_cache(maxsize=32)
def surface_of(leaf_id: str, pressure_pa: float) -> Surface:
    """The surface of a leaf profile."""
    profile = leaf.profile(leaf_id)
    moisture = np.geomspace(_DRIEST, _WETTEST, _MOISTURES)
    at_c = np.arange(_COLD_C, _HOT_C + _STEP_K, _STEP_K)
    losing, gaining = (
        np.asarray(leaf.water_activity(profile, moisture[:, None], at_c[None, :], branch))
        for branch in ("desorption", "adsorption")
    )
    return Surface(losing, tables(profile, pressure_pa), gaining)


def reached_db(leaf_id: str, relative_humidity: Array, dry_bulb_c: Array, start_db: float) -> Array:
    """Where leaf of a start would come to in the air of each hour of a series, given time.

    Leaf over the desorption branch comes down to it, leaf under the adsorption branch up to that;
    between the two it stays as it is.
    """
    profile = leaf.profile(leaf_id)
    most, least = (
        np.asarray(
            leaf.equilibrium_moisture_db(profile, relative_humidity, dry_bulb_c, branch),
            dtype=float,
        )
        for branch in ("desorption", "adsorption")
    )
    found, now = [], start_db
    for low, high in zip(np.minimum(least, most).tolist(), most.tolist(), strict=True):
        now = min(max(now, low), high)
        found.append(now)
    return np.array(found)
