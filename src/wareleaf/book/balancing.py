"""Does it add up? In, out, losses, stock change and what nobody can explain, with its uncertainty.

At each event: unexplained = inputs - outputs - streams, in whole grams. An intake takes in what it
makes and loses (its source is outside the book); a shipment, a waste or a destruction sends away
what it draws; a return brings in what its customer had.
A lot may also end with a residual: drawn a little more than was booked, or emptied with dry matter
still owing. The residual is counted as unexplained at the event that drew from the lot last. With
that, in = out + losses + stock change + unexplained holds exactly, for dry matter and for mass.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from wareleaf.book.corrections import effective
from wareleaf.book.errors import SENT_AWAY, Errors, unexplained_sd
from wareleaf.book.event import Event
from wareleaf.book.forms import kg
from wareleaf.book.kinds import SHAPES
from wareleaf.book.lots import LotState

SIGNIFICANT_Z = 3.0
"""Beyond this many standard uncertainties an unexplained mass is reported (common practice)."""


@dataclass(frozen=True, slots=True)
class Amount:
    """Whole grams of mass and of the dry matter in it."""

    mass_g: int
    dry_g: int


@dataclass(frozen=True, slots=True)
class Side:
    """One balance, of dry matter or of mass, in whole grams.

    ``taken_in + came_back + moved_in = shipped + moved_out + sum(losses) + stock_change +
    unexplained`` holds exactly. Losses are by stream name; negative ones are gains.
    """

    taken_in_g: int
    came_back_g: int
    shipped_g: int
    losses_g: Mapping[str, int]
    moved_in_g: int
    moved_out_g: int
    stock_change_g: int
    unexplained_g: int
    unexplained_sd_g: float

    @property
    def z(self) -> float:
        """Unexplained over its standard uncertainty."""
        return self.unexplained_g / self.unexplained_sd_g if self.unexplained_sd_g else 0.0

    @property
    def left_over_g(self) -> int:
        """What the balance misses: always 0."""
        came = self.taken_in_g + self.came_back_g + self.moved_in_g
        went = self.shipped_g + self.moved_out_g + sum(self.losses_g.values())
        return came - went - self.stock_change_g - self.unexplained_g


@dataclass(frozen=True, slots=True)
class DayBalance:
    """Balance of a site (or of all, when ``site`` is empty) over a time from start up to end."""

    site: str
    start: datetime
    end: datetime
    dry: Side
    mass: Side


@dataclass(frozen=True, slots=True)
class Imbalance:
    """An event whose dry matter does not add up beyond its uncertainty."""

    event_id: str
    kind: str
    happened_at: datetime
    site: str
    place: str
    dry_g: int
    dry_sd_g: float
    z: float
    sentence: str


def unexplained(event: Event) -> Amount:
    """Inputs less outputs less streams of an event in force, whole grams; 0 where by definition.

    Intake, shipment, waste and destruction have one open end, so they balance by definition; so
    does what moves nothing.
    """
    if event.kind == "intake" or event.kind in SENT_AWAY or event.kind not in SHAPES:
        return Amount(0, 0)
    mass = sum(d.mass_g for d in event.inputs)
    mass -= sum(m.mass_g for m in event.outputs) + sum(s.mass_g for s in event.streams)
    dry = sum(d.dry_g for d in event.inputs)
    dry -= sum(m.dry_g for m in event.outputs) + sum(s.dry_g for s in event.streams)
    return Amount(mass, dry)


def _residuals(lots: Mapping[str, LotState]) -> dict[str, list[LotState]]:
    """Lots with a residual, by the event that drew last."""
    found: dict[str, list[LotState]] = {}
    for lot in lots.values():
        if lot.residual_mass_g or lot.residual_dry_g:
            found.setdefault(lot.last_drawn_by, []).append(lot)
    return found


class _Tally:
    """Sums of one site while the events of a time are walked."""

    def __init__(self) -> None:
        self.taken_in = [0, 0]
        self.came_back = [0, 0]
        self.shipped = [0, 0]
        self.moved_in = [0, 0]
        self.moved_out = [0, 0]
        self.stock = [0, 0]
        self.unexplained = [0, 0]
        self.losses: tuple[Counter[str], Counter[str]] = (Counter(), Counter())
        self.errors = Errors()

    def lose(self, name: str, mass_g: int, dry_g: int) -> None:
        self.losses[0][name] += mass_g
        self.losses[1][name] += dry_g

    def side(self, i: int, sd: float) -> Side:
        return Side(
            taken_in_g=self.taken_in[i],
            came_back_g=self.came_back[i],
            shipped_g=self.shipped[i],
            losses_g=dict(sorted(self.losses[i].items())),
            moved_in_g=self.moved_in[i],
            moved_out_g=self.moved_out[i],
            stock_change_g=self.stock[i],
            unexplained_g=self.unexplained[i],
            unexplained_sd_g=sd,
        )


def _add(into: list[int], mass_g: int, dry_g: int) -> None:
    into[0] += mass_g
    into[1] += dry_g


def balance(
    events: Iterable[Event],
    lots: Mapping[str, LotState],
    start: datetime,
    end: datetime,
    site: str = "",
) -> DayBalance:
    """The balance of a day, or of any time.

    Parameters
    ----------
    events : iterable of Event
        At least all that happened from start up to, not including, end; others are ignored.
        Corrections are put in place when they stand among the events.
    lots : mapping
        The lots that those events draw from and make, as they are now.
    start, end : datetime
        By when it happened.
    site : str
        One site; empty for all together.

    Returns
    -------
    DayBalance
        Exact in whole grams; `Side.left_over_g` is 0.
    """
    current, _ = effective(events)
    residuals = _residuals(lots)
    tally = _Tally()
    for event in current:
        if start <= event.happened_at < end:
            _count(tally, event, lots, residuals, site)
    mass_sd, dry_sd = tally.errors.sd(lots)
    return DayBalance(site, start, end, tally.side(1, dry_sd), tally.side(0, mass_sd))


def _count(
    tally: _Tally,
    event: Event,
    lots: Mapping[str, LotState],
    residuals: Mapping[str, list[LotState]],
    site: str,
) -> None:
    here = not site or event.site == site
    for d in event.inputs if event.kind != "receive_back" else ():
        home = lots[d.lot_id].site
        if not site or home == site:
            _add(tally.stock, -d.mass_g, -d.dry_g)
        if site and home == site and not here:
            _add(tally.moved_out, d.mass_g, d.dry_g)
        if site and here and home != site:
            _add(tally.moved_in, d.mass_g, d.dry_g)
    for lot in residuals.get(event.event_id, ()):
        if not site or lot.site == site:
            _add(tally.stock, -lot.residual_mass_g, -lot.residual_dry_g)
            _add(tally.unexplained, lot.residual_mass_g, lot.residual_dry_g)
    if here:
        _count_here(tally, event, lots)


def _count_here(tally: _Tally, event: Event, lots: Mapping[str, LotState]) -> None:
    lost_mass = sum(s.mass_g for s in event.streams)
    lost_dry = sum(s.dry_g for s in event.streams)
    for s in event.streams:
        tally.lose(s.name, s.mass_g, s.dry_g)
    for m in event.outputs:
        _add(tally.stock, m.mass_g, m.dry_g)
    if event.kind == "intake":
        _add(tally.taken_in, lost_mass, lost_dry)
        for m in event.outputs:
            _add(tally.taken_in, m.mass_g, m.dry_g)
    elif event.kind in SENT_AWAY:
        mass = sum(d.mass_g for d in event.inputs) - lost_mass
        dry = sum(d.dry_g for d in event.inputs) - lost_dry
        if event.kind == "ship":
            _add(tally.shipped, mass, dry)
        elif mass or dry:
            tally.lose("destroyed" if event.kind == "destroy" else "waste", mass, dry)
    else:
        for d in event.inputs if event.kind == "receive_back" else ():
            _add(tally.came_back, d.mass_g, d.dry_g)
        amount = unexplained(event)
        _add(tally.unexplained, amount.mass_g, amount.dry_g)
        tally.errors.add(event, lots)


def unbalanced(
    events: Iterable[Event], lots: Mapping[str, LotState], limit_z: float = SIGNIFICANT_Z
) -> list[Imbalance]:
    """Events whose dry matter does not add up beyond their uncertainty, worst first.

    Parameters
    ----------
    events : iterable of Event
        With the corrections among them, or already in force.
    lots : mapping
        The lots that they draw from and make, as they are now.
    limit_z : float
        How many standard uncertainties are too many.
    """
    current, _ = effective(events)
    residuals = _residuals(lots)
    found = []
    for event in current:
        dry = unexplained(event).dry_g
        owed = residuals.get(event.event_id, ())
        dry += sum(lot.residual_dry_g for lot in owed)
        if not dry:
            continue
        sd = unexplained_sd(event, lots)[1]
        if event.kind in SENT_AWAY:
            sd = math.sqrt(sum(lot.dry_sd_g**2 + 1 / 12 for lot in owed))
        z = dry / sd
        if abs(z) > limit_z:
            found.append(_imbalance(event, dry, sd, z))
    return sorted(found, key=lambda i: (-abs(i.z), i.event_id))


def _imbalance(event: Event, dry_g: int, sd: float, z: float) -> Imbalance:
    way = "is missing" if dry_g > 0 else "too much came out"
    lots = ", ".join(d.lot_id for d in event.inputs[:3]) or "no lot"
    sentence = (
        f"{event.kind.replace('_', ' ').capitalize()} from {lots}: {kg(abs(dry_g))} of dry matter "
        f"{way}, {abs(z):.1f} times its uncertainty of {kg(sd)}."
    )
    return Imbalance(
        event.event_id,
        event.kind,
        event.happened_at,
        event.site,
        event.place,
        dry_g,
        sd,
        z,
        sentence,
    )
