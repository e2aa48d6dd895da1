"""Open the demo on its own clock: the morning of its last day, going on from there."""

from __future__ import annotations

import time as ticking
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from pathlib import Path

from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works, open_works

PIN = "2468"
DEMO_DAY = date(2026, 5, 8)  # a Friday; invented
NOW_H = 10.0 + 40.0 / 60.0
_STARTED = ticking.monotonic()


def is_demo(works: Works) -> bool:
    """Whether this works is a demo."""
    return isinstance(works.book.settings_get("demo"), dict)


def demo_clock(works: Works) -> Callable[[], datetime]:
    """The demo's clock: the latest of its morning and its last event, and on from there.

    It goes on with the real seconds since the process began, so two events are never in the wrong
    order and a run on a trough really goes on while someone looks.
    """
    zone = works.settings.zone
    kept = works.book.settings_get("demo", {})
    day = date.fromisoformat(str(kept.get("day", DEMO_DAY.isoformat())))
    start = datetime.combine(day, time(), zone) + timedelta(hours=NOW_H)
    last = works.book.events(limit=1, newest_first=True)
    if last:
        start = max(start, last[0].event.recorded_at)

    def now() -> datetime:
        spent_s = round(ticking.monotonic() - _STARTED, 3)
        return (start + timedelta(seconds=spent_s)).astimezone(zone)

    return now


def open_demo(folder: Path) -> Works:
    """Open a demo folder on its own clock.

    Raises
    ------
    BadInput
        When the folder holds no works, or one that is no demo.
    """
    works = open_works(folder)
    if not is_demo(works):
        works.book.close()
        raise BadInput(
            "folder", str(folder), f"{folder} holds a works that is no demo; name another folder."
        )
    return replace(works, clock=demo_clock(works))
