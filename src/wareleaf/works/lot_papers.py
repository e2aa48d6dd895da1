"""Papers of a lot: those its entries name, and what can be handed out: receipt and document."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from wareleaf.book import Event, lots_touched, seal
from wareleaf.measure.errors import BadInput
from wareleaf.store import RecordedEvent
from wareleaf.works.exchange_book import naming_of
from wareleaf.works.house import Works
from wareleaf.works.seal_keys import SealState, state_of
from wareleaf.works.trace_lot import TraceView

_ARRIVED, _SHIPPED = ("intake",), ("ship",)
_OF_RUNS = ("stage_started", "stage_finished")


@dataclass(frozen=True)
class Paper:
    """A paper that an entry names.

    Parameters
    ----------
    name : str
        Its number, as written in the entry.
    kind : str
        Kind of the entry.
    at : datetime
        When that happened.
    lots : tuple of str
        Lots of this history that it speaks of.
    """

    name: str
    kind: str
    at: datetime
    lots: tuple[str, ...]


@dataclass(frozen=True)
class SealCover:
    """How far the last seal covers a lot.

    Parameters
    ----------
    key : str
        The public key that checks it; empty when the book was never sealed.
    size : int
        Entries under the last seal.
    until : datetime or None
        When the last of them was recorded.
    covered, newer : int
        Entries of the lot under the seal, and after it.
    made : bool
        Whether the lot's making is under the seal, so that a receipt can be given.
    """

    key: str
    size: int
    until: datetime | None
    covered: int
    newer: int
    made: bool


def papers_of(works: Works, view: TraceView) -> tuple[Paper, ...]:
    """Papers of a lot and of its runs, of the loads it came from and how they were cut and cooled,
    and of what was shipped.
    """
    lot_id = view.lot.lot_id
    loads = [n.lot_id for n in view.back.ends]
    sent = [n.lot_id for n in view.forward.nodes if view.lots[n.lot_id].shipped_mass_g]
    book = works.book
    arrived = book.events_in_force(_ARRIVED, lot_id=loads)
    own = book.events_in_force(lot_id=lot_id)
    events = [
        *_on_the_way(works, arrived),
        *arrived,
        *own,
        *_read_on_runs(works, own),
        *book.events_in_force(_SHIPPED, lot_id=sent),
    ]
    seen = {e.event_id: e for e in events if e.document}
    return tuple(sorted(_papers(seen.values(), {lot_id, *loads, *sent}), key=lambda p: p.at))


def _on_the_way(works: Works, arrived: Iterable[Event]) -> list[Event]:
    """Harvests of some loads, and how they were cooled on the way."""
    numbers = {e.facts["harvest"] for e in arrived if e.facts.get("harvest")}
    found = works.book.events_in_force(("harvest", "cooling")) if numbers else []
    return [e for e in found if e.facts.get("harvest_id") in numbers]


def _read_on_runs(works: Works, own: Iterable[Event]) -> Iterator[Event]:
    """Readings on the runs of a lot; they name the run and not the lot."""
    ids = {e.facts["run_id"] for e in own if e.kind in _OF_RUNS}
    for run in works.book.runs(ids=ids) if ids else ():
        # A reading may be of the very minute in which the leaf came off.
        until = None if run.finished_at is None else run.finished_at + timedelta(microseconds=1)
        read = works.book.events_in_force(
            "reading", since=run.started_at, until=until, site=run.site
        )
        yield from (e for e in read if e.facts.get("run_id") == run.run_id)


def _papers(events: Iterable[Event], lots: set[str]) -> Iterable[Paper]:
    by_name: dict[tuple[str, str], Paper] = {}
    for event in events:
        mine = tuple(k for k in lots_touched(event) if k in lots)
        key = (event.document, event.kind)
        before = by_name.get(key)
        names = tuple(dict.fromkeys((*(before.lots if before else ()), *mine)))
        by_name[key] = Paper(event.document, event.kind, event.happened_at, names)
    return by_name.values()


def seal_cover(works: Works, made_by: str, events: Iterable[RecordedEvent]) -> SealCover:
    """How far the last seal covers a lot; its events as recorded, corrections too."""
    state = state_of(works)
    if not state.checkpoints:
        return SealCover("", 0, None, 0, 0, made=False)
    size = max(state.checkpoints)[0]
    events = list(events)
    under = [r for r in events if r.sequence <= size]
    return SealCover(
        key=signing_key(state),
        size=size,
        until=_recorded_at(works, size),
        covered=len(under),
        newer=len(events) - len(under),
        made=any(r.event.event_id == made_by for r in under),
    )


def _recorded_at(works: Works, sequence: int) -> datetime | None:
    try:
        return works.book.event_numbered(sequence).event.recorded_at
    except BadInput:
        return None  # the end of the book is missing; a receipt says so


def signing_key(state: SealState) -> str:
    """The public key that signed the last checkpoint, the newest when several did."""
    note = max(state.checkpoints)[1]
    for vkey in reversed(state.vkeys):
        try:
            seal.opened(note, [seal.verifier_of(vkey)])
        except BadInput:
            continue
        return vkey
    return state.vkeys[-1]


def can_exchange(works: Works) -> bool:
    """Whether it was told how lots are addressed, so that a document can be written."""
    try:
        naming_of(works)
    except BadInput:
        return False
    return True
