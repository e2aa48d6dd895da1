"""Does the book still say what was recorded? The chain event by event, then every derived table."""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import islice
from typing import Any

import sqlalchemy as sa

from wareleaf.book import (
    GENESIS,
    Edge,
    Event,
    as_original,
    canonical,
    edges_of,
    event_from_json,
    fold,
    lots_touched,
)
from wareleaf.book.chain import body_hash
from wareleaf.measure.errors import BadInput
from wareleaf.store import genealogy, index_check, last_seen, rows, schema
from wareleaf.store.troubles import HOW_TO_REPAIR, BookUnavailable, reason


@dataclass(frozen=True, slots=True)
class VerifyReport:
    """What a check of the whole book found.

    Parameters
    ----------
    ok : bool
        Chain whole and derived tables equal to a fresh fold.
    first_bad_sequence : int or None
        The first event that is not as recorded.
    message : str
        One sentence.
    events, lots : int
        How many there are.
    lots_match : bool
        Lots, genealogy and runs equal a fresh fold of the events.
    head_hash : str
        Hash of the last event; keep it elsewhere to notice a shortened book.
    """

    ok: bool
    first_bad_sequence: int | None
    message: str
    events: int
    lots: int
    lots_match: bool
    head_hash: str


def verify(connection: sa.Connection) -> VerifyReport:
    """Check the whole book in one read transaction: the events, the file under them, the tables.

    A damaged file is reported like a changed event, never raised.
    """
    history: list[Event] = []
    before, wrong = _walk(connection, history)
    bad = len(history) + 1 if wrong else None
    wrong = " ".join(filter(None, (wrong, damage_of(connection)))) or last_seen.missing(connection)
    count = 0
    if not wrong:
        try:
            count = _count(connection)
            wrong = _projections_differ(connection, history)
        except (sa.exc.DBAPIError, BookUnavailable) as error:
            wrong = f"A table of lots, genealogy or runs cannot be read: {_why(error)}."
    message = wrong or f"The chain of {len(history)} events is whole and the lots agree."
    return VerifyReport(not wrong, bad, message, len(history), count, not wrong, before)


def _count(connection: sa.Connection) -> int:
    return connection.execute(sa.select(sa.func.count()).select_from(schema.lot)).scalar_one()


def _walk(connection: sa.Connection, history: list[Event]) -> tuple[str, str]:
    """Go along the chain; the hash of the last good event, and what is wrong with the next."""
    before = GENESIS
    try:
        for row in connection.execute(sa.select(schema.event).order_by(schema.event.c.sequence)):
            wrong = _fault(dict(row._mapping), before, len(history) + 1, history)
            if wrong:
                return before, wrong
            before = row.hash
    except (sa.exc.DBAPIError, BookUnavailable) as error:
        return before, f"Event {len(history) + 1} cannot be read: {_why(error)}."
    return before, ""


def _why(error: Exception) -> str:
    return reason(error.orig) if isinstance(error, sa.exc.DBAPIError) else str(error)


def damage_of(connection: sa.Connection) -> str:
    """What is wrong with the file, its pages and indexes against tables; empty when sound.

    A PostgreSQL server checks its own pages when it reads them (with checksums switched on); its
    indexes are compared here.
    """
    if connection.dialect.name != "sqlite":
        try:
            return " ".join(islice(index_check.index_troubles(connection), 3))
        except sa.exc.DBAPIError as error:
            return f"The indexes of the book cannot be checked: {reason(error.orig)}."
    try:
        found = list(connection.exec_driver_sql("PRAGMA integrity_check(20)").scalars())
        found += [
            f"a row of table {row[0]} points to table {row[2]}, where there is none"
            for row in connection.exec_driver_sql("PRAGMA foreign_key_check").fetchmany(20)
        ]
    except sa.exc.DBAPIError as error:
        return f"The book cannot be checked: {reason(error.orig)}."
    lines = [line for text in found for line in str(text).splitlines()]
    lines = [line for line in lines if line != "ok" and not line.startswith("*** in database")]
    if not lines:
        return ""
    more = f"; and {len(lines) - 3} more" if len(lines) > 3 else ""
    return f"The file of the book is damaged ({'; '.join(lines[:3])}{more}). {HOW_TO_REPAIR}."


