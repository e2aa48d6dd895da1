"""Corrections: which events are in force, and in what order they can be folded.

A correction stands in the place of what it corrects, under the first event's id and kind. When it
draws from a lot that was recorded later, it is folded after that lot was made.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping
from dataclasses import replace

from wareleaf.book.event import JSON, Event
from wareleaf.book.forms import a_kind, check_form
from wareleaf.book.kinds import lots_named
from wareleaf.measure.errors import BadInput, require

_CORRECTION_FACTS = ("reason", "void", "kind")

_EVENTS_REASON = "event_reason"
"""Where a correction carries the reason of the event that it puts in place, such as of a hold."""


def correction_facts(
    facts: Mapping[str, JSON], kind: str, reason: str, *, void: bool = False
) -> dict[str, JSON]:
    """Facts of a correction that puts an event of this kind with these facts in place.

    ``reason`` says why it corrects; a reason that the event itself has (why a lot is held) goes
    along as ``event_reason``.
    """
    carried = {_EVENTS_REASON if name == "reason" else name: v for name, v in facts.items()}
    return {**carried, "kind": kind, "reason": reason, "void": void}


def as_meant(event: Event) -> Event:
    """An event, or what a correction puts in place, as an event of its kind with its own facts."""
    if event.kind != "correction":
        return event
    return as_original(event, event.event_id, str(event.facts.get("kind", event.kind)))


def in_force(correction: Event, original: Event) -> Event:
    """The event that a correction puts in place of the original, under the original's id.

    Raises
    ------
    BadInput
        When the replacement does not have the form of its kind.
    """
    kind = correction.facts.get("kind", original.kind)
    require(
        kind == original.kind,
        "facts.kind",
        kind,
        f"The correction is {a_kind(str(kind))} but the event it corrects is "
        f"{a_kind(original.kind)}; "
        "void the event and record a new one to change its kind.",
    )
    event = as_original(correction, original.event_id, original.kind)
    check_form(event)
    return event


def as_original(correction: Event, event_id: str, kind: str) -> Event:
    """A correction under the id and kind of what it corrects, without its own facts."""
    facts = {k: v for k, v in correction.facts.items() if k not in _CORRECTION_FACTS}
    if _EVENTS_REASON in facts:
        facts["reason"] = facts.pop(_EVENTS_REASON)
    return replace(correction, event_id=event_id, kind=kind, facts=facts, corrects="")


def refuse_corrected(event_id: str, by: str | None) -> None:
    """Refuse to correct an event that another one stands in the place of."""
    require(
        by is None,
        "corrects",
        event_id,
        f"Event {event_id} was already corrected by {by}; correct that one.",
    )


def effective(events: Iterable[Event]) -> tuple[list[Event], dict[str, str]]:
    """Events in force in recorded order, and what supersedes what.

    Raises
    ------
    BadInput
        When a correction names an unknown or an already corrected event.
    """
    order: list[str] = []
    current: dict[str, Event | None] = {}
    originals: dict[str, Event] = {}
    root: dict[str, str] = {}
    superseded: dict[str, str] = {}
    for event in events:
        if event.kind != "correction":
            order.append(event.event_id)
            current[event.event_id] = originals[event.event_id] = event
            root[event.event_id] = event.event_id
            continue
        require(
            event.corrects in root,
            "corrects",
            event.corrects,
            f"There is no event {event.corrects} to correct; name one that the book has.",
        )
        refuse_corrected(event.corrects, superseded.get(event.corrects))
        first = root[event.corrects]
        root[event.event_id] = first
        superseded[event.corrects] = event.event_id
        void = event.facts.get("void", False)
        current[first] = None if void else in_force(event, originals[first])
    return [e for i in order if (e := current[i]) is not None], superseded


def in_order(events: list[Event]) -> list[Event]:
    """Sort so that a lot is made before it is named; recorded order otherwise (Kahn)."""
    maker = {("lot", m.lot_id): i for i, e in enumerate(events) for m in e.outputs}
    maker |= {("run", _run(e)): i for i, e in enumerate(events) if e.kind == "stage_started"}
    shipped: dict[tuple[str, str], list[int]] = {}
    for i, event in enumerate(events):
        for d in event.inputs if event.kind == "ship" else ():
            shipped.setdefault((d.lot_id, _customer(event)), []).append(i)
    waits: list[int] = [0] * len(events)
    wakes: dict[int, list[int]] = {}
    for i, event in enumerate(events):
        wanted = [("lot", x) for x in lots_named(event)]
        if event.kind in ("stage_finished", "reading"):
            wanted.append(("run", _run(event)))
        for j in {maker[x] for x in wanted if x in maker} | _shipments(event, i, shipped):
            waits[i] += 1
            wakes.setdefault(j, []).append(i)
    ready = [i for i, n in enumerate(waits) if n == 0]
    done: list[Event] = []
    while ready:
        i = heapq.heappop(ready)
        done.append(events[i])
        for k in wakes.get(i, ()):
            waits[k] -= 1
            if waits[k] == 0:
                heapq.heappush(ready, k)
    if len(done) < len(events):
        _refuse_cycle(events, waits)
    return done


def _shipments(event: Event, at: int, shipped: Mapping[tuple[str, str], list[int]]) -> set[int]:
    """Shipments before a return that it may draw from: it folds after them."""
    if event.kind != "receive_back":
        return set()
    found = (shipped.get((d.lot_id, _customer(event)), ()) for d in event.inputs)
    return {i for some in found for i in some if i < at}


def _customer(event: Event) -> str:
    return str(event.facts.get("customer", ""))


def _run(event: Event) -> str:
    return str(event.facts.get("run_id", ""))


def _refuse_cycle(events: list[Event], waits: list[int]) -> None:
    stuck = [e for e, n in zip(events, waits, strict=True) if n > 0]
    makers = {m.lot_id: e for e in stuck for m in e.outputs}
    parent_of = {
        lot: next((x for x in lots_named(e) if x in makers), "") for lot, e in makers.items()
    }
    lot = next(iter(makers), "")
    seen: set[str] = set()
    while lot and lot not in seen:
        seen.add(lot)
        lot = parent_of[lot]
    raise BadInput(
        "inputs",
        lot,
        f"Lot {lot} would be among its own ancestors; a lot is made only from lots before it.",
    )
