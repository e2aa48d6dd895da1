"""What the trace door reads from a book: the genealogy of a lot, its lots and its shipments."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from wareleaf import book, store
from wareleaf.book import Edge, Event, LotState, Trace
from wareleaf.measure.errors import BadInput
from wareleaf.works.house import SETTINGS_FILE, book_address
from wareleaf.works.settings import read_settings


@dataclass(frozen=True)
class Names:
    """Names of sources and customers by their id, from the settings of a works."""

    sources: Mapping[str, str] = field(default_factory=dict)
    customers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Traced:
    """A trace with the lots in it, and the shipments and returns that drew from them."""

    trace: Trace
    lots: Mapping[str, LotState]
    shipments: tuple[Event, ...]
    names: Names


def from_book(
    where: str, lot_id: str, *, back: bool, known_at: datetime | None, shipments: bool
) -> Traced:
    """Trace a lot in a works folder, a book file or a PostgreSQL book.

    Raises
    ------
    BadInput
        When there is no such book or lot.
    """
    address, names = _find(where)
    with store.open_book(address, create=False) as opened:
        if known_at is not None:
            return _as_known(opened, lot_id, back, known_at, names, shipments)
        trace = opened.trace_back(lot_id) if back else opened.trace_forward(lot_id)
        lots = {lot.lot_id: lot for lot in opened.lots(ids=[n.lot_id for n in trace.nodes])}
        sent: list[Event] = []
        if shipments:
            sent = [
                e
                for lot in lots.values()
                if lot.shipped_mass_g
                for e in opened.events_in_force(("ship", "receive_back"), lot_id=lot.lot_id)
            ]
    return Traced(trace, lots, _once(sent), names)


def _find(where: str) -> tuple[str, Names]:
    folder = Path(where)
    if "://" in where or not folder.is_dir():
        return where, Names()
    settings_file = folder / SETTINGS_FILE
    if not settings_file.exists():
        raise BadInput(
            "book", where, f"{where} holds no works; give a works folder, a book file or its URL."
        )
    settings = read_settings(settings_file)
    names = Names(
        {s.id: s.name for s in settings.source}, {c.id: c.name for c in settings.customer}
    )
    return book_address(folder), names


def _as_known(
    opened: store.BookStore,
    lot_id: str,
    back: bool,
    known_at: datetime,
    names: Names,
    shipments: bool,
) -> Traced:
    """The same from the events that had been recorded by then."""
    past = opened.as_known_at(known_at)
    lot = past.lots.get(lot_id)
    if lot is None:
        raise BadInput(
            "lot_id",
            lot_id,
            f"There was no lot {lot_id} in the book by {known_at:%Y-%m-%d %H:%M %Z}.",
        )
    edges: list[Edge] = [edge for e in past.events for edge in book.edges_of(e)]
    trace = (book.trace_back if back else book.trace_forward)(edges, lot_id, lot.dry_g)
    sent = past.of_kind("ship", "receive_back") if shipments else ()
    return Traced(trace, past.lots, _once(sent), names)


def _once(events: Iterable[Event]) -> tuple[Event, ...]:
    """Each shipment and return once, by when it happened."""
    by_id = {e.event_id: e for e in events}
    return tuple(sorted(by_id.values(), key=lambda e: (e.happened_at, e.event_id)))
