"""A reading: a value is never without its uncertainty, its unit, its time and its reader."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from wareleaf.measure.errors import require


@dataclass(frozen=True)
class Reading:
    """One measured value.

    Parameters
    ----------
    quantity : str
        What was measured, with its unit in the name, for example ``moisture_wb``.
    value : float
        The value; fractions are 0 to 1.
    standard_uncertainty : float
        One standard deviation, same unit, 0 or more.
    unit : str
        The unit for people, for example ``kg`` or ``% wb``.
    method : str
        Meter or method id.
    taken_at : datetime
        With its time zone.
    who : str
        Person id.
    """

    quantity: str
    value: float
    standard_uncertainty: float
    unit: str
    method: str
    taken_at: datetime
    who: str

    def __post_init__(self) -> None:
        """Refuse values that cannot be a reading."""
        require(
            math.isfinite(self.value),
            self.quantity,
            self.value,
            f"{self.quantity} is {self.value}; a reading must be a finite number.",
        )
        require(
            math.isfinite(self.standard_uncertainty) and self.standard_uncertainty >= 0.0,
            "standard_uncertainty",
            self.standard_uncertainty,
            f"standard_uncertainty is {self.standard_uncertainty}; it must be 0 or more.",
        )
        require(
            self.taken_at.tzinfo is not None,
            "taken_at",
            self.taken_at.isoformat(),
            "taken_at has no time zone; give the offset too, like 2026-04-12T06:30+02:00.",
        )
