"""What a book says as it stands: events as recorded and in force, lots and runs as they are now."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Self

import sqlalchemy as sa

from wareleaf.book import Event, LotState, RunState
from wareleaf.measure.errors import BadInput
from wareleaf.store import engine as engines
from wareleaf.store import queries, rows, schema
from wareleaf.store.genealogy import Keeper, Kept
from wareleaf.store.queries import RecordedEvent


class Records:
    """The records of an open book. Each call is its own transaction."""

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

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

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
