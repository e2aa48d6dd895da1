"""Recording events: check, chain, insert and project, inside one write transaction."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, TypeVar

import sqlalchemy as sa

from wareleaf.book import (
    Event,
    LotState,
    RunState,
    as_original,
    canonical_json,
    check,
    check_form,
    check_standing,
    edges_of,
    in_force,
    lots_touched,
    step,
)
from wareleaf.book.chain import body_hash
from wareleaf.book.corrections import refuse_corrected
from wareleaf.book.pallet_rules import pallets_named
from wareleaf.measure.errors import BadInput, require
from wareleaf.store import genealogy, queries, refolding, rows, schema

T = TypeVar("T")
_AT_ONCE = 200  # events read for together


@dataclass(frozen=True, slots=True)
class Recorded:
    """The receipt for an event: it is in the book, on disk, at this place of the chain."""

    sequence: int
    hash: str
    event_id: str
    recorded_at: datetime


class Writer:
    """Takes events in order inside one transaction; `flush` writes what is pending."""

    def __init__(self, connection: sa.Connection, now: datetime):
        self._connection = connection
        self._now = now
        self._lots: dict[str, LotState] = {}
        self._absent: set[str] = set()
        self._runs: dict[str, RunState] = {}
        self._no_run: set[str] = set()
        self._dirty_lots: set[str] = set()
        self._dirty_runs: set[str] = set()
        self._ids: set[str] = set()  # taken in this transaction
        self._free_ids: set[str] = set()  # asked for and not in the table
        self._events: list[dict[str, Any]] = []
        self._touches: list[dict[str, Any]] = []
        self._edges: list[dict[str, Any]] = []
        self._sequence, self._hash, self._recorded_us = queries.head(connection)
        if self._sequence:  # a clock that was set back: the book's own time is the later one
            self._now = max(now, rows.moment(self._recorded_us))

    def take(self, event: Event) -> Recorded:
        """Check one event and let it stand for the next; nothing is written before `flush`."""
        event = self._stamp(event)
        check_form(event)
        self._refuse_known_id(event)
        self._load(lots_touched(event), event.facts.get("run_id"))
        self._load_pallets(event)
        check(event, self._lots, self._now, self._runs)
        if event.kind == "correction":
            return self._correct(event)
        receipt = self._record(event, (event.event_id, event.kind))
        changed = step(self._lots, self._runs, event)
        self._dirty_lots |= changed
        self._absent -= changed
        if event.kind in ("stage_started", "stage_finished"):
            self._dirty_runs.add(event.facts["run_id"])
        self._edges.extend(rows.edge_row(e) for e in edges_of(event))
        return receipt

    def flush(self) -> None:
        """Write everything that is pending."""
        run = self._connection.execute
        if self._events:
            run(sa.insert(schema.event), self._events)
            self._events = []
        lots = [rows.lot_row(self._lots[k]) for k in sorted(self._dirty_lots)]
        rows.upsert(self._connection, schema.lot, lots)
        if self._touches:
            run(sa.insert(schema.touch), self._touches)
            self._touches = []
        if self._edges:
            run(sa.insert(schema.edge), self._edges)
            self._edges = []
        runs = [rows.run_row(self._runs[k]) for k in sorted(self._dirty_runs)]
        rows.upsert(self._connection, schema.run, runs)
        self._dirty_lots, self._dirty_runs = set(), set()

    def _stamp(self, event: Event) -> Event:
        """Fill an empty id; recorded times never run backward, even when a clock was set back."""
        if not event.event_id:
            event = replace(event, event_id=f"E{self._sequence + 1:06d}")
        if event.recorded_at.tzinfo is None or event.happened_at.tzinfo is None:
            return event  # the check refuses it, as it does the next
        if event.recorded_at < event.happened_at:
            return event
        if rows.microseconds(event.recorded_at) < self._recorded_us:
            last = rows.moment(self._recorded_us).astimezone(event.recorded_at.tzinfo)
            event = replace(event, recorded_at=last)
        return event

    def prepare(self, events: Sequence[Event]) -> None:
        """Read what many events will need, in few questions instead of two an event."""
        events = [e for e in events if _has_form(e)]  # `take` refuses the others
        ids = [e.event_id for e in events if e.event_id not in self._free_ids]
        table = schema.event.c
        for part in rows.in_parts(ids):
            known = self._connection.execute(
                sa.select(table.event_id).where(table.event_id.in_(part))
            )
            self._free_ids.update(set(part).difference(known.scalars()))
        self._load_lots([i for e in events for i in lots_touched(e)])

    def _refuse_known_id(self, event: Event) -> None:
        known = event.event_id in self._ids
        if not known and event.event_id not in self._free_ids:
            table = schema.event.c
            query = sa.select(table.sequence).where(table.event_id == event.event_id)
            known = self._connection.execute(query).first() is not None
        require(
            not known,
            "event_id",
            event.event_id,
            f"The event id {event.event_id} is already used; choose a new one.",
        )
        self._ids.add(event.event_id)

    def _load(self, lot_ids: Iterable[str], run_id: Any) -> None:
        """Read the lots and the run of an event, and what lots its run holds, once."""
        self._load_lots(lot_ids)
        if not isinstance(run_id, str) or run_id in self._runs or run_id in self._no_run:
            return
        found = self._connection.execute(
            sa.select(schema.run).where(schema.run.c.run_id == run_id)
        ).first()
        if found is None:
            self._no_run.add(run_id)
            return
        run = self._runs[run_id] = rows.run_of(found._mapping)
        self._load_lots(run.lots)

    def _load_lots(self, lot_ids: Iterable[str]) -> None:
        unseen = (i for i in lot_ids if i not in self._lots and i not in self._absent)
        for part in rows.in_parts(list(dict.fromkeys(unseen))):
            query = sa.select(schema.lot).where(schema.lot.c.lot_id.in_(part))
            for row in self._connection.execute(query):
                self._lots[row.lot_id] = rows.lot_of(row._mapping)
            self._absent.update(i for i in part if i not in self._lots)

    def _load_pallets(self, event: Event) -> None:
        """Read what stands on the pallets of a shipment."""
        table = schema.lot.c
        for sscc in pallets_named(event):
            query = sa.select(table.lot_id).where(
                table.form == "packed", table.in_stock == 1, table.pallets.contains(sscc)
            )
            self._load_lots(self._connection.execute(query).scalars().all())

    def _record(
        self, event: Event, root: tuple[str, str], in_place: Event | None = None
    ) -> Recorded:
        """Let an event stand; a correction also touches what it puts in place."""
        body = canonical_json(event)
        digest = body_hash(self._hash, body)
        self._sequence += 1
        row = rows.event_row(event, body.decode(), self._sequence, (self._hash, digest), root)
        self._events.append(row)
        self._touches.extend(rows.touch_rows(event, in_place, self._sequence))
        self._hash, self._recorded_us = digest, row["recorded_us"]
        return Recorded(self._sequence, digest, event.event_id, event.recorded_at)

    def _correct(self, event: Event) -> Recorded:
        """Put a correction in place and derive again what it changes."""
        self.flush()
        place, before, kind = self._what_it_corrects(event)
        if place.after is not None:
            self._load(lots_touched(place.after), None)
            if _asks_for_more(place.after, before):
                check_standing(place.after, self._lots)
        found = refolding.refold(self._connection, place)
        receipt = self._record(event, (place.root_id, kind), place.after)
        self.flush()
        if found is None:
            book = refolding.fold_whole(self._connection)
            self._lots, self._absent = dict(book.lots), set()
            self._runs, self._no_run = dict(book.runs), set()
            return receipt
        refolding.write(self._connection, place, found)
        for lot_id, lot in found.lots.items():
            _put(self._lots, self._absent, lot_id, lot)
        for run_id, run in found.runs.items():
            _put(self._runs, self._no_run, run_id, run)
        return receipt

    def _what_it_corrects(self, event: Event) -> tuple[refolding.Place, Event, str]:
        """Where the correction goes, the event that it names as recorded, and the kind there."""
        table = schema.event.c
        row = self._connection.execute(sa.select(schema.event).where(
            table.event_id == event.corrects)).first()  # fmt: skip
        if row is None:
            raise BadInput(
                "corrects",
                event.corrects,
                f"There is no event {event.corrects} to correct; name one that the book has.",
            )
        newer = self._connection.execute(
            sa.select(table.event_id).where(table.corrects == event.corrects)
        ).scalar()
        refuse_corrected(event.corrects, newer)
        named = replace(rows.event_of(row.body), event_id=row.root_id, kind=row.root_kind)
        sequence = self._connection.execute(
            sa.select(table.sequence).where(table.event_id == row.root_id)
        ).scalar_one()
        stood = as_original(named, row.root_id, row.root_kind) if row.corrects else named
        before = None if row.void else stood
        void = event.facts.get("void", False)
        after = None if void else in_force(event, named)
        return (
            refolding.Place(row.root_id, sequence, before, after),
            named,
            row.root_kind,
        )


def _put(there: dict[str, T], absent: set[str], key: str, value: T | None) -> None:
    """Keep what is known of a lot or run: it, or that there is none."""
    there.pop(key, None)
    absent.discard(key)
    if value is None:
        absent.add(key)
    else:
        there[key] = value


def _asks_for_more(replacement: Event, before: Event) -> bool:
    """Whether a corrected shipment, pack or blend uses a lot or market that it did not before."""
    lots = {d.lot_id for d in replacement.inputs} - {d.lot_id for d in before.inputs}
    return bool(lots) or replacement.facts.get("market") != before.facts.get("market")


def append_all(
    connection: sa.Connection,
    events: Iterable[Event],
    now: datetime,
    progress: Callable[[int], None] | None = None,
) -> list[Recorded]:
    """Record events in order in the transaction of the connection.

    Raises
    ------
    BadInput
        At the first event that does not fit; the caller's transaction then writes nothing.
    """
    writer = Writer(connection, now)
    done: list[Recorded] = []
    for part in rows.in_parts(list(events), _AT_ONCE):
        if len(part) > 1:
            writer.prepare(part)
        done.extend(writer.take(event) for event in part)
        if progress is not None:
            progress(len(done))
    writer.flush()
    if done:
        genealogy.cut_when_due(connection, done[0].sequence, done[-1].sequence)
    return done


def _has_form(event: Event) -> bool:
    try:
        check_form(event)
    except BadInput:
        return False
    return True
