"""Seal a book of 1,000,000 events in SQLite: from the file to a signed checkpoint, and after.

The events are generated as the store writes them (canonical text, chain of hashes, table `event`),
without the derived tables, which a seal does not read. Every time is for the works' own functions
from the file on: leaf hashes, root, every earlier checkpoint held against the book, Ed25519
signature, settings on disk. Times are of the processor, with the wall beside them.

The reference is RFC 6962 section 2.1 written down as it stands there: MTH by recursion on the list
of all entries with plain hashlib, in the same run: on the texts in memory, and with a plain read of
the same table before it.
"""

from __future__ import annotations

import hashlib
import json
import os
import resource
import sqlite3  # noqa: TID251 - the bench is no part of the pure core
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

from bench import Row
from wareleaf import store
from wareleaf.book import GENESIS, Event, canonical_json, event_from_json, seal, tree
from wareleaf.book.chain import body_hash

EVENTS = 1_000_000
MORE = 1_000
WORDS = "four dry words here"


def run() -> list[Row]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _generate(folder, EVENTS)
        rows = _in_a_process_of_its_own(folder)
        rows[:0] = _against_the_text(folder / "book.db", rows[0].ours)
    return rows


def _against_the_text(path: Path, ours_s: float) -> list[Row]:
    start = time.process_time()
    with closing(sqlite3.connect(path)) as connection:
        query = "SELECT body FROM event WHERE sequence <= ? ORDER BY sequence"
        bodies = [body.encode() for (body,) in connection.execute(query, (EVENTS,))]
    read_s = time.process_time() - start
    start = time.process_time()
    right = mth(bodies)
    theirs_s = time.process_time() - start
    start = time.process_time()
    tiles, tail = seal.fold_tiles(map(tree.leaf_hash, bodies))
    root = seal.TileTree(tiles, EVENTS, lambda _low, _high: tail).root
    memory_s = time.process_time() - start
    assert root == right
    with store.open_book(path) as opened:
        kept, size = opened.tree_tiles()
        assert size == EVENTS + MORE
        assert seal.TileTree(kept, EVENTS, opened.leaf_hashes).root == right
    whole_s = read_s + theirs_s
    return [
        Row("leaf hashes and root in memory, against the RFC's recursion",
            memory_s, theirs_s, theirs_s / memory_s, "s CPU"),
        Row("the whole seal, against a plain read and that recursion",
            ours_s, whole_s, whole_s / ours_s, "s CPU", "", "ours also signs and keeps"),
    ]  # fmt: skip


def mth(entries: list[bytes]) -> bytes:
    """Merkle Tree Hash as RFC 6962 section 2.1 defines it."""
    n = len(entries)
    if n == 0:
        return hashlib.sha256(b"").digest()
    if n == 1:
        return hashlib.sha256(b"\x00" + entries[0]).digest()
    k = 1
    while k * 2 < n:
        k *= 2
    return hashlib.sha256(b"\x01" + mth(entries[:k]) + mth(entries[k:])).digest()


def _in_a_process_of_its_own(folder: Path) -> list[Row]:
    """So that peak memory is that of sealing and of nothing else."""
    code = "from bench import bench_seal; import sys; bench_seal.measure(sys.argv[1])"
    root = Path(__file__).parents[1]
    path = os.pathsep.join([str(root), *sys.path])
    environment = os.environ  # noqa: TID251 - the bench is no part of the pure core
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=False,
        cwd=root, env={**environment, "PYTHONPATH": path},
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(done.stderr)
    return [Row(**row) for row in json.loads(done.stdout)]


