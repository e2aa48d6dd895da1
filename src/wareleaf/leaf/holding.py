"""How long harvested leaf can wait before the works loses value, and before it is lost.

Between two published or stated temperatures the logarithm of the time is linear in temperature;
colder and warmer than both, a Q10 carries on. Time is of quality and safety together as the
figures say; it never replaces the works' own food-safety plan.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from wareleaf.measure import require


@dataclass(frozen=True)
class Patience:
    """Waiting times at a cold and a warm leaf temperature.

    Parameters
    ----------
    cold_c, warm_c : float
        The two temperatures, degrees C.
    hold_cold_h, hold_warm_h : float
        Hours without loss of value there.
    spoil_cold_h, spoil_warm_h : float
        Hours until the leaf is lost there.
    q10 : float
        Factor on the time per 10 K colder, outside the two temperatures.
    """

    cold_c: float
    warm_c: float
    hold_cold_h: float
    hold_warm_h: float
    spoil_cold_h: float
    spoil_warm_h: float
    q10: float

    def __post_init__(self) -> None:
        """Refuse times that are out of order."""
        require(
            self.cold_c < self.warm_c,
            "hold_cold_c",
            self.cold_c,
            f"hold_cold_c is {self.cold_c:g}; it must be below hold_warm_c ({self.warm_c:g}).",
        )
        for hold, spoil, field in (
            (self.hold_cold_h, self.spoil_cold_h, "hold_cold_h"),
            (self.hold_warm_h, self.spoil_warm_h, "hold_warm_h"),
        ):
            require(
                hold <= spoil,
                field,
                hold,
                f"{field} is {hold:g}; leaf loses value no later than it is lost ({spoil:g} h).",
            )

    def hold_hours(self, temperature_c: float) -> float:
        """Hours before value is lost."""
        return self._at(temperature_c, self.hold_cold_h, self.hold_warm_h)

    def spoil_hours(self, temperature_c: float) -> float:
        """Hours before the leaf is lost."""
        return self._at(temperature_c, self.spoil_cold_h, self.spoil_warm_h)

    def _at(self, temperature_c: float, cold_h: float, warm_h: float) -> float:
        require(
            math.isfinite(temperature_c),
            "temperature_c",
            temperature_c,
            f"temperature_c is {temperature_c}; it must be a finite number.",
        )
        inside = min(max(temperature_c, self.cold_c), self.warm_c)
        share = (inside - self.cold_c) / (self.warm_c - self.cold_c)
        hours = cold_h * (warm_h / cold_h) ** share
        return float(hours * self.q10 ** ((inside - temperature_c) / 10.0))
