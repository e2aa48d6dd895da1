"""Recall: every lot a fault reached, where it is, who received it, and whether it adds up."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from wareleaf.book import Event, LotState
from wareleaf.book.kinds import SHAPES
from wareleaf.works.house import Works
from wareleaf.works.recall_fault import Fault, Start, words_of
from wareleaf.works.recall_flow import Account, Flow, follow
from wareleaf.works.recall_start import start_of
from wareleaf.works.returns import returned_of
from wareleaf.works.room_view import rooms_passed
from wareleaf.works.sight import Sight, sight
from wareleaf.works.touching import touches_said

_MOVING = tuple(kind for kind, shape in SHAPES.items() if shape.inputs[1] > 0)


@dataclass(frozen=True)
class Affected:
    """One lot the fault reached.

    Parameters
    ----------
    lot : LotState
        As it stands.
    why : str
        What ties it to the fault.
    level : int
        Steps from the lots the fault starts at.
    share : float
        Part of its dry matter that came from the fault.
    dry_g : float
        The same in grams of dry matter, as made.
    left_dry_g : float
        What of that is still here, grams of dry matter.
    """

    lot: LotState
    why: str
    level: int
    share: float
    dry_g: float
    left_dry_g: float


@dataclass(frozen=True)
class Received:
    """Leaf of the fault that a customer received; what came back of it is counted apart."""

    customer_id: str
    customer: str
    market: str
    contact: str
    phone: str
    mail: str
    lot_id: str
    label: str
    shipped_at: datetime
    mass_kg: float
    share: float
    dry_from_fault_kg: float
    document: str
    vehicle: str
    returned_kg: float = 0.0
    returned_dry_kg: float = 0.0

    @property
    def net_kg(self) -> float:
        """What the customer still has of it, kg."""
        return self.mass_kg - self.returned_kg


@dataclass(frozen=True)
class Missing:
    """Where dry matter of the fault is unexplained, kg; negative where too much came out."""

    event_id: str
    kind: str
    happened_at: datetime | None
    lot_ids: tuple[str, ...]
    place: str
    dry_kg: float
    sd_kg: float


@dataclass(frozen=True)
class Recall:
    """The answer to a fault.

    Parameters
    ----------
    fault : Fault
        As asked.
    fault_words : str
        In words.
    known_at : datetime
        The moment whose knowledge is shown, on the works' clock.
    past : bool
        Whether that moment lies before now.
    lots : tuple of Affected
        By steps from the fault, then as made.
    received : tuple of Received
        Oldest first.
    first, last : Account
        Dry matter at the lots at fault alone, and followed to the end.
    unexplained_sd_g : float
        Standard uncertainty of the unexplained of ``last``.
    missing : tuple of Missing
        What makes it up, the largest first.
    notes : tuple of str
        What people must know of where the line was drawn.
    events : tuple of Event
        In force, that moved leaf of the fault.
    seconds : float
        Time the book took to answer.
    """

    fault: Fault
    fault_words: str
    known_at: datetime
    past: bool
    lots: tuple[Affected, ...]
    received: tuple[Received, ...]
    first: Account
    last: Account
    unexplained_sd_g: float
    missing: tuple[Missing, ...]
    notes: tuple[str, ...]
    events: tuple[Event, ...]
    seconds: float

    @property
    def here(self) -> tuple[Affected, ...]:
        """Lots of which something is left at the works."""
        return tuple(a for a in self.lots if a.lot.remaining_mass_g)

    @property
    def not_held(self) -> tuple[Affected, ...]:
        """Those of them that are not on hold."""
        return tuple(a for a in self.here if not a.lot.held_because)

    @property
    def explained(self) -> bool:
        """Whether the unexplained lies within two standard uncertainties of the weighings."""
        return abs(self.last.unexplained_g) <= 2.0 * self.unexplained_sd_g


def recall(works: Works, fault: Fault, known_on: datetime | None = None) -> Recall:
    """Find everything a fault reached.

    Parameters
    ----------
    works : Works
        Open.
    fault : Fault
        What is wrong.
    known_on : datetime or None
        Answer from what was recorded up to this moment, without later entries and corrections;
        None answers from all that is known now. Contacts are always those of now.

    Raises
    ------
    BadInput
        When the fault names something unknown, or no lot is affected.
    """
    began = time.perf_counter()
    seen = sight(works, known_on)
    found = answer(seen, fault)
    touched = touches_said(seen, [a.lot.lot_id for a in found.lots])
    passed = rooms_passed(works, [a.lot for a in found.lots])
    notes = found.notes + touched + passed
    return replace(found, notes=notes, seconds=time.perf_counter() - began)


def answer(seen: Sight, fault: Fault) -> Recall:
    """The same from a book as it is or was known, no word of rooms or touches; ``seconds`` is 0.

    Raises
    ------
    BadInput
        When the fault names something unknown, or no lot is affected.
    """
    start = start_of(seen, fault)
    events = _moved(seen, start.lots)
    lots = _lots(seen, start, events)
    makers = {m.lot_id: e for e in events for m in e.outputs}
    flow = follow(start.lots, lots, events)
    affected = tuple(
        Affected(
            lot=lots[k],
            why=start.lots.get(k) or _made_from(makers[k]),
            level=flow.level[k],
            share=share,
            dry_g=lots[k].dry_g * share,
            left_dry_g=lots[k].remaining_dry_g * share,
        )
        for k, share in flow.share.items()
    )
    return Recall(
        fault=fault,
        fault_words=words_of(seen, fault),
        known_at=seen.now(),
        past=seen.past,
        lots=tuple(sorted(affected, key=lambda a: (a.level, a.lot.made_at, a.lot.lot_id))),
        received=_received(seen, flow, lots, events),
        first=flow.first,
        last=flow.last,
        unexplained_sd_g=flow.unexplained_sd_g,
        missing=_missing(seen, flow, events),
        notes=start.notes,
        events=tuple(events),
        seconds=0.0,
    )


def _moved(works: Sight, roots: Iterable[str]) -> list[Event]:
    """Every event in force that drew from an affected lot, by walking down from the fault."""
    found: dict[str, Event] = {}
    level = set(roots)
    seen = set(level)
    while level:
        drew = [
            e
            for e in works.book.events_in_force(kind=_MOVING, lot_id=level)
            if any(d.lot_id in level for d in e.inputs)
        ]
        found.update({e.event_id: e for e in drew})
        level = {m.lot_id for e in drew for m in e.outputs} - seen
        seen |= level
    return sorted(found.values(), key=lambda e: (e.happened_at, e.event_id))


def _lots(works: Sight, start: Start, events: list[Event]) -> dict[str, LotState]:
    ids = dict.fromkeys(start.lots)
    for event in events:
        ids.update(dict.fromkeys(d.lot_id for d in event.inputs))
        ids.update(dict.fromkeys(m.lot_id for m in event.outputs))
    return {lot.lot_id: lot for lot in works.book.lots(ids=list(ids))}


def _made_from(made: Event) -> str:
    parents = list(dict.fromkeys(d.lot_id for d in made.inputs))
    more = f" and {len(parents) - 3} more" if len(parents) > 3 else ""
    return f"made from {', '.join(parents[:3])}{more}"


def _received(
    works: Sight, flow: Flow, lots: dict[str, LotState], events: list[Event]
) -> tuple[Received, ...]:
    customers = {c.id: c for c in works.settings.customer}
    found = []
    ships = [e for e in events if e.kind == "ship"]
    back = returned_of(ships, [e for e in events if e.kind == "receive_back"])
    for event in ships:
        facts = event.facts
        known = customers.get(str(facts["customer"]))
        for drawn in event.inputs:
            share = flow.share.get(drawn.lot_id, 0.0)
            if not share:
                continue
            back_g, back_dry_g = back.pop((event.event_id, drawn.lot_id), (0, 0))
            found.append(
                Received(
                    customer_id=str(facts["customer"]),
                    customer=known.name if known else str(facts["customer"]),
                    market=str(facts["market"]),
                    # whom to ring now; what the paper said then is the next best
                    contact=(known and known.contact) or str(facts.get("contact") or ""),
                    phone=known.phone if known else "",
                    mail=known.mail if known else "",
                    lot_id=drawn.lot_id,
                    label=lots[drawn.lot_id].label,
                    shipped_at=event.happened_at,
                    mass_kg=drawn.mass_g / 1000.0,
                    share=share,
                    dry_from_fault_kg=drawn.dry_g * share / 1000.0,
                    document=event.document,
                    vehicle=str(facts.get("vehicle") or ""),
                    returned_kg=back_g / 1000.0,
                    returned_dry_kg=back_dry_g * share / 1000.0,
                )
            )
    return tuple(found)


def _missing(works: Sight, flow: Flow, events: list[Event]) -> tuple[Missing, ...]:
    by_id = {e.event_id: e for e in events}
    machines = {e.id: e.name for e in works.settings.equipment}
    found = []
    for gap in flow.gaps:
        event = by_id.get(gap.event_id)
        lots: tuple[str, ...] = (gap.lot_id,) if gap.lot_id else ()
        if event is not None and not lots:
            lots = tuple(dict.fromkeys(d.lot_id for d in event.inputs))
        found.append(
            Missing(
                event_id=gap.event_id,
                kind=event.kind if event and not gap.lot_id else "emptied lot",
                happened_at=event.happened_at if event else None,
                lot_ids=lots,
                place=machines.get(event.place, event.place) if event else "",
                dry_kg=gap.dry_g / 1000.0,
                sd_kg=gap.sd_g / 1000.0,
            )
        )
    return tuple(found)