def _fault(row: dict[str, Any], before: str, expected: int, history: list[Event]) -> str:
    """What is wrong with one event row, or nothing; a good one joins the history."""
    if row["sequence"] != expected:
        return f"Event {expected} is missing; the next one is {row['sequence']}."
    if row["prev_hash"] != before:
        return f"Event {expected} ({row['event_id']}) does not follow the event before it."
    if not all(isinstance(row[name], str) for name in ("body", "event_id", "hash")):
        return f"Event {expected} cannot be read: its row holds no text where text belongs."
    body = row["body"].encode()
    if body_hash(before, body) != row["hash"]:
        return f"Event {expected} ({row['event_id']}) was changed after it was recorded."
    try:
        data = json.loads(row["body"])
        event = event_from_json(data)
    except (ValueError, KeyError, TypeError) as error:
        return f"Event {expected} ({row['event_id']}) cannot be read: {error}."
    root = (row["root_id"], row["root_kind"])
    own = event.kind != "correction"
    right = rows.event_row(event, row["body"], expected, (before, row["hash"]), root)
    if row != right or canonical(data) != body or (own and root != (event.event_id, event.kind)):
        return (
            f"The index of event {expected} ({row['event_id']}) does not say what the event says."
        )
    history.append(event)
    return ""


def _projections_differ(connection: sa.Connection, history: list[Event]) -> str:
    edges: list[Edge] = []
    try:
        book = fold(history, lambda e, _changed: edges.extend(edges_of(e)))
    except BadInput as error:
        return f"The events do not fit together: {error}"
    for table, fresh in (
        (schema.lot, [rows.lot_row(v) for v in book.lots.values()]),
        (schema.edge, [rows.edge_row(e) for e in edges]),
        (schema.run, [rows.run_row(r) for r in book.runs.values()]),
    ):
        name = _first_difference(connection, table, fresh)
        if name:
            return f"The table of {table.name}s does not say what the events say: see {name}."
    return _touches_differ(connection, history) or _lineage_differs(connection, edges)


def _touches_differ(connection: sa.Connection, history: list[Event]) -> str:
    """Where the table of which event stands in which lot's history is wrong, or nothing.

    A correction may also stand in the history of what it puts in place; books from before that
    was written lack it.
    """
    needed: set[tuple[str, int]] = set()
    allowed: set[tuple[str, int]] = set()
    root: dict[str, tuple[str, str]] = {}
    for sequence, event in enumerate(history, 1):
        own = root[event.event_id] = root.get(event.corrects, (event.event_id, event.kind))
        needed.update((lot_id, sequence) for lot_id in lots_touched(event))
        if event.kind == "correction" and not event.facts.get("void", False):
            placed = as_original(event, *own)
            allowed.update((lot_id, sequence) for lot_id in lots_touched(placed))
    stored = {
        tuple(row) for row in connection.execute(sa.select(*schema.touch.primary_key.columns))
    }
    wrong = (needed - stored) | (stored - needed - allowed)
    if not wrong:
        return ""
    lot_id, sequence = min(wrong, key=lambda x: (x[1], x[0]))
    return (
        "The table of which entries touch which lot does not say what the events say: see "
        f"event {sequence} and {lot_id}."
    )


def _lineage_differs(connection: sa.Connection, fresh: list[Edge]) -> str:
    """What the kept arrays of the genealogy say otherwise than the edges, or nothing."""
    kept = {e[:-2] for e in genealogy.load(connection).edges()}
    different = kept.symmetric_difference({e[:-2] for e in fresh})
    if not different:
        return ""
    parent, child, *_ = min(different)
    return f"The parts of the genealogy do not say what the events say: see {child} from {parent}."


def _first_difference(
    connection: sa.Connection, table: sa.Table, fresh: list[dict[str, Any]]
) -> str:
    keys = [c.name for c in table.primary_key.columns]
    new = {tuple(r[k] for k in keys): r for r in fresh}
    seen = 0
    for row in connection.execute(sa.select(table)):
        data = dict(row._mapping)
        key = tuple(data[k] for k in keys)
        if new.get(key) != data:
            return " from ".join(map(str, key))
        seen += 1
    if seen == len(new):
        return ""
    stored = {tuple(r) for r in connection.execute(sa.select(*table.primary_key.columns))}
    return " from ".join(map(str, next(k for k in new if k not in stored)))
