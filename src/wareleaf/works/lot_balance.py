"""Balance of one lot: made, drawn to what, left, lost, and what nobody can explain."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from wareleaf.book import Event, LotState, lots_touched, unexplained, unexplained_sd
from wareleaf.book.errors import SENT_AWAY
from wareleaf.works.house import Works
from wareleaf.works.recall_flow import Account, mix_of, one_step


@dataclass(frozen=True)
class LotDraw:
    """What one event took of a lot, and what became of that.

    Parameters
    ----------
    event_id, kind : str
        The event in force.
    at : datetime
        When it happened.
    by : str
        Equipment or customer, or empty.
    made : tuple of str
        Lots made of it, by this and other lots together.
    mass_kg, dry_kg : float
        Drawn of this lot.
    lost_dry_kg : float
        Of that, in the event's streams (samples, leached, dust...).
    unexplained_dry_kg, unexplained_sd_kg : float
        Of that, what no record explains, with standard uncertainty; both 0 where the event has an
        open end (a shipment, a waste).
    """

    event_id: str
    kind: str
    at: datetime
    by: str
    made: tuple[str, ...]
    mass_kg: float
    dry_kg: float
    lost_dry_kg: float
    unexplained_dry_kg: float
    unexplained_sd_kg: float


@dataclass(frozen=True)
class LotBalance:
    """Where the dry matter of one lot went, one step on.

    Parameters
    ----------
    made_mass_sd_g, made_dry_sd_g : float
        Standard uncertainty of what was made.
    account : Account
        In whole grams; its parts add up to the dry matter made.
    unexplained_sd_g : float
        Standard uncertainty of what is unexplained.
    draws : tuple of LotDraw
        In order of happening.
    """

    made_mass_sd_g: float
    made_dry_sd_g: float
    account: Account
    unexplained_sd_g: float
    draws: tuple[LotDraw, ...]

    @property
    def z(self) -> float:
        """Unexplained over its standard uncertainty; 0 where nothing was drawn."""
        sd = self.unexplained_sd_g
        return self.account.unexplained_g / sd if sd else 0.0


def lot_balance(works: Works, lot: LotState) -> LotBalance:
    """Balance a lot over all that drew from it.

    The losses of an event, and what it leaves unexplained, are shared out over what it drew from
    by dry matter, as `wareleaf.works.recall_flow` does.
    """
    touching = works.book.events_in_force(lot_id=lot.lot_id)
    events = [e for e in touching if any(d.lot_id == lot.lot_id for d in e.inputs)]
    ids = {lot.lot_id, *(k for e in events for k in lots_touched(e))}
    lots = {each.lot_id: each for each in works.book.lots(ids=ids)}
    account, sd_g = one_step(lot.lot_id, lots, events)
    customers = {c.id: c.name for c in works.settings.customer}
    machines = {m.id: m.name for m in works.settings.equipment}
    named = customers | machines
    return LotBalance(
        made_mass_sd_g=lot.mass_sd_g,
        made_dry_sd_g=lot.dry_sd_g,
        account=account,
        unexplained_sd_g=sd_g if events else 0.0,
        draws=tuple(_draw(e, lot.lot_id, lots, named) for e in events),
    )


def _draw(event: Event, lot_id: str, lots: dict[str, LotState], named: dict[str, str]) -> LotDraw:
    mix = mix_of(event, {lot_id: 1.0})
    facts = event.facts
    by = str(facts.get("customer") or facts.get("equipment") or "")
    known = event.kind not in SENT_AWAY
    return LotDraw(
        event_id=event.event_id,
        kind=event.kind,
        at=event.happened_at,
        by=named.get(by, by),
        made=tuple(m.lot_id for m in event.outputs),
        mass_kg=sum(d.mass_g for d in event.inputs if d.lot_id == lot_id) / 1000.0,
        dry_kg=sum(d.dry_g for d in event.inputs if d.lot_id == lot_id) / 1000.0,
        lost_dry_kg=sum(s.dry_g for s in event.streams) * mix / 1000.0,
        unexplained_dry_kg=unexplained(event).dry_g * mix / 1000.0,
        unexplained_sd_kg=unexplained_sd(event, lots)[1] * mix / 1000.0 if known else 0.0,
    )
