"""What a lot and a stage run are now, as the events say. Derived, never edited."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from wareleaf.book.event import JSON

STATUSES = ("open", "on_stage", "held", "released", "used", "shipped")


@dataclass(frozen=True, slots=True)
class LotState:
    """A lot as it stands after the events so far.

    Parameters
    ----------
    lot_id, leaf, form, place, site, label, attributes
        As made; ``place`` follows a move, ``attributes["grade"]`` the grading.
    made_by : str
        Id of the event that made it.
    made_at : datetime
        When that happened.
    mass_g, dry_g : int
        As made, whole grams.
    mass_sd_g, dry_sd_g : float
        Standard uncertainty of what was made, grams.
    drawn_mass_g, drawn_dry_g : int
        Sum of all draws.
    shipped_mass_g, shipped_dry_g : int
        The part of the draws that left on a shipment.
    away : mapping
        By customer: (mass, dry matter) in grams that was shipped to them and has not come back.
    pallets : mapping
        By pallet number (SSCC): grams of the lot on it.
    last_drawn_by : str
        The event that drew last; a residual of the lot is counted there.
    held_because : str
        Why it is on hold; empty when it is not.
    released_for : tuple of str
        Markets.
    on_runs : tuple of str
        Stage runs that are open on it.
    """

    lot_id: str
    leaf: str
    form: str
    place: str
    site: str
    made_by: str
    made_at: datetime
    mass_g: int
    dry_g: int
    mass_sd_g: float
    dry_sd_g: float
    drawn_mass_g: int = 0
    drawn_dry_g: int = 0
    shipped_mass_g: int = 0
    shipped_dry_g: int = 0
    last_drawn_by: str = ""
    held_because: str = ""
    released_for: tuple[str, ...] = ()
    on_runs: tuple[str, ...] = ()
    label: str = ""
    attributes: Mapping[str, JSON] = field(default_factory=dict)
    away: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    pallets: Mapping[str, int] = field(default_factory=dict)

    @property
    def returned_mass_g(self) -> int:
        """What came back of what was shipped, grams."""
        return self.shipped_mass_g - sum(mass for mass, _ in self.away.values())

    @property
    def with_customers_dry_g(self) -> int:
        """Dry matter that was shipped and has not come back, grams."""
        return sum(dry for _, dry in self.away.values())

    @property
    def on_pallets_g(self) -> int:
        """What of it stands on pallets, grams."""
        return sum(self.pallets.values())

    @property
    def remaining_mass_g(self) -> int:
        """What is left, grams; never negative (a small overdraw is a residual)."""
        return max(self.mass_g - self.drawn_mass_g, 0)

    @property
    def loose_g(self) -> int:
        """What is left and stands on no pallet, grams."""
        return max(self.remaining_mass_g - self.on_pallets_g, 0)

    @property
    def remaining_dry_g(self) -> int:
        """Dry matter left, grams; from 0 up to the mass that is left."""
        return min(max(self.dry_g - self.drawn_dry_g, 0), self.remaining_mass_g)

    @property
    def residual_mass_g(self) -> int:
        """Made less drawn less left, grams: negative when more was drawn than was booked."""
        return self.mass_g - self.drawn_mass_g - self.remaining_mass_g

    @property
    def residual_dry_g(self) -> int:
        """The same for dry matter; positive when an emptied lot still owes dry matter."""
        return self.dry_g - self.drawn_dry_g - self.remaining_dry_g

    @property
    def moisture_wb(self) -> float:
        """Wet-basis moisture as made, kg/kg."""
        return (self.mass_g - self.dry_g) / self.mass_g

    @property
    def status(self) -> str:
        """One of `STATUSES`."""
        if self.remaining_mass_g == 0:
            return "shipped" if self.away else "used"
        if self.held_because:
            return "held"
        if self.on_runs:
            return "on_stage"
        return "released" if self.released_for else "open"


@dataclass(frozen=True, slots=True)
class RunState:
    """A stage run: which lots on which equipment, from when to when.

    Parameters
    ----------
    run_id, stage, equipment, site : str
        What runs where.
    lots : tuple of str
        Lot ids put on.
    settings : mapping
        As started.
    started_at : datetime
        When it started.
    started_by : str
        Event id.
    finished_at : datetime or None
        None while it is open.
    finished_by : str
        Event id; empty while it is open.
    """

    run_id: str
    stage: str
    equipment: str
    site: str
    lots: tuple[str, ...]
    settings: Mapping[str, JSON]
    started_at: datetime
    started_by: str
    finished_at: datetime | None = None
    finished_by: str = ""
