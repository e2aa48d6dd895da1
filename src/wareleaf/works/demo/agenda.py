"""The demo's own time: people's doings as generators that yield when they next act.

A doing runs to its next ``yield``, names the time at which it goes on, and waits. The agenda wakes
doings in order of time, so both works share one clock and the book is written as it happened.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Generator
from datetime import date, datetime, timedelta

Doing = Generator[datetime, None, None]


class Agenda:
    """A clock that jumps from one doing to the next."""

    def __init__(self, start: datetime) -> None:
        self.now = start
        self._count = 0
        self._waiting: list[tuple[datetime, int, Doing]] = []

    def clock(self) -> datetime:
        """The time now, for `Works`."""
        return self.now

    def start(self, doing: Doing) -> None:
        """Let a doing begin now; its first ``yield`` says when it does something."""
        self._go_on(doing)

    def run(self, until: datetime, new_day: Callable[[date], None] | None = None) -> None:
        """Wake doings in order up to a time, that time included."""
        day = self.now.date()
        while self._waiting and self._waiting[0][0] <= until:
            at, _, doing = heapq.heappop(self._waiting)
            self.now = max(self.now, at)
            if new_day is not None and self.now.date() > day:
                day = self.now.date()
                new_day(day)
            self._go_on(doing)
        self.now = until

    def _go_on(self, doing: Doing) -> None:
        at = next(doing, None)
        if at is not None:
            self._count += 1
            heapq.heappush(self._waiting, (at, self._count, doing))


def hours(n: float) -> timedelta:
    """Hours as a span, in whole seconds."""
    return timedelta(seconds=round(3600.0 * n))