def measure(folder_name: str) -> None:
    """Print rows of times, as JSON."""
    from wareleaf.works import seal_book, seal_keys
    from wareleaf.works.house import Works, open_works

    folder = Path(folder_name)
    works: Works = open_works(folder)
    before_mb = _peak_mb()
    seal_book.seal_keys.first_key(works, WORDS, "bench/book")
    rows: list[dict[str, object]] = []

    def timed(name: str, work, target: str = "", note: str = "", unit: str = "s"):
        wall, cpu = time.perf_counter(), time.process_time()
        found = work()
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
        factor = 1e3 if unit == "ms CPU" else 1.0
        rows.append(
            {"name": name, "ours": factor * cpu, "reference": None, "ratio": None, "unit": unit,
             "target": target, "note": note or f"{factor * wall:.3g} on the wall"}
        )  # fmt: skip
        return found

    whole = timed(
        f"{EVENTS:,} events: leaves, root, signed checkpoint",
        lambda: seal_book.seal_now(works, WORDS, whole_check=False),
        "<= 10",
        unit="s CPU",
    )
    assert whole.size == EVENTS
    peak_mb = _peak_mb()
    _append(folder / "book.db", EVENTS, MORE)
    timed(
        f"the next {MORE:,} events, from kept tiles",
        lambda: seal_book.seal_now(works, WORDS, whole_check=False),
        unit="ms CPU",
    )
    timed(
        "of that, opening the key under its passphrase",
        lambda: seal_keys.load(works, WORDS, seal_book.state_of(works)),
        unit="ms CPU",
    )
    held = seal_book.tree_of(works, from_kept_tiles=True)
    path = timed("inclusion proof of one event", lambda: held.path(123_456), "<= 50", unit="ms CPU")
    assert tree.verify_inclusion(
        works.book.leaf_hashes(123_456, 123_457)[0], 123_456, held.size, path, held.root
    )
    timed(
        "proof between the two checkpoints",
        lambda: seal_book.proof_between(works, EVENTS),
        unit="ms CPU",
    )
    timed(
        "every checkpoint held against every event",
        lambda: seal_book.changed_since(works),
        "<= 10",
        unit="s CPU",
    )
    rows.append(
        {"name": "peak memory of the first seal", "ours": peak_mb, "reference": None, "ratio": None,
         "unit": "MB", "target": "", "note": f"{before_mb:.0f} MB before it"}
    )  # fmt: skip
    print(json.dumps(rows))


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _generate(folder: Path, many: int) -> None:
    from wareleaf.works.demo.generate import settings_file

    (folder / "works.toml").write_bytes(settings_file().read_bytes())
    path = folder / "book.db"
    store.open_book(path).close()
    with closing(sqlite3.connect(path)) as connection:
        for (name,) in connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'index' AND name LIKE 'event_by_%'"
        ).fetchall():
            connection.execute(f"DROP INDEX {name}")  # a seal reads in order of the table
    _append(path, 0, many)


def _append(path: Path, start: int, many: int) -> None:
    """Rows as the store makes them; the text is cut and filled in, which is quick and checked."""
    at = event_from_json(json.loads(_text(0))).happened_at
    plain = Event("E0000000", "note", at, at, "kelp", who="ilsa", facts={"n": 0, "text": "x" * 120})
    assert _text(0).encode() == canonical_json(plain)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous=OFF")
        connection.execute("BEGIN")
        found = connection.execute("SELECT hash FROM event WHERE sequence = ?", (start,)).fetchone()
        before = found[0] if found else GENESIS
        marks = ", ".join("?" * 13)
        for first in range(start, start + many, 10_000):
            rows = []
            for n in range(first, min(first + 10_000, start + many)):
                body = _text(n)
                digest = body_hash(before, body.encode())
                name = f"E{n:07d}"
                times = (1_775_000_000_000_000,) * 2
                what = ("note", name, "note", None, 0, "kelp")
                rows.append((n + 1, name, *what, *times, body, before, digest))
                before = digest
            connection.executemany(f"INSERT INTO event VALUES ({marks})", rows)
        connection.execute("COMMIT")


def _text(n: int) -> str:
    at = "2026-04-12T05:00:00+00:00"
    facts = f'{{"n":{n},"text":"{"x" * 120}"}}'
    return (
        f'{{"corrects":"","document":"","event_id":"E{n:07d}","facts":{facts},"happened_at":"{at}",'
        f'"inputs":[],"kind":"note","outputs":[],"place":"","recorded_at":"{at}","site":"kelp",'
        '"streams":[],"who":"ilsa","why":""}'
    )
