"""Questions to the tables; each returns frozen dataclasses."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from wareleaf.book import GENESIS, Event, LotState, RunState, as_original
from wareleaf.measure.errors import BadInput
from wareleaf.store import rows, schema

_correction = schema.event.alias("correction")


@dataclass(frozen=True, slots=True)
class RecordedEvent:
    """An event as recorded, with its place in the chain and what supersedes it, if anything."""

    event: Event
    sequence: int
    hash: str
    superseded_by: str = ""


def _recorded_events() -> Any:
    table = schema.event.c
    joined = schema.event.outerjoin(_correction, _correction.c.corrects == table.event_id)
    superseded_by = _correction.c.event_id.label("superseded_by")
    return sa.select(table.sequence, table.hash, table.body, superseded_by).select_from(joined)


def head(connection: sa.Connection) -> tuple[int, str, int]:
    """Sequence, hash and recorded microsecond of the last event; those of nothing before it."""
    table = schema.event.c
    row = connection.execute(
        sa.select(table.sequence, table.hash, table.recorded_us)
        .order_by(table.sequence.desc())
        .limit(1)
    ).first()
    return (row.sequence, row.hash, row.recorded_us) if row else (0, GENESIS, -(2**62))


def read_events(connection: sa.Connection, until_us: int | None = None) -> list[Event]:
    """All events in recorded order, up to a recorded time when given."""
    query = sa.select(schema.event.c.body).order_by(schema.event.c.sequence)
    if until_us is not None:
        query = query.where(schema.event.c.recorded_us <= until_us)
    return [rows.event_of(body) for body in connection.execute(query).scalars()]


def events(
    connection: sa.Connection,
    *,
    kind: str | Iterable[str] | None,
    since: datetime | None,
    until: datetime | None,
    lot_id: str | None,
    site: str | None,
    limit: int | None,
    newest_first: bool,
) -> list[RecordedEvent]:
    table = schema.event.c
    query = _recorded_events()
    if kind is not None:
        kinds = [kind] if isinstance(kind, str) else list(kind)
        query = query.where(table.kind.in_(kinds))
    query = _in_time(query, since, until)
    if site is not None:
        query = query.where(table.site == site)
    if lot_id is not None:
        touched = sa.select(schema.touch.c.sequence).where(schema.touch.c.lot_id == lot_id)
        query = query.where(table.sequence.in_(touched))
    query = query.order_by(table.sequence.desc() if newest_first else table.sequence)
    if limit is not None:
        query = query.limit(limit)
    return [_recorded(r) for r in connection.execute(query)]


def events_of_lots(connection: sa.Connection, lot_ids: Iterable[str]) -> list[RecordedEvent]:
    """Events that touch some lots, with all that they correct or that corrects them."""
    table, touch = schema.event.c, schema.touch.c
    roots: set[str] = set()
    for part in rows.in_parts(sorted(set(lot_ids))):
        query = sa.select(table.root_id).join(schema.touch, touch.sequence == table.sequence)
        roots.update(connection.execute(query.where(touch.lot_id.in_(part))).scalars())
    found: list[RecordedEvent] = []
    for part in rows.in_parts(sorted(roots)):
        query = _recorded_events().where(table.root_id.in_(part))
        found.extend(_recorded(r) for r in connection.execute(query))
    return sorted(found, key=lambda r: r.sequence)


def events_saying(connection: sa.Connection, words: str, limit: int) -> list[RecordedEvent]:
    """Events whose stored text holds some words, upper or lower case, newest first."""
    table = schema.event.c
    stored = json.dumps(words, ensure_ascii=False)[1:-1]
    holds = sa.or_(
        table.body.contains(stored, autoescape=True),
        sa.func.lower(table.body).contains(stored.lower(), autoescape=True),
    )
    query = _recorded_events().where(holds).order_by(table.sequence.desc()).limit(limit)
    return [_recorded(r) for r in connection.execute(query)]


def event_at(connection: sa.Connection, sequence: int) -> RecordedEvent:
    return _recorded(
        connection.execute(_recorded_events().where(schema.event.c.sequence == sequence)).one()
    )


def _recorded(row: Any) -> RecordedEvent:
    event = rows.event_of(row.body)
    return RecordedEvent(event, row.sequence, row.hash, row.superseded_by or "")


def events_in_force(
    connection: sa.Connection,
    *,
    kind: str | Iterable[str] | None,
    since: datetime | None,
    until: datetime | None,
    lot_id: str | Iterable[str] | None,
    site: str | None,
) -> list[Event]:
    """Events with their corrections in place, by when they happened, then as recorded."""
    table = schema.event.c
    query = _in_force()
    if kind is not None:
        kinds = [kind] if isinstance(kind, str) else list(kind)
        query = query.where(table.root_kind.in_(kinds))
    query = _in_time(query, since, until)
    if site is not None:
        query = query.where(table.site == site)
    found: dict[int, Any] = {}
    for part in _touching(query, lot_id):
        found.update({r.sequence: r for r in connection.execute(part)})
    in_order = sorted(found.values(), key=lambda r: (r.happened_us, r.sequence))
    return [_as_in_force(r) for r in in_order]


def _touching(query: Any, lot_id: str | Iterable[str] | None) -> Iterator[Any]:
    """The query for the events of any of some lots, in parts that a database takes."""
    if lot_id is None:
        yield query
        return
    ids = [lot_id] if isinstance(lot_id, str) else list(dict.fromkeys(lot_id))
    touch = schema.touch.c
    for few in rows.in_parts(ids):
        touched = sa.select(touch.sequence).where(touch.lot_id.in_(few))
        yield query.where(schema.event.c.sequence.in_(touched))


def event_in_force(connection: sa.Connection, event_id: str) -> Event | None:
    """One event with its correction in place; None when it was taken out, or there is none."""
    query = _in_force().where(schema.event.c.root_id == event_id)
    row = connection.execute(query).first()
    return None if row is None else _as_in_force(row)


def last_hash(connection: sa.Connection, kinds: Iterable[str]) -> str:
    """Hash of the last event of some kinds; the index by kind answers each at once."""
    table = schema.event.c
    lasts = [
        sa.select(sa.func.max(table.sequence).label("last")).where(table.kind == kind)
        for kind in sorted(kinds)
    ]
    last = connection.execute(sa.select(sa.func.max(sa.union_all(*lasts).subquery().c.last)))
    found = connection.execute(sa.select(table.hash).where(table.sequence == last.scalar()))
    return found.scalar() or ""


def _in_force() -> Any:
    table = schema.event.c
    newer = sa.select(sa.literal(1)).where(_correction.c.corrects == table.event_id)
    query = sa.select(
        table.sequence, table.happened_us, table.root_id, table.root_kind, table.kind, table.body
    )
    return query.where(~newer.exists(), table.void == 0)


def _as_in_force(row: Any) -> Event:
    event = rows.event_of(row.body)
    return as_original(event, row.root_id, row.root_kind) if row.kind == "correction" else event


def _in_time(query: Any, since: datetime | None, until: datetime | None) -> Any:
    if since is not None:
        query = query.where(schema.event.c.happened_us >= rows.microseconds(since))
    if until is not None:
        query = query.where(schema.event.c.happened_us < rows.microseconds(until))
    return query


def lots(
    connection: sa.Connection,
    *,
    site: str | None = None,
    form: str | Iterable[str] | None = None,
    status: str | Iterable[str] | None = None,
    place: str | None = None,
    leaf: str | None = None,
    ids: Iterable[str] | None = None,
    in_stock_only: bool = False,
    limit: int | None = None,
) -> list[LotState]:
    table = schema.lot.c
    query = sa.select(schema.lot).order_by(table.made_us, table.lot_id)
    for column, value in (
        (table.site, site),
        (table.form, form),
        (table.status, status),
        (table.place, place),
        (table.leaf, leaf),
    ):
        if value is not None:
            values = [value] if isinstance(value, str) else list(value)
            query = query.where(column.in_(values))
    if in_stock_only:
        query = query.where(table.in_stock == 1)
    if limit is not None:
        query = query.limit(limit)
    if ids is None:
        return [rows.lot_of(r._mapping) for r in connection.execute(query)]
    wanted = list(dict.fromkeys(ids))
    found: list[LotState] = []
    for few in rows.in_parts(wanted):
        part = query.where(table.lot_id.in_(few))
        found.extend(rows.lot_of(r._mapping) for r in connection.execute(part))
    return sorted(found, key=lambda k: (k.made_at, k.lot_id))


def lots_known(connection: sa.Connection, ids: Iterable[str]) -> list[LotState]:
    """Lots by id; refuses the first one that the book does not have."""
    wanted = list(dict.fromkeys(ids))
    found = lots(connection, ids=wanted)
    if len(found) < len(wanted):
        have = {lot.lot_id for lot in found}
        lot_id = next(i for i in wanted if i not in have)
        raise BadInput("lot_id", lot_id, f"There is no lot {lot_id} in the book.")
    return found


def runs(
    connection: sa.Connection, *, site: str | None, open_only: bool, ids: Iterable[str] | None
) -> list[RunState]:
    table = schema.run.c
    query = sa.select(schema.run).order_by(table.started_at, table.run_id)
    if site is not None:
        query = query.where(table.site == site)
    if open_only:
        query = query.where(table.finished_at.is_(None))
    if ids is not None:
        query = query.where(table.run_id.in_(list(ids)))
    return [rows.run_of(r._mapping) for r in connection.execute(query)]
