"""What lies near some lots in the tables: their events in force, their neighbours, their runs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from wareleaf.book import Event, LotState, RunState, as_original, lots_named
from wareleaf.book.folding import inherited
from wareleaf.book.pallet_rules import PALLET_KINDS, pallets_named
from wareleaf.book.refolding import (
    Around,
    History,
    Standing,
    after_standing_events,
    standing_of,
)
from wareleaf.store import queries, rows, schema

STANDING_KINDS = ("hold", "release")
LISTING = ("stage_started", "cooling", "aggregate", "disaggregate")
"""Kinds that name lots in their facts, so that a correction of one can drop a lot."""
RUN_KINDS = ("stage_started", "stage_finished", "reading")
_DEPTH = 100  # how many makings back a standing is followed

_root = schema.event.alias("root")
_newer = schema.event.alias("newer")


class TooFar(Exception):
    """The neighbourhood does not say; fold the whole book."""


class Near:
    """Reads on demand inside one transaction, before anything is written in it."""

    def __init__(self, connection: sa.Connection):
        self._connection = connection
        self.history: dict[str, tuple[int, Event]] = {}
        self._lots: dict[str, LotState] = {}
        self._runs: dict[str, RunState] = {}
        self._standing: dict[str, list[tuple[int, Event]]] = {}
        self._as_made: dict[str, Standing] = {}
        self._pallets: set[str] = set()

    # events

    def take_lots(self, lot_ids: Iterable[str]) -> None:
        """Add all events in force that touch some lots or free them from a run."""
        wanted = set(lot_ids)
        found = dict(self._touching(sorted(wanted)))
        for root_id, (sequence, event) in self._in_force(  # touched by their first form only
            schema.event.c.root_kind.in_(LISTING), schema.event.c.kind == "correction"
        ):
            if wanted.intersection(lots_named(event)):
                found[root_id] = (sequence, event)
        self.history |= found
        started = {e.facts["run_id"] for _, e in found.values() if e.kind == "stage_started"}
        ends = [r.finished_by for r in self.runs(started) if r.finished_by]
        self.take_roots(k for k in ends if k not in self.history)

    def take_roots(self, root_ids: Iterable[str]) -> None:
        """Add events by the id of the event first recorded."""
        for some in rows.in_parts(list(root_ids)):
            self.history |= dict(self._in_force(schema.event.c.root_id.in_(some)))

    def take_runs(self, run_ids: Iterable[str]) -> None:
        """Add all events in force that name some runs."""
        body = schema.event.c.body
        for run_id in run_ids:
            text = json.dumps(run_id, ensure_ascii=False)
            found = self._in_force(
                schema.event.c.root_kind.in_(RUN_KINDS), body.contains(text, autoescape=True)
            )
            self.history |= {k: x for k, x in found if x[1].facts.get("run_id") == run_id}

    def take_pallets(self, pallets: Iterable[str]) -> set[str]:
        """Add all events in force that name some pallets; the lots that ever stood on them."""
        table = schema.event.c
        lots: set[str] = set()
        for sscc in sorted(set(pallets) - self._pallets):
            self._pallets.add(sscc)
            named = table.body.contains(sscc)
            corrected = (table.kind == "correction") & table.root_kind.in_(PALLET_KINDS)
            for condition in (table.kind.in_(PALLET_KINDS), corrected):
                for root_id, (sequence, event) in self._in_force(condition, named):
                    if sscc in pallets_named(event):
                        self.history[root_id] = (sequence, event)
                        lots.update(lots_named(event) if event.kind != "ship" else ())
        return lots

    def _touching(
        self, lot_ids: Sequence[str], *conditions: Any
    ) -> Iterator[tuple[str, tuple[int, Event]]]:
        touch = schema.touch.c
        for some in rows.in_parts(lot_ids):
            touched = sa.select(touch.sequence).where(touch.lot_id.in_(some))
            yield from self._in_force(schema.event.c.sequence.in_(touched), *conditions)

    def _in_force(self, *conditions: Any) -> Iterator[tuple[str, tuple[int, Event]]]:
        table = schema.event.c
        newer = sa.select(sa.literal(1)).where(_newer.c.corrects == table.event_id)
        query = (
            sa.select(table.body, table.kind, table.root_id, table.root_kind, _root.c.sequence)
            .join(_root, _root.c.event_id == table.root_id)
            .where(table.void == 0, ~newer.exists(), *conditions)
        )
        for row in self._connection.execute(query):
            event = rows.event_of(row.body)
            if row.kind == "correction":
                event = as_original(event, row.root_id, row.root_kind)
            yield row.root_id, (row.sequence, event)

    # lots and runs

    def lots(self, lot_ids: Iterable[str]) -> dict[str, LotState]:
        """Lots by id as they are; those that there are."""
        wanted = list(dict.fromkeys(lot_ids))
        unread = [k for k in wanted if k not in self._lots]
        self._lots |= {x.lot_id: x for x in queries.lots(self._connection, ids=unread)}
        return {k: self._lots[k] for k in wanted if k in self._lots}

    def runs(self, run_ids: Iterable[str]) -> list[RunState]:
        """Runs by id as they are; those that there are."""
        wanted = sorted(run_ids)
        for some in rows.in_parts([k for k in wanted if k not in self._runs]):
            query = sa.select(schema.run).where(schema.run.c.run_id.in_(some))
            for row in self._connection.execute(query):
                self._runs[row.run_id] = rows.run_of(row._mapping)
        return [self._runs[k] for k in wanted if k in self._runs]

    # around

    def around(self, inside: set[str], runs_inside: set[str], history: History) -> Around:
        """What the events of a history name and do not fold again."""
        named = {k for _, e in history.values() for k in lots_named(e)} - inside
        self._read_standing(sorted(named))
        events = [e for _, e in history.values()]
        started = {e.facts["run_id"] for e in events if e.kind == "stage_started"}
        runs = {e.facts.get("run_id") for e in events if e.kind in RUN_KINDS}
        runs -= started | runs_inside
        known = self.runs(k for k in runs if isinstance(k, str) and k)
        begun = {r.run_id: replace(r, finished_at=None, finished_by="") for r in known}
        return Around(self.lots(named), self.standing, begun)

    def _read_standing(self, lot_ids: Sequence[str]) -> None:
        unread = [k for k in lot_ids if k not in self._standing]
        self._standing |= {k: [] for k in unread}
        kinds = schema.event.c.root_kind.in_(STANDING_KINDS)
        for _, found in self._touching(unread, kinds):
            lot_id = found[1].facts["lot_id"]
            if lot_id in self._standing:
                self._standing[lot_id].append(found)
        for lot_id in unread:
            self._standing[lot_id].sort(key=lambda x: x[0])

    def standing(self, lot_id: str, before: int, depth: int = 0) -> Standing:
        """How a lot stood before the event of a sequence, in history as the tables have it."""
        self._read_standing([lot_id])
        own = [e for sequence, e in self._standing[lot_id] if sequence < before]
        holds = [n for n, e in enumerate(own) if e.kind == "hold"]
        if holds:
            return after_standing_events(("", ()), own[holds[-1] :])
        return after_standing_events(self._made(lot_id, depth), own)

    def _made(self, lot_id: str, depth: int) -> Standing:
        """How a lot stood when it was made."""
        if lot_id in self._as_made:
            return self._as_made[lot_id]
        lot = self.lots([lot_id])[lot_id]
        if not self._standing[lot_id]:
            return standing_of(lot)
        if depth > _DEPTH:
            raise TooFar
        ((_, (sequence, maker)),) = self._in_force(schema.event.c.root_id == lot.made_by)
        parents = [d.lot_id for d in maker.inputs]
        self._read_standing(parents)
        found: dict[str, LotState] = {}
        for name, state in self.lots(parents).items():
            held, released = self.standing(name, sequence, depth + 1)
            found[name] = replace(state, held_because=held, released_for=released)
        self._as_made[lot_id] = inherited(found, maker)
        return self._as_made[lot_id]

    # order

    def out_of_order(self) -> list[Event]:
        """Corrections in force that name what was recorded after the event that they correct.

        Only there, and below, events fold in another order than they were recorded in.
        """
        return self.naming_later(
            [x for _, x in self._in_force(schema.event.c.kind == "correction")]
        )

    def naming_later(self, some: Sequence[tuple[int, Event]]) -> list[Event]:
        """Of some events with their sequences, those that name a lot or run recorded later."""
        lots = self.lots(k for _, e in some for k in lots_named(e))
        asked = {e.facts.get("run_id") for _, e in some if e.kind in RUN_KINDS[1:]}
        runs = {r.run_id: r for r in self.runs(k for k in asked if isinstance(k, str))}
        places = self._places({x.made_by for x in lots.values()}.union(
            r.started_by for r in runs.values()))  # fmt: skip
        found = []
        for sequence, event in some:
            makers = [lots[k].made_by for k in lots_named(event) if k in lots]
            run = runs.get(event.facts.get("run_id", "")) if event.kind in RUN_KINDS[1:] else None
            makers += [run.started_by] if run else []
            if any(places[k] > sequence for k in makers):
                found.append(event)
        return found

    def _places(self, event_ids: Iterable[str]) -> dict[str, int]:
        table, found = schema.event.c, {}
        for some in rows.in_parts(sorted(event_ids)):
            query = sa.select(table.event_id, table.sequence).where(table.event_id.in_(some))
            found.update({row.event_id: row.sequence for row in self._connection.execute(query)})
        return found

    def below(self, lot_ids: Iterable[str]) -> set[str]:
        """Some lots and all that were made of them."""
        found = set(lot_ids)
        front = sorted(found)
        edge = schema.edge.c
        while front:
            reached: set[str] = set()
            for some in rows.in_parts(front):
                query = sa.select(edge.child).where(edge.parent.in_(some))
                reached.update(self._connection.execute(query).scalars())
            front = sorted(reached - found)
            found |= reached
        return found
