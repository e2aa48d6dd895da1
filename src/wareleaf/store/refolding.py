"""A correction put in place: what it changes, found near it, or by a fold of the whole book."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from wareleaf.book import Book, Edge, Event, LotState, RunState, edges_of, fold, lots_touched
from wareleaf.book.pallet_rules import PalletWatch, pallets_named
from wareleaf.book.refolding import Replayed, comes_out_otherwise, replay
from wareleaf.measure.errors import BadInput
from wareleaf.store import queries, rows, schema
from wareleaf.store.near import Near, TooFar

_STARTS_OR_ENDS = ("stage_started", "stage_finished")


@dataclass(frozen=True)
class Place:
    """Where a correction goes: the event first recorded, and what is in force there now.

    ``before`` and ``after`` are None where the event is void.
    """

    root_id: str
    sequence: int
    before: Event | None
    after: Event | None

    @property
    def both(self) -> list[Event]:
        """What is in force before and after."""
        return [e for e in (self.before, self.after) if e is not None]


@dataclass(frozen=True)
class Refolded:
    """Lots and runs that a correction may have changed; None for one that is gone."""

    lots: dict[str, LotState | None]
    runs: dict[str, RunState | None]


def refold(connection: sa.Connection, place: Place) -> Refolded | None:
    """What a correction changes, from the events near it; None where that does not suffice.

    For a writer, before the correction is in the tables. Equal to a fold of the whole book.

    Raises
    ------
    BadInput
        When history would no longer hold.
    """
    near = Near(connection)
    late = near.out_of_order()
    if place.after is not None and near.naming_later([(place.sequence, place.after)]):
        return None
    try:
        now, inside = _settled(near, place)
    except TooFar:
        return None
    if late and _meets(near, late, place):
        return None
    runs = _runs_of(place)
    return Refolded(
        {k: now.lots.get(k) for k in sorted(inside)}, {k: now.runs.get(k) for k in sorted(runs)}
    )


def _runs_of(place: Place) -> set[str]:
    return {e.facts["run_id"] for e in place.both if e.kind in _STARTS_OR_ENDS}


def _settled(near: Near, place: Place) -> tuple[Replayed, set[str]]:
    """Fold the lots of the correction, and more until nothing outside comes out otherwise."""
    inside: set[str] = set()
    runs = _runs_of(place)
    near.take_runs(runs)
    more = {k for e in place.both for k in lots_touched(e)}
    more |= {k for run in near.runs(runs) for k in run.lots}
    pallets = {k for e in place.both for k in pallets_named(e)}
    more |= near.take_pallets(pallets)
    while True:
        near.take_lots(more)
        near.take_pallets({k for _, e in near.history.values() for k in pallets_named(e)})
        inside |= more
        before = dict(near.history)
        before.pop(place.root_id, None)
        after = dict(before)
        for history, event in ((before, place.before), (after, place.after)):
            if event is not None:
                history[place.root_id] = (place.sequence, event)
        try:
            was = replay(before, inside, near.around(inside, runs, before))
        except BadInput as error:  # the tables hold what this does not understand
            raise TooFar from error
        now = replay(after, inside, near.around(inside, runs, after))
        more = comes_out_otherwise(was, now)
        if not more:
            now.pallets.refuse_more_than(was.pallets)
            return now, inside


def _meets(near: Near, late: Iterable[Event], place: Place) -> bool:
    """Whether what is folded lies where events fold out of their recorded order."""
    late = list(late)
    if any(e.kind in ("stage_started", "stage_finished", "reading") for e in late):
        return True
    there = near.below(m.lot_id for e in late for m in e.outputs)
    there.update(k for e in late for k in lots_touched(e))
    events = [*place.both, *(e for _, e in near.history.values())]
    return any(not there.isdisjoint(lots_touched(e)) for e in events)


def write(connection: sa.Connection, place: Place, found: Refolded) -> None:
    """Bring the tables of lots, genealogy and runs to what was found."""
    stay = [rows.lot_row(lot) for lot in found.lots.values() if lot is not None]
    rows.upsert(connection, schema.lot, stay)
    edge, lot, run = schema.edge.c, schema.lot.c, schema.run.c
    if place.before is not None:
        made = [m.lot_id for m in place.before.outputs]
        for a in range(0, len(made), 400):
            connection.execute(sa.delete(schema.edge).where(edge.child.in_(made[a : a + 400])))
    new: tuple[Edge, ...] = edges_of(place.after) if place.after is not None else ()
    if new:
        connection.execute(sa.insert(schema.edge), [rows.edge_row(e) for e in new])
    for lot_id in (k for k, state in found.lots.items() if state is None):
        connection.execute(sa.delete(schema.lot).where(lot.lot_id == lot_id))
    rows.upsert(connection, schema.run, [rows.run_row(r) for r in found.runs.values() if r])
    for run_id in (k for k, state in found.runs.items() if state is None):
        connection.execute(sa.delete(schema.run).where(run.run_id == run_id))


def fold_whole(connection: sa.Connection) -> Book:
    """Derive everything again from all events in the tables, the correction the last of them.

    Raises
    ------
    BadInput
        When history would no longer hold.
    """
    edges: list[Edge] = []
    history = list(queries.read_events(connection))
    now, was = PalletWatch(), PalletWatch()
    book = fold(history, lambda e, _changed: edges.extend(edges_of(e)), now)
    if now.broken:
        fold(history[:-1], pallets=was)  # without the correction
        now.refuse_more_than(was)
    _replace_projections(connection, book, edges)
    return book


def _replace_projections(connection: sa.Connection, book: Book, edges: list[Edge]) -> None:
    """Make lots, edges and runs what a fresh fold says, writing only the differences."""
    new_edges = {(e.child, e.parent): rows.edge_row(e) for e in edges}
    new_lots = {k: rows.lot_row(v) for k, v in book.lots.items()}
    new_runs = {k: rows.run_row(v) for k, v in book.runs.items()}
    gone_edges, changed_edges = _difference(connection, schema.edge, new_edges)
    gone_lots, changed_lots = _difference(connection, schema.lot, new_lots)
    gone_runs, changed_runs = _difference(connection, schema.run, new_runs)
    _delete(connection, schema.edge, gone_edges)
    rows.upsert(connection, schema.lot, changed_lots)
    rows.upsert(connection, schema.edge, changed_edges)
    _delete(connection, schema.lot, gone_lots)
    _delete(connection, schema.run, gone_runs)
    rows.upsert(connection, schema.run, changed_runs)


def _difference(
    connection: sa.Connection, table: sa.Table, new: Mapping[Any, dict[str, Any]]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Rows of a table that are gone and rows that are new or changed."""
    keys = [c.name for c in table.primary_key.columns]
    old = {}
    for row in connection.execute(sa.select(table)):
        data = dict(row._mapping)
        key = tuple(data[k] for k in keys)
        old[key if len(keys) > 1 else key[0]] = data
    gone = [row for key, row in old.items() if key not in new]
    return gone, [row for key, row in new.items() if old.get(key) != row]


def _delete(connection: sa.Connection, table: sa.Table, gone: list[dict[str, Any]]) -> None:
    if not gone:
        return
    keys = list(table.primary_key.columns)
    statement = sa.delete(table).where(*(c == sa.bindparam(f"key_{c.name}") for c in keys))
    connection.execute(statement, [{f"key_{c.name}": row[c.name] for c in keys} for row in gone])
