"""Is this computer's clock right? Held against the last entry of the book; told, never refused.

The rule (our own choice): an entry is never lost for a wrong clock, and recorded time never runs
backward. With the clock behind, entries are stamped with the last recorded time until it has been
passed. With the clock far ahead they are stamped as it says, for the book cannot know better; so it
is told before anything is recorded.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from wareleaf.works.house import Works

SLACK = timedelta(minutes=2)
"""Two computers on one book may differ so much (our own choice)."""

LONGEST_REST = timedelta(days=400)
"""No works stands still longer from season to season (our own choice)."""


def clock_trouble(works: Works) -> str:
    """What is wrong with the clock, in a sentence; empty when nothing speaks against it."""
    last = works.book.last_recorded()
    if last is None:
        return ""
    now = works.now()
    if last - now > SLACK:
        return (
            f"The clock of this computer says {_show(now, works)}, but the last entry was recorded "
            f"at {_show(last, works)}: it was set back, or it was ahead then. Set it right. Until "
            f"it has passed {_show(last, works)}, entries keep their order and are stamped with "
            "that time, and when things happened must be typed by hand."
        )
    if now - last > LONGEST_REST:
        return (
            f"The clock of this computer says {_show(now, works)}, {(now - last).days} days after "
            f"the last entry ({_show(last, works)}). If the works did not stand still so long, set "
            "the clock right before you record: a recorded time cannot be taken back."
        )
    return ""


def _show(at: datetime, works: Works) -> str:
    return f"{at.astimezone(works.settings.zone):%Y-%m-%d %H:%M}"
