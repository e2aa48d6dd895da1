"""The genealogy of a book as arrays: kept in parts in the database, and whole in memory.

A part says what the lots of a run of events were made of when the part was cut; a later part that
names a lot again says it anew (a correction). The events after the last part are asked of the edge
table. So a cold trace reads a few large rows instead of a million small ones, and a book that moved
on is followed by what is new in it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from threading import Lock
from typing import Any

import numpy as np
import sqlalchemy as sa

from wareleaf.book import KINDS, SHAPES, Edge, Lineage, LineagePart
from wareleaf.store import queries, rows, schema
from wareleaf.store.troubles import readable

PART_EVENTS = 1024
"""A part is cut when this many events have come since the last one (measured: following so many
adds under 50 ms to a cold trace)."""

_MAKING = [k for k in KINDS if k not in SHAPES or SHAPES[k].outputs[1]]  # corrections among them
_corrected = schema.event.alias("corrected")


@dataclass(frozen=True)
class Kept:
    """A genealogy and the event that it is up to."""

    sequence: int
    hash: str
    lineage: Lineage


class Keeper:
    """Holds the genealogy of one book and brings it up to what a reader sees.

    Threads share it. Other processes write to the same book: the last event is asked each time.
    """

    def __init__(self, kept: Kept | None = None):
        self.kept = kept
        self._lock = Lock()

    def at(self, connection: sa.Connection) -> Lineage:
        """The genealogy as the transaction sees it.

        This must be the first question of the transaction: it then sees no older book than the
        one that another thread left here.
        """
        with self._lock:
            sequence, digest, _ = queries.head(connection)
            kept = self.kept
            if kept is None or not _is_before(connection, kept, sequence):
                kept = Kept(sequence, digest, load(connection))
            elif kept.sequence < sequence:
                new = _said_since(connection, kept.sequence)
                kept = Kept(sequence, digest, kept.lineage.replaced(new) if new.lots else
                            kept.lineage)  # fmt: skip
            self.kept = kept
            return kept.lineage


def _is_before(connection: sa.Connection, kept: Kept, sequence: int) -> bool:
    """Whether what is kept was true of this book: another one may lie in its place now."""
    if kept.sequence == 0 or kept.sequence > sequence:
        return kept.sequence == sequence
    table = schema.event.c
    query = sa.select(table.hash).where(table.sequence == kept.sequence)
    return bool(connection.execute(query).scalar() == kept.hash)


def load(connection: sa.Connection) -> Lineage:
    """The whole genealogy from the parts and what came after them."""
    parts, last = [], None
    for row in connection.execute(sa.select(schema.lineage).order_by(schema.lineage.c.sequence)):
        with readable("where leaf came from"):
            parts.append(_part_of(row))
        last = row.sequence
    if last is None:
        return Lineage([_whole(connection)])
    return Lineage([*parts, _said_since(connection, last)])


def cut_when_due(connection: sa.Connection, first: int, last: int) -> None:
    """Cut a part where a writer that wrote events from first to last filled one."""
    if (first - 1) // PART_EVENTS < last // PART_EVENTS:
        cut(connection)


def cut(connection: sa.Connection) -> None:
    """Write a part for all that has come since the last one; for a writer, after its flush."""
    last = connection.execute(sa.select(sa.func.max(schema.lineage.c.sequence))).scalar()
    part = _whole(connection) if last is None else _said_since(connection, last)
    row = {"sequence": queries.head(connection)[0], **_row_of(part)}
    connection.execute(sa.insert(schema.lineage), [row])


def _row_of(part: LineagePart) -> dict[str, Any]:
    return {
        "lots": json.dumps(part.lots, ensure_ascii=False),
        "made_by": json.dumps(part.made_by, ensure_ascii=False),
        "counts": part.counts.astype("<i4").tobytes(),
        "parents": part.parents.astype("<i4").tobytes(),
        "shares": part.shares.astype("<f8").tobytes(),
        "dry_g": part.dry_g.astype("<f8").tobytes(),
    }


def _part_of(row: Any) -> LineagePart:
    part = LineagePart(
        tuple(json.loads(row.lots)),
        tuple(json.loads(row.made_by)),
        np.frombuffer(row.counts, "<i4").astype(np.int32, copy=False),
        np.frombuffer(row.parents, "<i4").astype(np.int32, copy=False),
        np.frombuffer(row.shares, "<f8").astype(np.float64, copy=False),
        np.frombuffer(row.dry_g, "<f8").astype(np.float64, copy=False),
    )
    edges = len(part.parents)
    whole = len(part.made_by) == len(part.counts) and part.counts.min(initial=0) >= 0
    whole &= part.counts.sum() == edges == len(part.shares) == len(part.dry_g)
    if not whole or np.any((part.parents < 0) | (part.parents >= len(part.lots))):
        raise ValueError(f"part {row.sequence} does not fit together")
    return part


def _said_since(connection: sa.Connection, since: int) -> LineagePart:
    """What the lots that events after a sequence made, or made anew, are made of now."""
    table = schema.event.c
    joined = schema.event.outerjoin(_corrected, _corrected.c.event_id == table.corrects)
    query = sa.select(table.body, _corrected.c.body).select_from(joined)
    query = query.where(table.sequence > since, table.kind.in_(_MAKING)).order_by(table.sequence)
    events = (rows.event_of(body) for row in connection.execute(query) for body in row if body)
    made = dict.fromkeys(m.lot_id for event in events for m in event.outputs)
    return LineagePart.of_edges(_edges_into(connection, list(made)), gone=made)


_EDGES = sa.select(schema.edge).order_by(schema.edge.c.child, schema.edge.c.parent)


def _edges_into(connection: sa.Connection, children: list[str]) -> Iterable[Edge]:
    for a in range(0, len(children), 500):
        query = _EDGES.where(schema.edge.c.child.in_(children[a : a + 500]))
        yield from (_edge(row) for row in connection.execute(query))


def _whole(connection: sa.Connection) -> LineagePart:
    return LineagePart.of_edges(_edge(row) for row in connection.execute(_EDGES))


def _edge(row: Any) -> Edge:
    return Edge(**row._mapping)
