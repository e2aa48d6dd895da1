"""The hidden true world of the demo: what leaf really is, and what meters make of it.

Dry matter is conserved here; the book only sees readings. Every doing draws from its own stream
of random numbers, so that a shorter history is the end of a longer one's weather and crops.
All spreads here are invented for the demo.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from wareleaf.works.settings import Meter, WorksSettings

# People weigh again when a reading looks odd, so that readings beyond this many standard
# deviations do not stand in the book. Invented for the demo.
ODD_SD = 2.6

METAL_MG_KG: Mapping[str, float] = {
    "cadmium": 0.22,
    "lead": 0.35,
    "inorganic_arsenic": 0.22,
    "mercury": 0.012,
    "nickel": 1.2,
}
"""Usual contents of the demo's kelp, mg per kg dry matter; invented."""


class Chance:
    """Random numbers of one doing."""

    def __init__(self, seed: int, *key: object) -> None:
        name = "/".join(str(part) for part in key)
        self._rng = np.random.default_rng([seed, zlib.crc32(name.encode())])

    def normal(self, mean: float, sd: float) -> float:
        """A normal number within `ODD_SD` of its mean."""
        while True:
            z = float(self._rng.standard_normal())
            if abs(z) <= ODD_SD:
                return mean + sd * z

    def around(self, median: float, relative_sd: float) -> float:
        """A log-normal number about a median."""
        return median * math.exp(self.normal(0.0, relative_sd))

    def minutes(self, low: float, high: float) -> float:
        """Hours for something that takes from ``low`` to ``high`` minutes."""
        return float(self._rng.uniform(low, high)) / 60.0


@dataclass(frozen=True)
class TrueLeaf:
    """What a lot really is.

    Parameters
    ----------
    leaf : str
        Leaf profile.
    mass_kg, dry_kg : float
        Mass and the dry matter in it.
    pace : float
        Its rate of drying or withering over that of its profile.
    iodine_mg_kg : float
        Per kg dry matter.
    metals_mg_kg : mapping
        Per kg dry matter, by parameter.
    """

    leaf: str
    mass_kg: float
    dry_kg: float
    pace: float = 1.0
    iodine_mg_kg: float = 0.0
    metals_mg_kg: Mapping[str, float] = field(default_factory=dict)

    @property
    def moisture_wb(self) -> float:
        """Wet-basis moisture."""
        return 1.0 - self.dry_kg / self.mass_kg

    def at_moisture(self, moisture_wb: float, dry_kg: float | None = None) -> TrueLeaf:
        """The same leaf with other water (and dry matter, when some was lost)."""
        dry = self.dry_kg if dry_kg is None else dry_kg
        return replace(self, mass_kg=dry / (1.0 - moisture_wb), dry_kg=dry)

    def part(self, mass_kg: float) -> TrueLeaf:
        """A part of it."""
        return replace(self, mass_kg=mass_kg, dry_kg=self.dry_kg * mass_kg / self.mass_kg)


def together(parts: Sequence[TrueLeaf]) -> TrueLeaf:
    """Several lots of one leaf as one; contents are averaged by dry matter."""
    dry = sum(p.dry_kg for p in parts)

    def mean(values: Sequence[float]) -> float:
        return sum(v * p.dry_kg for v, p in zip(values, parts, strict=True)) / dry

    return TrueLeaf(
        parts[0].leaf,
        sum(p.mass_kg for p in parts),
        dry,
        mean([p.pace for p in parts]),
        mean([p.iodine_mg_kg for p in parts]),
        {k: mean([p.metals_mg_kg[k] for p in parts]) for k in parts[0].metals_mg_kg},
    )


def kelp(chance: Chance, leaf: str, mass_kg: float) -> TrueLeaf:
    """A fresh load from a line."""
    sugar = leaf == "sugar_kelp_raw"
    moisture = chance.normal(0.92 if sugar else 0.90, 0.006)
    return TrueLeaf(
        leaf,
        mass_kg,
        mass_kg * (1.0 - moisture),
        pace=chance.around(1.0, 0.06),
        iodine_mg_kg=chance.around(3900.0 if sugar else 150.0, 0.08),
        metals_mg_kg={k: chance.around(v, 0.15) for k, v in METAL_MG_KG.items()},
    )


def tea(chance: Chance, leaf: str, mass_kg: float) -> TrueLeaf:
    """A fresh load from a field."""
    moisture = chance.normal(0.775, 0.008)
    return TrueLeaf(leaf, mass_kg, mass_kg * (1.0 - moisture), pace=chance.around(1.0, 0.06))


class Meters:
    """The works' meters, each with its noise; one of them may drift."""

    def __init__(
        self,
        settings: WorksSettings,
        drifting: str = "",
        drift_from: datetime | None = None,
        drift_per_day: float = 0.0,
    ) -> None:
        self._settings = settings
        self._drifting = drifting
        self._from = drift_from
        self._per_day = drift_per_day

    def read(self, meter_id: str, true: float, chance: Chance, at: datetime) -> float:
        """What a meter shows, to the last digit it has."""
        meter = self._settings.meter_of(meter_id)
        seen = chance.normal(true, meter.sd(true)) + self._error(meter_id, at)
        return round(max(seen, 0.0), _digits(meter, true))

    def _error(self, meter_id: str, at: datetime) -> float:
        if meter_id != self._drifting or self._from is None or at < self._from:
            return 0.0
        return self._per_day * (at - self._from).total_seconds() / 86400.0


def _digits(meter: Meter, true: float) -> int:
    if meter.quantity == "mass_kg":
        return 1 if true > 200.0 else 2
    if meter.quantity == "moisture_wb":
        return 3 if "quick" in meter.id else 4
    if meter.quantity == "theaflavin_fraction":
        return 5
    return 1
