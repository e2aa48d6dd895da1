"""Run as a program: forks writers on one book, kills them or lets them finish, prints what they
acknowledged. It is apart from pytest so that forking meets no threads and imports are paid once.

    python writer_nest.py kill URL TIMES SEED      one writer at a time, kill -9 at random moments
    python writer_nest.py together URL WRITERS EACH
"""

from __future__ import annotations

import json
import os
import random
import select
import signal
import sys
import time

import sqlalchemy.dialects.sqlite  # noqa: F401  (paid once, before the forks)
from alembic import command, config  # noqa: F401
from tests.book.book_makers import NOW, event, intake, made, split

from wareleaf import store


def write(url: str, name: str, many: int, out: int) -> None:
    """Append alone and in batches of three; print each acknowledged event after it returned."""
    book = store.open_book(url)
    for n in range(many):
        lot = f"{name}-{n}"
        one = [intake(f"{lot}-i", lot, 1000, 100, minute=1)]
        batch = [
            split(f"{lot}-s", lot, {f"{lot}-a": (400, 40), f"{lot}-b": (600, 60)}, 2),
            event(f"{lot}-n", "note", 3, facts={"lot_id": lot}),
            event(
                f"{lot}-m",
                "blend",
                4,
                inputs=[(f"{lot}-a", 400, 40), (f"{lot}-b", 500, 50)],
                outputs=[made(f"{lot}-m", 899, 89)],
                streams=[("dust", 1, 1)],
            ),
        ]
        for events in (one, batch):
            done = book.append_many(events, now=NOW)
            text = "".join(f"{r.sequence} {r.event_id} {r.hash}\n" for r in done)
            os.write(out, text.encode())
    book.close()


def hatch(url: str, name: str, many: int) -> tuple[int, int]:
    """A writer in a process of its own: its id and the pipe it acknowledges on."""
    read, out = os.pipe()
    child = os.fork()
    if child:
        os.close(out)
        return child, read
    code = 1
    try:
        os.close(read)
        write(url, name, many, out)
        code = 0
    finally:
        os._exit(code)


def drain(pipe: int) -> list[str]:
    with os.fdopen(pipe) as f:
        return [line for line in f.read().splitlines() if line.count(" ") == 2]


def kill(url: str, times: int, seed: int) -> dict[str, object]:
    chance = random.Random(seed)
    acknowledged, killed = [], 0
    for n in range(times):
        child, pipe = hatch(url, f"w{n}", 10_000)
        if n % 10:  # most die in the middle of writing, each tenth while still opening
            select.select([pipe], [], [], 20)
            time.sleep(chance.random() * 0.03)
        else:
            time.sleep(chance.random() * 0.03)
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        killed += os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
        acknowledged += drain(pipe)
    return {"acknowledged": acknowledged, "killed": killed}


def together(url: str, writers: int, each: int) -> dict[str, object]:
    nest = [hatch(url, f"w{n}", each) for n in range(writers)]
    acknowledged = [line for _, pipe in nest for line in drain(pipe)]
    failed = sum(os.waitpid(child, 0)[1] != 0 for child, _ in nest)
    return {"acknowledged": acknowledged, "failed": failed}


if __name__ == "__main__":
    mode, where, first, second = sys.argv[1:]
    jobs = {"kill": kill, "together": together}
    print(json.dumps(jobs[mode](where, int(first), int(second))))
