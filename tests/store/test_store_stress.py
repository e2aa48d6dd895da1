"""Twenty writers at once, ten thousand events, kill -9 in between: nothing acknowledged is lost.

On SQLite and on PostgreSQL alike; there the server itself is killed as well.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from tests.book.book_makers import NOW, at
from tests.store.postgres_server import Server
from tests.store.stress_nest import PER_LOT, story

from wareleaf import book, store

ROOT = Path(__file__).parents[2]
WRITERS, EVENTS, KILLS = 20, 10_000, 30


def nest(url, writers, events, kills):
    done = subprocess.run(
        [sys.executable, "-m", "tests.store.stress_nest", url, str(writers), str(events),
         str(kills), "20260412"],
        capture_output=True, text=True, check=False, cwd=ROOT, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def assert_all_there(url, told, writers, events):
    """Every acknowledged event once, under its number and hash; tables equal to a fresh fold."""
    assert told["failed"] == 0
    assert len(told["acknowledged"]) == events
    with store.open_book(url, create=False) as opened:
        report = opened.verify()
        assert report.ok, report.message
        recorded = opened.events()
        assert [r.sequence for r in recorded] == list(range(1, events + 1))
        kept = {r.event.event_id: (r.sequence, r.hash) for r in recorded}
        for line in told["acknowledged"]:
            sequence, event_id, digest = line.split()
            assert kept[event_id] == (int(sequence), digest)
        assert set(kept) == {f"w{w}:{n}" for w in range(writers) for n in range(events // writers)}
        fresh = book.fold([r.event for r in recorded])
        assert {x.lot_id: x for x in opened.lots()} == fresh.lots
        day = opened.balance(at(-1), NOW)
        assert (day.mass.left_over_g, day.dry.left_over_g) == (0, 0)
        assert day.dry.taken_in_g == 100 * events // PER_LOT
        assert day.dry.stock_change_g == sum(x.remaining_dry_g for x in opened.lots())


@pytest.mark.slow
def test_twenty_writers_and_kill_9(where):
    told = nest(where, WRITERS, EVENTS, KILLS)
    assert told["killed"] == KILLS
    assert_all_there(where, told, WRITERS, EVENTS)


def count(url):
    with store.open_book(url, create=False) as opened:
        last = opened.events(newest_first=True, limit=1)
    return last[0].sequence if last else 0


@pytest.mark.slow
@pytest.mark.postgres
def test_kill_9_of_the_server_itself():
    """A server with its disk sync on gets kill -9 three times while twenty write."""
    with Server(durable=True) as server:
        url = server.new_database()
        store.open_book(url).close()
        found = {}
        work = threading.Thread(target=lambda: found.update(nest(url, WRITERS, 2000, 6)))
        work.start()
        crashes = 0
        for due in (200, 800, 1400):
            while work.is_alive() and count(url) < due:
                time.sleep(0.05)
            server.kill_and_start()
            crashes += work.is_alive()
        work.join(timeout=280)
        assert crashes == 3, "the server was killed while they wrote"
        assert_all_there(url, found, WRITERS, 2000)


def test_the_story_of_a_writer_holds_by_itself():
    """What the writers tell is a sound history, so that a refusal would be the store's fault."""
    folded = book.fold([story("w0", n) for n in range(10)])
    assert folded.lots["w0-1m"].remaining_mass_g == 800
