"""The lines of the key data elements: each step that made an affected lot or an ancestor."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any, TypeAlias

from wareleaf import leaf as leaves
from wareleaf.book import Event, LotState, Made
from wareleaf.book.kinds import MAKING
from wareleaf.works.recall import Recall
from wareleaf.works.settings import Customer, Site, SourcePlace, WorksSettings
from wareleaf.works.sight import Sight

Row: TypeAlias = tuple[Any, ...]


class History:
    """Every event that made an affected lot or an ancestor of one, and the shipments."""

    def __init__(self, seen: Sight, found: Recall):
        self.settings: WorksSettings = seen.settings
        self.bad = {a.lot.lot_id for a in found.lots}
        self.maker = _makers(seen, self.bad)
        self.events = _in_time(self.maker.values())
        self.ships = [e for e in found.events if e.kind == "ship"]
        ids = {d.lot_id for e in (*self.events, *self.ships) for d in e.inputs}
        self.lots = {lot.lot_id: lot for lot in seen.book.lots(ids={*ids, *self.maker})}
        self._loads: dict[str, frozenset[str]] = {}
        found_harvests = seen.book.events_in_force(kind="harvest")
        self._harvests = {str(e.facts["harvest_id"]): e for e in found_harvests}
        self._coolings = seen.book.events_in_force(kind="cooling")

    def _reached(self, lot_id: str) -> tuple[str, str]:
        return lot_id, "yes" if lot_id in self.bad else "no"

    def _intakes(self) -> Iterator[tuple[Event, Made]]:
        for event in self.events:
            if event.kind == "intake":
                for made in event.outputs:
                    yield event, made

    def _load(self, event: Event, made: Made) -> Row:
        source = self._source(event, made)
        return (
            commodity(made.leaf),
            made.mass_g / 1000.0,
            "kg",
            source.address if source else "",
            source.name if source else str(event.facts.get("source") or ""),
            _cut(self._harvest_of(event) or event, made),
        )

    def _harvest_of(self, event: Event) -> Event | None:
        return self._harvests.get(str(event.facts.get("harvest", "")))

    def _cooled(self, event: Event, made: Made) -> tuple[str, datetime | str, Event | None]:
        """Where and when a load was cooled first, on the way or at the works."""
        harvest = str(event.facts.get("harvest", ""))
        for cooling in self._coolings:
            on_the_way = bool(harvest) and cooling.facts.get("harvest_id") == harvest
            if on_the_way or made.lot_id in cooling.facts["lots"]:
                here = "" if on_the_way else place(self._site(cooling.site))
                where = ", ".join(part for part in (cooling.place, here) if part)
                return where, datetime.fromisoformat(cooling.facts["from"]), cooling
        return "", "", None

    def harvest(self) -> Iterator[Row]:
        """A line for each load behind the affected lots."""
        for event, made in self._intakes():
            site = self._site(event.site)
            yield (
                *self._reached(made.lot_id),
                place(site),
                *self._load(event, made),
                *_paper_of(self._harvest_of(event), event),
            )

    def cooling(self) -> Iterator[Row]:
        """The same with where and when each was cooled, if the book was told."""
        for event, made in self._intakes():
            load = self._load(event, made)
            first = (*self._reached(made.lot_id), place(self._site(event.site)))
            where, when, cooling = self._cooled(event, made)
            yield (*first, *load[:3], where, when, *load[3:], *_paper_of(cooling, event))

    def packing(self) -> Iterator[Row]:
        """A line for each packed lot and each load in it."""
        for event in self.events:
            if event.kind != "pack":
                continue
            for packed in event.outputs:
                for load_id in sorted(self._loads_of(packed.lot_id)):
                    intake = self.maker[load_id]
                    made = next(m for m in intake.outputs if m.lot_id == load_id)
                    source, load = self._source(intake, made), self._load(intake, made)
                    yield (
                        *self._reached(packed.lot_id),
                        load[0],
                        intake.happened_at,
                        *load[1:5],
                        source.grower if source else "",
                        source.phone if source else "",
                        load[5],
                        *self._cooled(intake, made)[:2],
                        packed.lot_id,
                        self._description(packed.lot_id),
                        packed.mass_g / 1000.0,
                        "kg",
                        place(self._site(event.site)),
                        event.happened_at,
                        *_paper(event),
                    )

    def receiving(self) -> Iterator[Row]:
        """A line for each load; its code is given at the door."""
        for event, made in self._intakes():
            source, here = self._source(event, made), place(self._site(event.site))
            previous = ", ".join(p for p in (source.grower, source.address) if p) if source else ""
            yield (
                *self._reached(made.lot_id),
                made.lot_id,
                made.mass_g / 1000.0,
                "kg",
                self._description(made.lot_id),
                previous,
                here,
                event.happened_at,
                here,
                *_paper(event),
            )
        yield from self._came_back()

    def _came_back(self) -> Iterator[Row]:
        """A line for each lot that a customer sent back."""
        customers = {c.id: c for c in self.settings.customer}
        for event in self.events:
            for made in event.outputs if event.kind == "receive_back" else ():
                customer, here = str(event.facts["customer"]), place(self._site(event.site))
                yield (
                    *self._reached(made.lot_id),
                    made.lot_id,
                    made.mass_g / 1000.0,
                    "kg",
                    self._description(made.lot_id),
                    place(customers.get(customer)) or customer,
                    here,
                    event.happened_at,
                    here,
                    *_paper(event),
                )

    def transformation(self) -> Iterator[Row]:
        """A line for each lot that went into a step and each that came out."""
        for event in self.events:
            if event.kind in ("intake", "receive_back"):
                continue
            end = (place(self._site(event.site)), event.happened_at, *_paper(event))
            used = [("used", d.lot_id, d.mass_g) for d in event.inputs]
            new = [("new", m.lot_id, m.mass_g) for m in event.outputs]
            for which, lot_id, mass_g in (*used, *new):
                yield (
                    *self._reached(lot_id),
                    which,
                    lot_id,
                    self._description(lot_id),
                    mass_g / 1000.0,
                    "kg",
                    *end,
                )

    def shipping(self) -> Iterator[Row]:
        """A line for each lot on each shipment that carried the fault."""
        customers = {c.id: c for c in self.settings.customer}
        for event in self.ships:
            customer = customers.get(str(event.facts["customer"]))
            to = place(customer) if customer else str(event.facts["customer"])
            for drawn in event.inputs:
                yield (
                    *self._reached(drawn.lot_id),
                    drawn.lot_id,
                    drawn.mass_g / 1000.0,
                    "kg",
                    self._description(drawn.lot_id),
                    to,
                    place(self._site(event.site)),
                    event.happened_at,
                    place(self._site(self.lots[drawn.lot_id].site)),
                    *_paper(event),
                )

    def _loads_of(self, lot_id: str) -> frozenset[str]:
        """Loads at the door that a lot was made of; walked without recursion, chains are long."""
        todo = [lot_id]
        while todo:
            current = todo[-1]
            event = self.maker[current]
            if event.kind == "intake":
                self._loads[current] = frozenset({current})
            elif missing := [d.lot_id for d in event.inputs if d.lot_id not in self._loads]:
                todo += missing
                continue
            else:
                parts = (self._loads[d.lot_id] for d in event.inputs)
                self._loads[current] = frozenset().union(*parts)
            todo.pop()
        return self._loads[lot_id]

    def _description(self, lot_id: str) -> str:
        lot: LotState = self.lots[lot_id]
        words = (lot.form, lot.attributes.get("grade"), commodity(lot.leaf), lot.label)
        return ", ".join(str(w) for w in words if w)

    def _source(self, event: Event, made: Made) -> SourcePlace | None:
        named = str(made.attributes.get("source") or event.facts.get("source") or "")
        return next((s for s in self.settings.source if s.id == named), None)

    def _site(self, site_id: str) -> Site | None:
        return next((s for s in self.settings.site if s.id == site_id), None)


def _makers(seen: Sight, lot_ids: Iterable[str]) -> dict[str, Event]:
    """The event that made each lot and each of its ancestors, by all the lots it made."""
    found: dict[str, Event] = {}
    level = set(lot_ids)
    while level:
        for event in seen.book.events_in_force(kind=MAKING, lot_id=level):
            if any(m.lot_id in level for m in event.outputs):
                found.update({m.lot_id: event for m in event.outputs})
        level = {d.lot_id for k in level for d in found[k].inputs} - set(found)
    return found


def _in_time(events: Iterable[Event]) -> list[Event]:
    once = {e.event_id: e for e in events}
    return sorted(once.values(), key=lambda e: (e.happened_at, e.event_id))


def commodity(leaf_id: str) -> str:
    """A leaf by its profile's name; its id where the profile is gone."""
    return leaves.profile(leaf_id).name if leaf_id in leaves.profile_ids() else leaf_id


def place(of: Site | Customer | None) -> str:
    """Name, address and phone; empty without an address, because a name is no location."""
    if of is None or not of.address:
        return ""
    return ", ".join(part for part in (of.name, of.address, of.phone) if part)


def _paper(event: Event) -> tuple[str, str]:
    """Type and number of the document; a step inside the works rests on its entry in the book."""
    types = {
        "intake": "load ticket",
        "ship": "delivery note",
        "pack": "pack sheet",
        "harvest": "harvest record",
        "cooling": "cooling record",
        "receive_back": "return note",
    }
    if event.document:
        return types.get(event.kind, "works record"), event.document
    if event.kind in types:
        return "", ""
    return "entry in the lot book", event.event_id


def _paper_of(own: Event | None, event: Event) -> tuple[str, str]:
    """The paper of an entry of its own, where it has one; else that of the load."""
    return _paper(own if own is not None and own.document else event)


def _cut(event: Event, made: Made) -> datetime | str:
    own = event.facts.get("cut_at") if event.kind == "harvest" else None
    said = own or made.attributes.get("cut_at") or event.facts.get("cut_at")
    try:
        return datetime.fromisoformat(str(said)) if said else ""
    except ValueError:
        return str(said)
