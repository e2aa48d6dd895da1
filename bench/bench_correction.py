"""A correction in a book of 50,000 events: folded near it, against a fold of the whole book.

12,500 loads are taken in, dried, blended with the two before (so that neighbours hang together) and
partly sampled. Weights of the first loads of the season and of some in the middle are corrected;
ours is the whole append, until it is on disk. The reference derives everything again from all
events, as is still done where events fold out of their recorded order. Processor time of this
process, so that neighbours on the machine do not count.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from bench import Row
from wareleaf import book, store
from wareleaf.store import engine, refolding

LOADS = 12_500
START = datetime(2026, 4, 1, tzinfo=UTC)
NOW = START + timedelta(days=30)


def run() -> list[Row]:
    with tempfile.TemporaryDirectory() as folder, store.open_book(Path(folder) / "b.db") as opened:
        opened.append_many([e for n in range(LOADS) for e in _load(n)], now=NOW)
        times = [
            _busy(lambda c=_reweighed(f"c{n}", load, n): opened.append(c, now=NOW))
            for n, load in enumerate((0, 1, LOADS // 2, LOADS // 2 + 1, LOADS // 3))
        ]
        with engine.reading(opened.engine) as connection:
            whole = _busy(lambda: refolding.fold_whole(connection))
            connection.rollback()
        good = opened.verify().ok
    worst = max(times)
    return [
        Row("correct a weight, 50,000 events", 1e3 * worst, 1e3 * whole, whole / worst, "ms"),
        Row("the same, the slowest of five", 1e3 * worst, None, None, "ms", "<= 500"),
        Row(
            "tables differ from a fold of the whole", 0.0 if good else 1.0, None, None, "-", "<= 0"
        ),
    ]


def _load(n: int) -> list[book.Event]:
    t = START + timedelta(minutes=2 * n)
    fresh = _made(f"K{n}", 1_000_000, 100_000, "fresh")
    dried = _made(f"D{n}", 110_000, 99_000, "dried")
    near = [f"D{n}", *(f"D{k}" for k in (n - 1, n - 2) if k >= 0)]
    draws = tuple(book.Draw(k, 30_000, 27_000) for k in near)
    blend = _made(f"B{n}", 30_000 * len(near), 27_000 * len(near), "blended")
    return [
        book.Event(f"i{n}", "intake", t, t, "skerry", outputs=(fresh,)),
        book.Event(
            f"d{n}", "combine", t, t, "skerry", inputs=(book.Draw(f"K{n}", 10**6, 10**5),),
            outputs=(dried,), streams=(book.Stream("water", 889_000, 0),
                                       book.Stream("dust", 1000, 1000)),
        ),
        book.Event(f"b{n}", "blend", t, t, "skerry", inputs=draws, outputs=(blend,)),
        book.Event(
            f"s{n}", "sample", t, t, "skerry", inputs=(book.Draw(f"B{n}", 100, 90),),
            streams=(book.Stream("sample", 100, 90),),
            facts={"lot_id": f"B{n}", "sample_id": f"S{n}"},
        ),
    ]  # fmt: skip


def _made(lot_id: str, mass_g: int, dry_g: int, form: str) -> book.Made:
    return book.Made(
        lot_id, "sugar_kelp_raw", form, "quay", mass_g, dry_g, mass_g / 500, dry_g / 99
    )


def _reweighed(event_id: str, load: int, n: int) -> book.Event:
    old = _load(load)[0]
    return book.Event(
        event_id, "correction", old.happened_at, NOW, "skerry", corrects=old.event_id,
        outputs=(_made(f"K{load}", 1_000_000 + n, 100_000, "fresh"),),
        facts={"reason": "typed wrong", "void": False},
    )  # fmt: skip


def _busy(work: Callable[[], Any]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start
