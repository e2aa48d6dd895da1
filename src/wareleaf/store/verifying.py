"""Does the book still say what was recorded? The chain event by event, then every derived table."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from wareleaf.book import GENESIS, Edge, Event, canonical, edges_of, event_from_json, fold
from wareleaf.book.chain import body_hash
from wareleaf.measure.errors import BadInput
from wareleaf.store import rows, schema


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
    """Check the whole book in one read transaction."""
    history: list[Event] = []
    before, expected = GENESIS, 1
    count = connection.execute(sa.select(sa.func.count()).select_from(schema.lot)).scalar_one()
    for row in connection.execute(sa.select(schema.event).order_by(schema.event.c.sequence)):
        wrong = _fault(dict(row._mapping), before, expected, history)
        if wrong:
            return VerifyReport(False, expected, wrong, len(history), count, False, before)
        before, expected = row.hash, expected + 1
    different = _projections_differ(connection, history)
    message = different or f"The chain of {len(history)} events is whole and the lots agree."
    return VerifyReport(not different, None, message, len(history), count, not different, before)


def _fault(row: dict[str, Any], before: str, expected: int, history: list[Event]) -> str:
    """What is wrong with one event row, or nothing; a good one joins the history."""
    if row["sequence"] != expected:
        return f"Event {expected} is missing; the next one is {row['sequence']}."
    if row["prev_hash"] != before:
        return f"Event {expected} ({row['event_id']}) does not follow the event before it."
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
    return ""


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
