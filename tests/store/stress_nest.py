"""Run as a program: twenty writers at once on one book, killed at random and begun again.

    python -m tests.store.stress_nest URL WRITERS EVENTS KILLS SEED

Each writer appends its share of events, one to seventeen in a transaction, and acknowledges them
on a pipe after that returned. Now and then a writer gets kill -9; a new one goes on where its
acknowledgements ended, looking in the book whether what was under way had gone in. A writer told
that the server went away does the same. Prints what was acknowledged, as JSON.
"""

from __future__ import annotations

import json
import os
import random
import selectors
import signal
import sys
import time

import sqlalchemy.dialects.postgresql
import sqlalchemy.dialects.sqlite  # noqa: F401  (paid once, before the forks)
from alembic import command, config  # noqa: F401
from tests.book.book_makers import NOW, event, intake, made, split

from wareleaf import store
from wareleaf.measure import BadInput

PER_LOT = 5


def story(name: str, n: int):
    """The n-th event of a writer: an intake, a split, a note, a blend and a shipment in turn."""
    lot, step = f"{name}-{n // PER_LOT}", n % PER_LOT
    key = f"{name}:{n}"
    if step == 0:
        return intake(key, lot, 1000, 100, minute=1)
    if step == 1:
        return split(key, lot, {f"{lot}a": (400, 40), f"{lot}b": (600, 60)}, 2)
    if step == 2:
        return event(key, "note", 3, facts={"lot_id": lot})
    if step == 3:
        draws = [(f"{lot}a", 400, 40), (f"{lot}b", 500, 50)]
        lots = [made(f"{lot}m", 899, 89)]
        return event(key, "blend", 4, inputs=draws, outputs=lots, streams=[("dust", 1, 1)])
    return event(key, "waste", 5, inputs=[(f"{lot}m", 99, 9)])


def batch(name: str, n: int, many: int):
    """The events that a writer records together with its n-th; the same however often asked."""
    return [story(name, k) for k in range(n, min(many, n + 1 + (n * 7) % 17))]


def write(url: str, name: str, start: int, many: int, out: int) -> None:
    """Append from ``start`` up to ``many``; go on through a server that goes away."""
    n, book, patience = start, None, 0
    while n < many:
        events = batch(name, n, many)
        try:
            done = None
            if book is None:
                book = store.open_book(url, create=False)
                done = _there(book, events)
            if done is None:
                receipts = book.append_many(events, now=NOW)
                done = [f"{r.sequence} {r.event_id} {r.hash}" for r in receipts]
            os.write(out, "".join(f"{line}\n" for line in done).encode())
            n, patience = n + len(events), 0
        except (store.BookUnavailable, BadInput) as error:
            refused = isinstance(error, BadInput) and "cannot be opened" not in str(error)
            if patience == 150 or refused:
                raise
            patience += 1
            time.sleep(0.1)
            if book is not None:
                book.close()
            book = None


def _there(book, events) -> list[str] | None:
    """Receipts of events that went in though nobody was told; all of them or none."""
    found = []
    for one in events:
        try:
            kept = book.event(one.event_id)
        except BadInput as error:
            if "There is no event" not in str(error):
                raise
            assert not found, f"half of what was recorded together with {one.event_id} is there"
            return None
        found.append(f"{kept.sequence} {one.event_id} {kept.hash}")
    return found


class Writer:
    def __init__(self, url: str, name: str, many: int):
        self.url, self.name, self.many = url, name, many
        self.acknowledged: list[str] = []
        self.rest = b""
        self.begin()

    def begin(self) -> None:
        self.pipe, out = os.pipe()
        self.child = os.fork()
        if self.child == 0:
            code = 1
            try:
                write(self.url, self.name, len(self.acknowledged), self.many, out)
                code = 0
            finally:
                os._exit(code)
        os.close(out)
        self.rest = b""

    def hear(self) -> bool:
        """Take what was acknowledged; false at the end of the pipe."""
        data = os.read(self.pipe, 65536)
        *lines, self.rest = (self.rest + data).split(b"\n")
        self.acknowledged += [line.decode() for line in lines]
        return bool(data)

    def end(self) -> int:
        while self.hear():
            pass
        os.close(self.pipe)
        return os.waitpid(self.child, 0)[1]


def run(url: str, writers: int, events: int, kills: int, seed: int) -> dict[str, object]:
    chance = random.Random(seed)
    store.open_book(url).close()
    nest = [Writer(url, f"w{n}", events // writers) for n in range(writers)]
    ears = selectors.DefaultSelector()
    for w in nest:
        ears.register(w.pipe, selectors.EVENT_READ, w)
    killed = failed = 0
    # Kills are spread over the work: each falls due when so many events were acknowledged.
    due = sorted(chance.randrange(events * 95 // 100) for _ in range(kills))
    while ears.get_map():
        for key, _ in ears.select(timeout=60):
            w = key.data
            if w.hear():
                continue
            ears.unregister(key.fd)
            failed += w.end() != 0
        total = sum(len(w.acknowledged) for w in nest)
        alive = [key.data for key in ears.get_map().values()]
        while due and alive and total >= due[0]:
            w = chance.choice(alive)
            ears.unregister(w.pipe)
            os.kill(w.child, signal.SIGKILL)
            status = w.end()
            if not os.WIFSIGNALED(status):  # it had just ended by itself: kill another
                failed += status != 0
                alive.remove(w)
                continue
            due.pop(0)
            killed += 1
            w.begin()
            ears.register(w.pipe, selectors.EVENT_READ, w)
    lines = [line for w in nest for line in w.acknowledged]
    return {"acknowledged": lines, "killed": killed, "failed": failed}


if __name__ == "__main__":
    place, *numbers = sys.argv[1:]
    print(json.dumps(run(place, *map(int, numbers))))
