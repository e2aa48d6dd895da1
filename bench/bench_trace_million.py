"""Trace and mass shares in a book of 1,000,000 edges: 12 layers of lots, 15 % cross-layer blends.

The book is generated: 1 to 6 parents for each of 285,714 made lots (3.5 on average), 15 % of them
from an earlier layer; *ordinary* blending draws from the neighbours of the season, *worst* from
anywhere in the layer. Lots, edges and the parts of the genealogy are written as the store writes
them, without the events, which a trace does not read. Cold means a newly opened file whose pages
were dropped from the system's cache: open, trace, and every lot of it with its share and kilograms.
Warm means a book that is open and was asked before. Warm rows are processor time, the best of five,
so that neighbours on the machine do not count; cold ones are given by the clock too.

The reference asks the same table by a recursive question that is kept to what is reached, and walks
the answer in Python. Memory is the peak of a fresh process.
"""

from __future__ import annotations

import multiprocessing
import tempfile
import time
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import sqlalchemy as sa

from bench import Row
from bench.bench_trace import drop_cache, timed
from wareleaf import book, store
from wareleaf.store import genealogy, rows

LAYERS, WIDTH, EDGES = 12, 25_974, 1_000_000
LOTS = LAYERS * WIDTH
NEAR = 30
KINDS = (("ordinary", NEAR), ("worst", None))
SEED = 4
START = datetime(2026, 4, 1, tzinfo=UTC)
LAST, FIRST = f"L{LAYERS - 1:02d}-{WIDTH // 2:05d}", f"L00-{WIDTH // 2:05d}"
SOURCES = [f"L00-{n:05d}" for n in range(0, 25_974, 26)][:1000]
Insert: TypeAlias = Callable[[Any, str, tuple[str, ...], Iterable[tuple[Any, ...]]], None]
_REACH = sa.text(
    "WITH RECURSIVE reach(lot_id) AS (SELECT CAST(:lot AS TEXT) UNION "
    "SELECT e.parent FROM edge e JOIN reach r ON e.child = r.lot_id) "
    "SELECT e.* FROM reach r JOIN edge e ON e.child = r.lot_id"
)


def run() -> list[Row]:
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for name, near in KINDS:
            path = Path(folder) / f"{name}.db"
            write(str(path), near, _insert)
            found += measure(str(path), name, "file", lambda path=path: drop_cache(path))
    return found


def measure(place: str, name: str, cold: str, cool: Callable[[], None]) -> list[Row]:
    """All rows of one book; ``cool`` makes it cold again, which the rows call ``cold``."""
    return [*_traces(place, name, cold, cool), *_memory(place, name)]


