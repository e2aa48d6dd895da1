"""Trace in a book of 100,000 lots: back to all sources and forward to all ends, from SQLite.

The book is generated: 12 layers of lots with 1 to 6 parents each (3.5 on average), 15 % of the
parents from an earlier layer, random dry matter; *ordinary* blending draws from the neighbours of
the season, *worst* draws from anywhere in the layer. Lots and edges are written to the tables as
the store writes them, without the 100,000 events, which a trace does not read. Cold means a newly
opened file whose pages were dropped from the system's cache.

The reference does the same with plain means in the same run: load all edges of the table into a
dict of lists and walk it breadth first, shares included; or ask the table level by level.
"""

from __future__ import annotations

import os
import random
import tempfile
import time
from collections import deque
from datetime import UTC, datetime, timedelta
from pathlib import Path

import sqlalchemy as sa

from bench import Row, median_seconds_of
from wareleaf import book, store
from wareleaf.store import rows, schema

LAYERS, WIDTH = 12, 8334
NEAR = 30
EVENTS = 5000
START = datetime(2026, 4, 1, tzinfo=UTC)


def run() -> list[Row]:
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for name, near in (("ordinary", NEAR), ("worst", None)):
            path = Path(folder) / f"{name}.db"
            _generate(path, near)
            found += _traces(path, name)
        found += _writing(Path(folder) / "written.db")
    return found


def _generate(path: Path, near: int | None) -> None:
    chance = random.Random(7)
    state = book.LotState("", "sugar_kelp_raw", "blended", "store", "skerry", "", START, 2, 1, 0, 0)
    plain = rows.lot_row(state)
    lots, edges = [], []
    for layer in range(LAYERS):
        for n in range(WIDTH):
            lot_id, dry = f"L{layer:02d}-{n:05d}", chance.randint(1000, 90_000)
            event_id = f"E{lot_id}"
            made = {"lot_id": lot_id, "mass_g": 2 * dry, "dry_g": dry, "made_by": event_id}
            lots.append(tuple((plain | made).values()))
            draws = _draws(chance, layer, n, near) if layer else {}
            total = sum(draws.values())
            for parent, drawn in draws.items():
                share = drawn / total
                edges.append((parent, lot_id, event_id, share, dry * share, drawn, 1.0))
    with store.open_book(path) as opened, opened.engine.begin() as connection:
        for table, names, many in (
            ("lot", tuple(plain), lots),
            ("edge", book.Edge._fields, edges),
        ):
            marks = ", ".join("?" * len(names))
            connection.exec_driver_sql(
                f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})", many
            )


def _draws(chance: random.Random, layer: int, n: int, near: int | None) -> dict[str, int]:
    parents = set()
    for _ in range(chance.randint(1, 6)):
        above = layer - 1
        if above and chance.random() < 0.15:
            above = chance.randrange(above)
        place = chance.randrange(WIDTH) if near is None else n + chance.randint(-near, near)
        parents.add(f"L{above:02d}-{place % WIDTH:05d}")
    return {p: chance.randint(100, 9000) for p in sorted(parents)}


def drop_cache(path: Path) -> None:
    os.sync()
    for name in (path, Path(f"{path}-wal")):
        if name.exists():
            handle = os.open(name, os.O_RDONLY)
            os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
            os.close(handle)


def _traces(path: Path, name: str) -> list[Row]:
    last, first = f"L{LAYERS - 1:02d}-{WIDTH // 2:05d}", f"L00-{WIDTH // 2:05d}"
    cold, theirs = [], []
    for _ in range(3):
        drop_cache(path)
        cold.append(timed(lambda: _ours_cold(path, last)))
        drop_cache(path)
        theirs.append(timed(lambda: _all_edges(path, last)))
    ours_s, plain_s = sorted(cold)[1], sorted(theirs)[1]
    with store.open_book(path) as opened:
        trace = opened.trace_back(last)
        warm = [lambda: opened.trace_back(last), lambda: _by_level(opened, last)]
        back_s, level_s = median_seconds_of(warm, 5)
        (forward_s,) = median_seconds_of([lambda: opened.trace_forward(first)], 5)
    plain = _all_edges(path, last)
    worst = max(abs(n.share - plain[n.lot_id]) for n in trace.nodes)
    assert len(plain) == len(trace.nodes)
    size = f"{len(trace.nodes):,} lots, {len(trace.edges):,} edges"
    target = "<= 1000" if name == "ordinary" else ""
    return [
        Row(f"{name}: back, cold file, whole run", 1e3 * ours_s, None, None, "ms", target, size),
        Row(f"{name}: back, cold file, load all edges", 1e3 * ours_s, 1e3 * plain_s,
            plain_s / ours_s, "ms", "", "breadth first in a dict"),
        Row(f"{name}: back, warm, level by level in SQL", 1e3 * back_s, 1e3 * level_s,
            level_s / back_s, "ms"),
        Row(f"{name}: forward, warm", 1e3 * forward_s, None, None, "ms"),
        Row(f"{name}: difference in shares", worst, None, None, "-", "<= 1e-9"),
    ]  # fmt: skip


