"""Many writers at once, and writers killed at any moment: nothing acknowledged is lost."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from tests.book.book_makers import NOW, at, intake, split

from wareleaf import store
from wareleaf.measure import BadInput

ROOT = Path(__file__).parents[2]


def nest(*args: object) -> dict:
    done = subprocess.run(
        [sys.executable, "-m", "tests.store.writer_nest", *map(str, args)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def assert_holds_all(opened, acknowledged):
    """Every acknowledged event is there under its number and hash, and the book balances."""
    report = opened.verify()
    assert report.ok, report.message
    kept = {r.event.event_id: (r.sequence, r.hash) for r in opened.events()}
    for line in acknowledged:
        sequence, event_id, digest = line.split()
        assert kept.get(event_id) == (int(sequence), digest)
    day = opened.balance(at(-1), NOW)
    assert (day.mass.left_over_g, day.dry.left_over_g) == (0, 0)
    assert day.dry.stock_change_g == sum(x.remaining_dry_g for x in opened.lots())
    return kept


@pytest.mark.slow
def test_kill_9_a_hundred_times(tmp_path):
    path = tmp_path / "book.db"
    told = nest("kill", path, 100, 20260412)
    assert told["killed"] == 100
    assert len(told["acknowledged"]) >= 90, "one at least from each that was let begin"
    with store.open_book(path, create=False) as opened:
        kept = assert_holds_all(opened, told["acknowledged"])
        batches = {}
        for name in kept:
            lot, _, what = name.rpartition("-")
            batches.setdefault(lot, set()).add(what)
        assert all(b in ({"i"}, {"i", "s", "n", "m"}) for b in batches.values()), "all or nothing"
        unknown = len(kept) - len(told["acknowledged"])
        assert 0 <= unknown <= 3 * 100, "at most the one transaction that was under way, each time"
        opened.append(intake("after", "AFTER", minute=9), now=NOW)


@pytest.mark.slow
def test_eight_processes_at_once_lose_nothing(where):
    told = nest("together", where, 8, 6)
    assert told["failed"] == 0
    assert len(told["acknowledged"]) == 8 * 6 * 4
    with store.open_book(where, create=False) as opened:
        assert len(assert_holds_all(opened, told["acknowledged"])) == 8 * 6 * 4


def test_eight_threads_at_once_lose_nothing(kept):
    acknowledged, failures = [], []

    def work(name):
        try:
            for n in range(12):
                r = kept.append(intake(f"{name}-{n}", f"{name}-{n}"), now=NOW)
                acknowledged.append(f"{r.sequence} {r.event_id} {r.hash}")
                kept.lots(site="skerry", in_stock_only=True, limit=5)
        except Exception as error:
            failures.append(error)

    threads = [threading.Thread(target=work, args=(f"t{n}",)) for n in range(8)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert failures == []
    assert len(assert_holds_all(kept, acknowledged)) == 96


def test_two_cannot_use_the_same_leaf(kept):
    kept.append(intake("i", "K", 1000, 100), now=NOW)
    outcomes = []

    def work(name):
        try:
            kept.append(split(name, "K", {f"{name}a": (700, 70)}), now=NOW)
            outcomes.append("done")
        except BadInput as error:
            outcomes.append(str(error))

    threads = [threading.Thread(target=work, args=(f"s{n}",)) for n in range(6)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert outcomes.count("done") == 1
    assert (
        outcomes.count("Lot K would be used twice over: 0.7 kg are asked for and 0.3 kg remain.")
        == 5
    )


def test_a_full_disk_is_said_and_nothing_is_half_written(tmp_path):
    with store.open_book(tmp_path / "book.db") as opened:
        opened.append(intake("i", "K"), now=NOW)
        with opened.engine.connect() as connection:  # SQLite's own limit stands in for the disk
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
        full = f"PRAGMA max_page_count = {pages}"
        from sqlalchemy import event

        event.listen(opened.engine, "begin", lambda c: c.exec_driver_sql(full))
        many = [intake(f"x{n}", f"X{n}") for n in range(500)]
        with pytest.raises(
            store.BookUnavailable, match="nothing of this was recorded: the disk is full"
        ):
            opened.append_many(many, now=NOW)
    with store.open_book(tmp_path / "book.db") as again:
        assert [r.event.event_id for r in again.events()] == ["i"]
        assert again.verify().ok
