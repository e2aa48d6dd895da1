"""How uncertain is what nobody can explain? One error a lot, counted once wherever it goes.

A lot carries two errors from when it was made, of its weight and of its moisture, which
together make the stated uncertainty of its dry matter; errors of different lots are independent. A
draw takes the share of its lot's errors that it takes of the lot. So, over any set of events, a
lot's error counts with the factor (share drawn in the set) - (1 if made in the set): a lot that is
made and used up in the set cancels. A new lot that shows the moisture of its inputs (a split, say)
was only weighed: the inputs' moisture error goes through to it and cancels in the event; what is
left is weighing. Further on it counts as an error of its own, so a sum over several events that
spread one moisture error is stated a little too small. Every booked number adds 1/12 g2 for its
rounding to whole grams, so that an uncertainty is never zero.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from wareleaf.book.event import Event, Made
from wareleaf.book.lots import LotState

SENT_AWAY = ("ship", "waste", "destroy")
"""Kinds with an open end: what they draw leaves the book."""

SAME_MOISTURE = 1e-4
"""A new lot within this of its inputs' moisture (and 2 g of rounding) carries it unmeasured."""


class Errors:
    """Factors of the lots' errors over a set of events, and how many numbers were rounded."""

    def __init__(self) -> None:
        self.mass: dict[str, float] = {}
        self.dry: dict[str, float] = {}
        self.moisture: dict[str, float] = {}
        self.rounded = 0

    def add(self, event: Event, lots: Mapping[str, LotState]) -> None:
        """Count an event in force."""
        if event.kind == "intake" or event.kind in SENT_AWAY:
            return
        carried = _carried(event)
        mass_in = sum(d.mass_g for d in event.inputs)
        kept = 1.0 - sum(m.mass_g for m in carried) / mass_in if carried else 1.0
        for d in event.inputs:
            lot = lots[d.lot_id]
            by_mass = d.mass_g / lot.mass_g
            by_dry = d.dry_g / lot.dry_g if lot.dry_g else by_mass
            _plus(self.mass, d.lot_id, by_mass)
            _plus(self.dry, d.lot_id, by_dry)
            _plus(self.moisture, d.lot_id, by_dry * kept)
        for m in event.outputs:
            _plus(self.mass, m.lot_id, -1.0)
            _plus(self.dry, m.lot_id, -1.0)
            if m not in carried:
                _plus(self.moisture, m.lot_id, -1.0)
        self.rounded += len(event.inputs) + len(event.outputs) + len(event.streams)

    def sd(self, lots: Mapping[str, LotState]) -> tuple[float, float]:
        """Of mass and of dry matter, grams."""
        grid = self.rounded / 12.0
        mass = sum((c * lots[k].mass_sd_g) ** 2 for k, c in self.mass.items())
        dry = sum(c**2 * _weighing_variance(lots[k]) for k, c in self.dry.items())
        dry += sum(c**2 * _moisture_variance(lots[k]) for k, c in self.moisture.items())
        return math.sqrt(mass + grid), math.sqrt(dry + grid)


def _plus(factors: dict[str, float], lot_id: str, value: float) -> None:
    factors[lot_id] = factors.get(lot_id, 0.0) + value


def _weighing_variance(lot: LotState) -> float:
    """The part of the variance of dry matter that comes from the weight, g2."""
    return min((lot.dry_g / lot.mass_g * lot.mass_sd_g) ** 2, lot.dry_sd_g**2)


def _moisture_variance(lot: LotState) -> float:
    """The rest: from the moisture, g2."""
    return lot.dry_sd_g**2 - _weighing_variance(lot)


def _carried(event: Event) -> tuple[Made, ...]:
    """New lots that carry the moisture of what they were made of: it was not measured again.

    What came off a stage and names the meter that read it was measured, even when the meter
    happens to show the figure of before.
    """
    mass_in = sum(d.mass_g for d in event.inputs)
    if not mass_in:
        return ()
    dry_part = sum(d.dry_g for d in event.inputs) / mass_in
    return tuple(
        m
        for m in event.outputs
        if abs(m.dry_g - m.mass_g * dry_part) <= SAME_MOISTURE * m.mass_g + 2.0
        and not (event.kind == "stage_finished" and m.attributes.get("moisture_meter"))
    )


def unexplained_sd(event: Event, lots: Mapping[str, LotState]) -> tuple[float, float]:
    """Standard uncertainty of what is unexplained at one event: of mass and of dry matter, grams.

    Parameters
    ----------
    event : Event
        In force.
    lots : mapping
        The lots it draws from and makes.
    """
    errors = Errors()
    errors.add(event, lots)
    return errors.sd(lots)