def _graph(near: int | None) -> tuple[Any, Any]:
    """Child and parent numbers of exactly EDGES edges, by child; the layer is number // WIDTH."""
    rng = np.random.default_rng(SEED)
    made = np.arange(WIDTH, LOTS)
    child = np.repeat(made, rng.integers(1, 7, len(made)))
    keys = np.unique(_draw(rng, child, near))
    while len(keys) < EDGES:
        more = rng.choice(made, EDGES - len(keys))
        keys = np.unique(np.concatenate([keys, _draw(rng, more, near)]))
    if len(keys) > EDGES:  # take back from lots with more than one parent
        spare = np.flatnonzero(np.diff(keys // LOTS, prepend=-1) == 0)
        keys = np.delete(keys, rng.choice(spare, len(keys) - EDGES, replace=False))
    return np.divmod(keys, LOTS)


def _draw(rng: np.random.Generator, child: Any, near: int | None) -> Any:
    layer, place = np.divmod(child, WIDTH)
    above = layer - 1
    skips = (rng.random(len(child)) < 0.15) & (above > 0)
    above = np.where(skips, (rng.random(len(child)) * above).astype(int), above)
    if near is None:
        place = rng.integers(WIDTH, size=len(child))
    else:
        place = (place + rng.integers(-near, near + 1, len(child))) % WIDTH
    return child * LOTS + above * WIDTH + place


def write(place: str, near: int | None, insert: Insert) -> None:
    """Write a generated book into an empty place; ``insert`` puts many rows into a table."""
    rng = np.random.default_rng(SEED + 1)
    child, parent = _graph(near)
    drawn = rng.integers(100, 9000, len(child))
    share = drawn / np.bincount(child, drawn, LOTS)[child]
    dry = rng.integers(1000, 90_000, LOTS)
    ids = [f"L{n // WIDTH:02d}-{n % WIDTH:05d}" for n in range(LOTS)]
    state = book.LotState("", "sugar_kelp_raw", "blended", "store", "skerry", "", START, 2, 1, 0, 0)
    plain = rows.lot_row(state)
    lots = (
        tuple((plain | {"lot_id": k, "made_by": f"E{k}", "mass_g": 2 * d, "dry_g": d}).values())
        for k, d in zip(ids, dry.tolist(), strict=True)
    )
    columns = (child.tolist(), parent.tolist(), share.tolist(), (share * dry[child]).tolist())
    edges = (
        (ids[p], ids[c], f"E{ids[c]}", s, d, w, 1.0)
        for c, p, s, d, w in zip(*columns, drawn.tolist(), strict=True)
    )
    with store.open_book(place) as opened, opened.engine.connect() as connection:
        connection.exec_driver_sql("DROP INDEX edge_down")
        raw = connection.connection.driver_connection
        insert(raw, "lot", tuple(plain), lots)
        insert(raw, "edge", book.Edge._fields, edges)
        connection.exec_driver_sql("CREATE INDEX edge_down ON edge (parent, child)")
        genealogy.cut(connection)
        connection.commit()


def _insert(raw: Any, table: str, names: tuple[str, ...], many: Iterable[tuple[Any, ...]]) -> None:
    marks = ", ".join("?" * len(names))
    raw.executemany(f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})", many)


def _traces(place: str, name: str, cold_is: str, cool: Callable[[], None]) -> list[Row]:
    cold, busy, theirs = [], [], []
    for _ in range(5):
        cool()
        begun = time.process_time()
        cold.append(timed(lambda: _cold(place)))
        busy.append(time.process_time() - begun)
        cool()
        theirs.append(timed(lambda: _asked(place)))
    most = "<= 10" if name == "ordinary" else "<= 250"
    with store.open_book(place, create=False) as opened:
        trace, below = opened.trace_back(LAST), opened.trace_forward(FIRST)
        back_s = _busy(lambda: opened.trace_back(LAST))
        forward_s = _busy(lambda: opened.trace_forward(FIRST))
        objects_s = _busy(lambda: _objects(opened.trace_back(LAST)))
        one_s = _busy(lambda: opened.shares([FIRST]))
        many_s = _busy(lambda: opened.shares(SOURCES), 1)
        new = book.Edge(LAST, "new", "e", 1.0, 5.0, 1, 1.0)
        kept = opened._keeper.kept
        assert kept is not None
        part = book.LineagePart.of_edges([new])
        extend_s = _busy(lambda: kept.lineage.replaced(part).trace_forward(FIRST)) - forward_s
        worst = _difference(opened, place, trace)
    size = f"{len(trace.nodes):,} lots, {len(trace.edges):,} edges"
    there = f"{len(below.nodes):,} lots, {len(below.edges):,} edges"
    ours_s, asked_s = min(cold), min(theirs)
    return [
        Row(f"{name}: back, warm", 1e3 * back_s, None, None, "ms", most, size),
        Row(f"{name}: forward, warm", 1e3 * forward_s, None, None, "ms", most, there),
        Row(f"{name}: back, warm, with all its objects", 1e3 * objects_s, None, None, "ms"),
        Row(f"{name}: back, cold {cold_is}, processor time", 1e3 * min(busy), None, None, "ms",
            "<= 1000"),
        Row(f"{name}: back, cold {cold_is}, by the clock", 1e3 * ours_s, None, None, "ms"),
        Row(f"{name}: the same, asked of the table", 1e3 * ours_s, 1e3 * asked_s,
            asked_s / ours_s, "ms"),
        Row(f"{name}: mass shares of one source", 1e3 * one_s, None, None, "ms", "<= 50"),
        Row(f"{name}: mass shares of 1,000 sources", many_s, None, None, "s", "<= 5"),
        Row(f"{name}: follow one more event", 1e3 * extend_s, None, None, "ms"),
        Row(f"{name}: difference in shares", worst, None, None, "-", "<= 1e-9"),
    ]  # fmt: skip


def _busy(work: Callable[[], Any], repeats: int = 5) -> float:
    """Least processor time of one call, after warming up where it is repeated."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def _objects(trace: book.Trace) -> int:
    return len(trace.nodes) + len(trace.edges)


def _cold(place: str) -> None:
    with store.open_book(place, create=False) as opened:
        assert opened.trace_back(LAST).nodes


def _asked(place: str) -> book.Trace:
    with store.open_book(place, create=False) as opened, opened.engine.connect() as connection:
        edges = map(book.Edge._make, _in_order(connection.execute(_REACH, {"lot": LAST})))
        return book.trace_back(list(edges), LAST, opened.lot(LAST).dry_g)


def _in_order(result: Any) -> Any:
    """Rows of the edge table in the order of the fields of an edge."""
    return (tuple(row._mapping[name] for name in book.Edge._fields) for row in result)


def _difference(opened: store.BookStore, place: str, trace: book.Trace) -> float:
    """Against the plain form on the same edges, and of the whole from one."""
    plain = {n.lot_id: n.share for n in _asked(place).nodes}
    assert len(plain) == len(trace.nodes)
    from_one = opened.shares([n.lot_id for n in trace.ends], [LAST]).part.sum()
    return max(abs(1.0 - from_one), *(abs(n.share - plain[n.lot_id]) for n in trace.nodes))


def _memory(place: str, name: str) -> list[Row]:
    found = []
    with multiprocessing.get_context("spawn").Pool(1, maxtasksperchild=1) as pool:
        for what, work in (("open", 0), ("one trace back", 1), ("shares of 1,000 sources", 2)):
            peak = pool.apply(_peak_mb, (place, work))
            found.append(Row(f"{name}: peak memory, {what}", peak, None, None, "MB"))
    return found


def _peak_mb(place: str, work: int) -> float:
    with store.open_book(place, create=False) as opened:
        if work == 1:
            opened.trace_back(LAST)
        if work == 2:
            opened.shares(SOURCES)
    return peak_mb("self")


def peak_mb(pid: int | str) -> float:
    """Most memory that a process ever had, as the system counts it."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    return int(status.split("VmHWM:")[1].split()[0]) / 1024
