"""What follows from the records: where leaf came from, whether it adds up, whether it is whole."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime

import sqlalchemy as sa

from wareleaf import book
from wareleaf.book import (
    Book,
    DayBalance,
    Event,
    Imbalance,
    Lineage,
    LotState,
    Shares,
    Trace,
    tree,
)
from wareleaf.book.seal import TILE, fold_tiles
from wareleaf.store import engine as engines
from wareleaf.store import queries, rows, schema
from wareleaf.store.records import Records
from wareleaf.store.verifying import VerifyReport, verify


class Answers(Records):
    """The records of an open book, and what can be worked out from them."""

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
        rows.require_zone(recorded_until)
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


def _leaves(connection: sa.Connection, start: int, stop: int | None) -> Iterator[bytes]:
    table = schema.event.c
    query = sa.select(table.body).where(table.sequence > start).order_by(table.sequence)
    if stop is not None:
        query = query.where(table.sequence <= stop)
    streamed = connection.execution_options(yield_per=TILE * 16).execute(query)
    return (tree.leaf_hash(body.encode()) for body in streamed.scalars())
