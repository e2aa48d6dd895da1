"""A closed pack: the leaf, its film, its desiccant, and the air around it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import optimize

from wareleaf.measure import require
from wareleaf.pack.isotherm import PackIsotherm

GAS_CONSTANT_J_MOL_K = 8.314462618  # CODATA 2018, exact


@dataclass(frozen=True)
class Climate:
    """Air around the pack for some days.

    Parameters
    ----------
    days : float
        How long; infinite for ever.
    temperature_c : float
        Degrees C.
    relative_humidity : float
        Fraction, 0 to 1.
    """

    days: float
    temperature_c: float
    relative_humidity: float

    def __post_init__(self) -> None:
        """Refuse a climate that cannot be."""
        require(self.days > 0.0, "days", self.days, f"days is {self.days}; it must be above 0.")
        require(
            -20.0 <= self.temperature_c <= 60.0,
            "temperature_c",
            self.temperature_c,
            f"temperature_c is {self.temperature_c:g}; a store or transport is from -20 to 60.",
        )
        require(
            0.0 <= self.relative_humidity <= 1.0,
            "relative_humidity",
            self.relative_humidity,
            f"relative_humidity is {self.relative_humidity:g}; it must be a fraction, 0 to 1.",
        )


@dataclass(frozen=True)
class Desiccant:
    """What a bag of desiccant takes up, by humidity.

    Parameters
    ----------
    relative_humidity, water_g : tuple of float
        Points of the uptake of all bags together, rising from (0, 0); flat beyond the last point.
    water_g_start : float
        Already in it when the pack is closed.
    """

    relative_humidity: tuple[float, ...]
    water_g: tuple[float, ...]
    water_g_start: float = 0.0

    def __post_init__(self) -> None:
        """Refuse points that do not rise."""
        rh, w = self.relative_humidity, self.water_g
        fine = (
            len(rh) == len(w) >= 2
            and rh[0] == 0.0
            and w[0] == 0.0
            and all(a < b for a, b in pairwise(rh))
            and all(a <= b for a, b in pairwise(w))
            and rh[-1] <= 1.0
        )
        require(
            fine,
            "desiccant",
            list(rh),
            "desiccant must have points that rise from humidity 0 and water 0.",
        )
        require(
            0.0 <= self.water_g_start <= w[-1],
            "water_g_start",
            self.water_g_start,
            f"water_g_start is {self.water_g_start:g}; it must be from 0 to {w[-1]:g}.",
        )

    def water(self, water_activity: float) -> float:
        """Grams held in balance with a humidity."""
        return float(np.interp(water_activity, self.relative_humidity, self.water_g))


def desiccant_units(units: float, water_g_start: float = 0.0) -> Desiccant:
    """Desiccant in units: each takes 3 g at 20 % and 6 g at 40 % relative humidity, 25 degC.

    Parameters
    ----------
    units : float
        Number of units, above 0.
    water_g_start : float
        Already in them.

    Notes
    -----
    MIL-D-3464E (read); these are least values, straight in between, flat above 40 %.
    """
    require(units > 0.0, "units", units, f"units is {units}; it must be above 0.")
    return Desiccant((0.0, 0.2, 0.4), (0.0, 3.0 * units, 6.0 * units), water_g_start)


@dataclass(frozen=True)
class Pack:
    """A closed pack of leaf.

    Parameters
    ----------
    isotherm : PackIsotherm
        Of the leaf.
    dry_matter_kg : float
        In the pack.
    moisture_db_start, moisture_db_limit : float
        When closed, and the most that is allowed.
    area_m2 : float
        Of film.
    permeance_g_m2_day_pa : float
        At ``permeance_temperature_c``.
    permeance_temperature_c : float
        Where the permeance was measured.
    activation_j_mol : float
        Arrhenius energy of the permeance; 0 keeps it constant (safe in a store cooler than the
        test, not in a hotter one).
    desiccant : Desiccant or None
        In the pack.
    """

    isotherm: PackIsotherm
    dry_matter_kg: float
    moisture_db_start: float
    moisture_db_limit: float
    area_m2: float
    permeance_g_m2_day_pa: float
    permeance_temperature_c: float = 38.0
    activation_j_mol: float = 0.0
    desiccant: Desiccant | None = None

    def __post_init__(self) -> None:
        """Refuse a pack that cannot be."""
        for field in ("dry_matter_kg", "area_m2"):
            value = getattr(self, field)
            require(
                math.isfinite(value) and value > 0.0,
                field,
                value,
                f"{field} is {value}; it must be above 0.",
            )
        require(
            0.0 <= self.moisture_db_start < self.moisture_db_limit,
            "moisture_db_start",
            self.moisture_db_start,
            f"moisture_db_start is {self.moisture_db_start:g} and moisture_db_limit is "
            f"{self.moisture_db_limit:g}; the start must be 0 or more and below the limit.",
        )
        require(
            math.isfinite(self.permeance_g_m2_day_pa) and self.permeance_g_m2_day_pa >= 0.0,
            "permeance_g_m2_day_pa",
            self.permeance_g_m2_day_pa,
            f"permeance_g_m2_day_pa is {self.permeance_g_m2_day_pa}; it must be 0 or more.",
        )

    def conductance_g_day_pa(self, temperature_c: float) -> float:
        """Of the whole film at a temperature."""
        kelvin = 1.0 / (temperature_c + 273.15) - 1.0 / (self.permeance_temperature_c + 273.15)
        factor = math.exp(-self.activation_j_mol / GAS_CONSTANT_J_MOL_K * kelvin)
        return self.permeance_g_m2_day_pa * self.area_m2 * factor

    def water_g(self, moisture_db: float, temperature_c: float) -> float:
        """Water in leaf and desiccant together when the leaf has this moisture."""
        own = 1000.0 * self.dry_matter_kg * moisture_db
        if self.desiccant is None:
            return own
        return own + self.desiccant.water(self.isotherm.water_activity(moisture_db, temperature_c))

    def moisture_db(self, water_g: float, temperature_c: float) -> float:
        """Moisture of the leaf when leaf and desiccant hold this much together."""
        whole = water_g / (1000.0 * self.dry_matter_kg)
        if self.desiccant is None:
            return whole
        least = max(whole - self.desiccant.water_g[-1] / (1000.0 * self.dry_matter_kg), 0.0)

        def excess(x: float) -> float:
            return self.water_g(x, temperature_c) - water_g

        if excess(least) >= 0.0:  # the desiccant is full: it takes the same at any humidity
            return least
        return float(optimize.brentq(excess, least, whole + 1e-12, xtol=1e-13))