def timed(work) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def _ours_cold(path: Path, lot_id: str) -> None:
    with store.open_book(path, create=False) as opened:
        opened.trace_back(lot_id)


def _all_edges(path: Path, lot_id: str) -> dict[str, float]:
    """Share of every ancestor, by plain means: all edges in memory, breadth first."""
    with store.open_book(path, create=False) as opened, opened.engine.connect() as connection:
        into: dict[str, list[tuple[str, float]]] = {}
        for child, parent, share in connection.exec_driver_sql(
            "SELECT child, parent, share FROM edge"
        ):
            into.setdefault(child, []).append((parent, share))
    reach, todo = {lot_id}, deque([lot_id])
    while todo:
        for parent, _ in into.get(todo.popleft(), ()):
            if parent not in reach:
                reach.add(parent)
                todo.append(parent)
    return _shares(reach, into, lot_id)


def _by_level(opened: store.BookStore, lot_id: str) -> dict[str, float]:
    """The same, asking the table level by level."""
    into: dict[str, list[tuple[str, float]]] = {}
    seen = level = {lot_id}
    columns = sa.select(schema.edge.c.child, schema.edge.c.parent, schema.edge.c.share)
    with opened.engine.connect() as connection:
        while level:
            wanted, above = sorted(level), set()
            for i in range(0, len(wanted), 500):
                query = columns.where(schema.edge.c.child.in_(wanted[i : i + 500]))
                for child, parent, share in connection.execute(query):
                    into.setdefault(child, []).append((parent, share))
                    above.add(parent)
            level = above - seen
            seen = seen | level
    return _shares(seen, into, lot_id)


def _shares(
    reach: set[str], into: dict[str, list[tuple[str, float]]], lot_id: str
) -> dict[str, float]:
    share = dict.fromkeys(reach, 0.0)
    share[lot_id] = 1.0
    for child in sorted(reach, reverse=True):  # ids begin with the layer: children first
        for parent, part in into.get(child, ()):
            share[parent] += share[child] * part
    return share


def _writing(path: Path) -> list[Row]:
    events = []
    for n in range(EVENTS // 2):
        t = START + timedelta(minutes=n)
        fresh = book.Made(f"K{n}", "sugar_kelp_raw", "fresh", "quay", 10**6, 10**5, 500.0, 900.0)
        dried = book.Made(f"D{n}", "sugar_kelp_raw", "dried", "store", 110_000, 99_000, 50.0, 99.0)
        events.append(book.Event(f"i{n}", "intake", t, t, "skerry", outputs=(fresh,)))
        events.append(
            book.Event(
                f"b{n}",
                "combine",
                t,
                t,
                "skerry",
                inputs=(book.Draw(f"K{n}", 10**6, 10**5),),
                outputs=(dried,),
                streams=(book.Stream("water", 890_000, 0),),
            )
        )
    now = START + timedelta(days=30)
    with store.open_book(path) as opened:
        many = EVENTS / timed(lambda: opened.append_many(events, now=now))
        notes = [book.Event("", "note", now, now, "skerry", facts={"n": n}) for n in range(200)]
        one = len(notes) / timed(lambda: [opened.append(e, now=now) for e in notes])
        check = timed(opened.verify)
    return [
        Row("append, all in one transaction", many, None, None, "events/s", ">= 2000"),
        Row("append, each on disk before the next", one, None, None, "events/s"),
        Row("verify 5,200 events and their lots", 1e3 * check, None, None, "ms"),
    ]
