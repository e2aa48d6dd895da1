"""The book in a database: append events, ask for lots, trace, verify."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from wareleaf import book
from wareleaf.book import (
    Book,
    DayBalance,
    Event,
    Imbalance,
    Lineage,
    LotState,
    RunState,
    Shares,
    Trace,
    tree,
)
from wareleaf.book.seal import TILE, fold_tiles
from wareleaf.measure.errors import BadInput, require
from wareleaf.store import engine as engines
from wareleaf.store import last_seen, people, queries, rows, schema
from wareleaf.store.genealogy import Keeper, Kept
from wareleaf.store.people import Person
from wareleaf.store.queries import RecordedEvent
from wareleaf.store.verifying import VerifyReport, verify
from wareleaf.store.writing import Recorded, append_all


def open_book(url_or_path: str | Path, *, create: bool = True) -> BookStore:
    """Open a book, bringing its tables up to date.

    Parameters
    ----------
    url_or_path : str or Path
        ``works.db``, ``sqlite:///works.db`` or ``postgresql://user@host/name``.
    create : bool
        Make it when there is none.

    Raises
    ------
    BadInput
        When it cannot be opened.
    """
    return BookStore(engines.connect(url_or_path, create=create))


class BookStore:
    """A book that is open. Safe to share between threads; each call is its own transaction."""

    def __init__(
        self,
        engine: sa.Engine,
        draft_in: sa.Connection | None = None,
        kept: Kept | None = None,
    ):
        self.engine = engine
        self._at: sa.Engine | sa.Connection = engine if draft_in is None else draft_in
        self._keeper = Keeper(kept)  # a draft has its own: what it sees may never be recorded

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def __enter__(self) -> BookStore:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # writing

    def append(self, event: Event, *, now: datetime) -> Recorded:
        """Record one event; when this returns it is on disk.

        An empty ``event_id`` is filled. ``recorded_at`` is moved up to the last recorded time
        when it lies before it, so that the book's own time never runs backward.

        Raises
        ------
        BadInput
            When the event is refused; nothing is written.
        """
        return self.append_many([event], now=now)[0]

    def append_many(
        self,
        events: Iterable[Event],
        *,
        now: datetime,
        progress: Callable[[int], None] | None = None,
    ) -> list[Recorded]:
        """Record many events in order, all or nothing; ``progress`` is told how many are done."""
        _require_zone(now)
        with engines.writing(self._at) as connection:
            done = append_all(connection, events, now, progress)
        if done and self._at is self.engine:
            last_seen.note(self.engine, done[-1].sequence, done[-1].hash)
        return done

    @contextmanager
    def draft(self) -> Iterator[BookStore]:
        """The book inside one write transaction, for jobs that are all or nothing.

        What is recorded in the draft can be read in it at once. It is on disk when the block ends
        and gone when the block raises; nobody else writes meanwhile.
        """
        with engines.writing(self._at) as connection:
            yield BookStore(self.engine, connection, self._keeper.kept)
            sequence, digest, _ = queries.head(connection)
        if sequence and self._at is self.engine:
            last_seen.note(self.engine, sequence, digest)

    # events

    def events(
        self,
        kind: str | Iterable[str] | None = None,
        *,
        since: datetime | None = None,
        until: datetime | None = None,
        lot_id: str | None = None,
        site: str | None = None,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> list[RecordedEvent]:
        """Events as recorded, superseded ones and corrections too, in recorded order.

        ``since`` (from) and ``until`` (up to, not including) are by when it happened.
        """
        with engines.reading(self._at) as connection:
            return queries.events(
                connection,
                kind=kind,
                since=since,
                until=until,
                lot_id=lot_id,
                site=site,
                limit=limit,
                newest_first=newest_first,
            )

    def events_in_force(
        self,
        kind: str | Iterable[str] | None = None,
        *,
        since: datetime | None = None,
        until: datetime | None = None,
        lot_id: str | Iterable[str] | None = None,
        site: str | None = None,
    ) -> list[Event]:
        """Events with corrections in place (under the first event's id), in order of happening.

        ``lot_id`` takes one lot or several; an event of any of them is found, once.
        """
        with engines.reading(self._at) as connection:
            return queries.events_in_force(
                connection, kind=kind, since=since, until=until, lot_id=lot_id, site=site
            )

    def last_recorded(self) -> datetime | None:
        """When the last event was recorded, in UTC; none in an empty book."""
        with engines.reading(self._at) as connection:
            sequence, _, recorded_us = queries.head(connection)
        return rows.moment(recorded_us) if sequence else None

    def events_of_lots(self, lot_ids: Iterable[str]) -> list[RecordedEvent]:
        """Events that touch some lots, with their corrections, in recorded order."""
        with engines.reading(self._at) as connection:
            return queries.events_of_lots(connection, lot_ids)

    def events_saying(self, words: str, *, limit: int = 500) -> list[RecordedEvent]:
        """Events, as recorded, whose text holds some words; newest first.

        The text of every event is looked at, so ask here last.
        """
        with engines.reading(self._at) as connection:
            return queries.events_saying(connection, words, limit)

    def event(self, event_id: str) -> RecordedEvent:
        """One event as recorded.

        Raises
        ------
        BadInput
            When there is none.
        """
        with engines.reading(self._at) as connection:
            query = sa.select(schema.event.c.sequence).where(schema.event.c.event_id == event_id)
            sequence = connection.execute(query).scalar()
            if sequence is None:
                raise BadInput("event_id", event_id, f"There is no event {event_id}.")
            return queries.event_at(connection, sequence)

    def event_numbered(self, sequence: int) -> RecordedEvent:
        """The event at a place of the chain, from 1.

        Raises
        ------
        BadInput
            When the book has fewer.
        """
        with engines.reading(self._at) as connection:
            last = queries.head(connection)[0]
            if not 1 <= sequence <= last:
                raise BadInput("sequence", sequence, f"There is no event {sequence} of {last}.")
            return queries.event_at(connection, sequence)

    def event_in_force(self, event_id: str) -> Event:
        """One event as it now stands, its latest correction in its place.

        Parameters
        ----------
        event_id : str
            Of the event as first recorded, such as `LotState.made_by`.

        Raises
        ------
        BadInput
            When there is none, or it was taken out.
        """
        with engines.reading(self._at) as connection:
            found = queries.event_in_force(connection, event_id)
        if found is None:
            raise BadInput("event_id", event_id, f"There is no event {event_id} in force.")
        return found

    def last_hash(self, kinds: Iterable[str]) -> str:
        """Hash of the last recorded event of some kinds, corrections of any kind among them.

        It changes whenever something of these kinds is recorded, and the chain of hashes makes it
        stand for all that went before; empty when there is nothing.
        """
        with engines.reading(self._at) as connection:
            return queries.last_hash(connection, {*kinds, "correction"})

    # lots and runs

    def lots(
        self,
        site: str | None = None,
        *,
        form: str | Iterable[str] | None = None,
        status: str | Iterable[str] | None = None,
        place: str | None = None,
        ids: Iterable[str] | None = None,
        in_stock_only: bool = False,
        leaf: str | None = None,
        limit: int | None = None,
    ) -> list[LotState]:
        """Lots as they are now, oldest first; form and status take one or several."""
        with engines.reading(self._at) as connection:
            return queries.lots(
                connection,
                site=site,
                form=form,
                status=status,
                place=place,
                leaf=leaf,
                ids=ids,
                in_stock_only=in_stock_only,
                limit=limit,
            )

    def lot(self, lot_id: str) -> LotState:
        """One lot as it is now.

        Raises
        ------
        BadInput
            When there is none.
        """
        with engines.reading(self._at) as connection:
            return queries.lots_known(connection, [lot_id])[0]

    def runs(
        self,
        site: str | None = None,
        open_only: bool = False,
        ids: Iterable[str] | None = None,
    ) -> list[RunState]:
        """Stage runs by start."""
        with engines.reading(self._at) as connection:
            return queries.runs(connection, site=site, open_only=open_only, ids=ids)

    # genealogy

    @contextmanager
    def _genealogy(self) -> Iterator[tuple[sa.Connection, Lineage]]:
        with engines.reading(self._at) as connection:
            yield connection, self._keeper.at(connection)

    def trace_back(self, lot_id: str) -> Trace:
        """What a lot was made of, down to its sources."""
        with self._genealogy() as (connection, lineage):
            (lot,) = queries.lots_known(connection, [lot_id])
        return lineage.trace_back(lot_id, lot.dry_g)

    def trace_forward(self, lot_id: str) -> Trace:
        """What was made of a lot."""
        with self._genealogy() as (connection, lineage):
            (lot,) = queries.lots_known(connection, [lot_id])
        return lineage.trace_forward(lot_id, lot.dry_g)

    def lots_above(self, lot_id: str) -> list[str]:
        """Ids of all lots that a lot was made of."""
        with self._genealogy() as (_, lineage):
            return lineage.reached([lot_id], back=True)[1:]

    def lots_below(self, lot_id: str) -> list[str]:
        """Ids of all lots that were made of a lot."""
        with self._genealogy() as (_, lineage):
            return lineage.reached([lot_id], back=False)[1:]

    def shares(self, sources: Iterable[str], lots: Iterable[str] | None = None) -> Shares:
        """Part of the dry matter of some lots that came from each of some sources.

        Without ``lots``, of those made of the sources of which nothing was made further.

        Raises
        ------
        BadInput
            For a lot that the book does not have.
        """
        sources, lots = list(sources), None if lots is None else list(lots)
        with self._genealogy() as (connection, lineage):
            queries.lots_known(connection, [*sources, *(lots or ())])
        return book.shares(lineage, sources, lots)

    def share_together(self, sources: Iterable[str]) -> dict[str, float]:
        """Part of the dry matter of each lot that came from any of some lots, counted once.

        Raises
        ------
        BadInput
            For a lot that the book does not have.
        """
        sources = list(sources)
        with self._genealogy() as (connection, lineage):
            queries.lots_known(connection, sources)
        return book.share_together(lineage, sources)

    def held_above(self, lot_id: str) -> list[LotState]:
        """The lot and those it was made of that are on hold, used up or not.

        A hold does not reach lots that were made before it; ask here before such a lot leaves.
        """
        with self._genealogy() as (connection, lineage):
            found = queries.lots(connection, ids=lineage.reached([lot_id], back=True))
        return [lot for lot in found if lot.held_because]

    # balance

    def balance(self, start: datetime, end: datetime, site: str = "") -> DayBalance:
        """The balance from start up to end, of one site or of all."""
        events, lots = self._moved(start, end)
        return book.balance(events, lots, start, end, site)

    def unbalanced(
        self, start: datetime | None = None, end: datetime | None = None, site: str = ""
    ) -> list[Imbalance]:
        """Events that do not add up beyond their uncertainty, worst first."""
        events, lots = self._moved(start, end)
        return book.unbalanced([e for e in events if not site or e.site == site], lots)

    def _moved(
        self, start: datetime | None, end: datetime | None
    ) -> tuple[list[Event], dict[str, LotState]]:
        with engines.reading(self._at) as connection:
            events = queries.events_in_force(
                connection, kind=None, since=start, until=end, lot_id=None, site=None
            )
            ids = {i for e in events for i in book.lots_touched(e)}
            found = queries.lots(connection, ids=ids)
        return events, {lot.lot_id: lot for lot in found}

    # the past and the proof

    def as_known_at(self, recorded_until: datetime) -> Book:
        """The book as it was known then: all events recorded up to that time, folded."""
        _require_zone(recorded_until)
        with engines.reading(self._at) as connection:
            history = queries.read_events(connection, rows.microseconds(recorded_until))
        return book.fold(history)

    def verify(self) -> VerifyReport:
        """Check the hash chain and every derived table against a fresh fold."""
        with engines.reading(self._at) as connection:
            return verify(connection)

    def tree_leaves(self, size: int | None = None) -> list[bytes]:
        """RFC 6962 leaf hashes of the events in recorded order."""
        return self.leaf_hashes(0, size)

    def leaf_hashes(self, start: int, stop: int | None = None) -> list[bytes]:
        """Leaf hashes from one place up to another, from 0."""
        with engines.reading(self._at) as connection:
            return list(_leaves(connection, start, stop))

    def tree_tiles(self, start: int = 0) -> tuple[list[bytes], int]:
        """Roots of the whole tiles from that one on, and how many events the book has.

        The events are read in one walk and not kept in memory.
        """
        with engines.reading(self._at) as connection:
            tiles, _ = fold_tiles(_leaves(connection, start * TILE, None))
            return tiles, queries.head(connection)[0]

    def tree_root(self, size: int | None = None) -> tuple[int, str]:
        """Size and root (hex) of the event tree, now or when it had that many events."""
        leaves = self.tree_leaves(size)
        return len(leaves), tree.root(leaves).hex()

    # people, settings, ids

    def people(self, active_only: bool = True) -> list[Person]:
        """Everyone, by name."""
        query = sa.select(schema.person).order_by(schema.person.c.name)
        if active_only:
            query = query.where(schema.person.c.active == 1)
        with engines.reading(self._at) as connection:
            return [people.get_person(r) for r in connection.execute(query).mappings()]

    def person(self, person_id: str) -> Person:
        """One person.

        Raises
        ------
        BadInput
            When there is none.
        """
        for someone in self.people(active_only=False):
            if someone.person_id == person_id:
                return someone
        raise BadInput("who", person_id, f"There is no person {person_id} in the book.")

    def set_person(
        self, person_id: str, name: str, role: str, pin_hash: str = "", active: bool = True
    ) -> Person:
        """Add or change a person."""
        someone = Person(person_id, name, role, pin_hash, active)
        with engines.writing(self._at) as connection:
            people.put_person(connection, someone)
        return someone

    def settings_get(self, key: str, default: Any = None) -> Any:
        """A setting kept in the book, plain JSON."""
        with engines.reading(self._at) as connection:
            return people.get_setting(connection, key, default)

    def settings_put(self, key: str, value: Any) -> None:
        """Keep a setting."""
        with engines.writing(self._at) as connection:
            people.put_setting(connection, key, value)

    def next_id(self, prefix: str, day: date) -> str:
        """A new readable id, such as ``K6-1204-03``; never given twice in a book."""
        with engines.writing(self._at) as connection:
            return people.next_id(connection, prefix, day)

    def next_ids(self, prefix: str, days: Sequence[date]) -> list[str]:
        """Several new ids in one transaction, one for each day given."""
        with engines.writing(self._at) as connection:
            return [people.next_id(connection, prefix, day) for day in days]


def _leaves(connection: sa.Connection, start: int, stop: int | None) -> Iterator[bytes]:
    table = schema.event.c
    query = sa.select(table.body).where(table.sequence > start).order_by(table.sequence)
    if stop is not None:
        query = query.where(table.sequence <= stop)
    streamed = connection.execution_options(yield_per=TILE * 16).execute(query)
    return (tree.leaf_hash(body.encode()) for body in streamed.scalars())


def _require_zone(moment: datetime) -> None:
    require(
        moment.tzinfo is not None and moment.utcoffset() is not None,
        "now",
        moment.isoformat(),
        f"The time {moment.isoformat()} has no time zone; give the offset too.",
    )
