"""Act on a recall: hold every affected lot that is here, and keep a drill with its result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from wareleaf.book import Event
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.recall import Recall, recall
from wareleaf.works.recall_fault import Fault
from wareleaf.works.record import Entry, event_of, record

JOB = "run a recall"
FACT = "recall_drill"
LONGEST_DRILL = timedelta(days=2)
"""A drill that seems to have taken longer was a page left open (our own choice)."""


@dataclass(frozen=True)
class Drill:
    """A drill that was kept.

    Parameters
    ----------
    at : datetime
        When it ended.
    who : str
        Who ran it.
    event_id : str
        Where it stands in the book.
    result : mapping
        What it found: ``words``, ``lots``, ``here``, ``customers``, ``total_dry_kg``,
        ``accounted`` (fraction), ``unexplained_dry_kg``, ``taken_s``.
    """

    at: datetime
    who: str
    event_id: str
    result: dict[str, Any]


def held_words(events: Sequence[Event]) -> str:
    """What `hold_all` did, as a sentence."""
    return "1 lot is on hold now." if len(events) == 1 else f"{len(events)} lots are on hold now."


def hold_all(
    works: Works, who: str, fault: Fault, reason: str, *, document: str = ""
) -> list[Event]:
    """Put every lot the fault reached and of which something is here on hold, for one reason.

    The lots are found again in the same transaction, so that what was made since the report was
    read is held too; all are held or none.

    Raises
    ------
    BadInput
        When the reason is empty, nothing is left to hold, or the person may not.
    """
    require(bool(reason.strip()), "reason", reason, "reason is empty; say why all this is held.")
    acting(works, who, JOB)
    with works.book.draft() as draft:
        inside = replace(works, book=draft)
        found = recall(inside, fault)
        if not found.not_held:
            raise BadInput(
                "reason",
                fault.subject,
                "Nothing to hold: no lot the fault reached is here."
                if not found.here
                else "Nothing to hold: every lot here that the fault reached is on hold.",
            )
        events = []
        for affected in found.not_held:
            acting(works, who, JOB, affected.lot.site)
            facts = {"lot_id": affected.lot.lot_id, "reason": _reason(found, reason)}
            entry = Entry(
                kind="hold",
                site=affected.lot.site,
                who=who,
                why=reason,
                document=document,
                facts=facts,
            )
            events.append(event_of(inside, entry))
        draft.append_many(events, now=works.now())
    return events


def _reason(found: Recall, reason: str) -> str:
    return f"recall, {found.fault_words}: {reason.strip()}"


def keep_drill(works: Works, who: str, found: Recall, began: datetime) -> Event:
    """Keep a drill as a note, so that an auditor sees when it was and what it found.

    Parameters
    ----------
    found : Recall
        The answer that the people had.
    began : datetime
        When they began, with time zone; the time taken runs from there until now.

    Raises
    ------
    BadInput
        When it has not begun, or began too long ago, or the person may not.
    """
    taken = works.now() - began
    if not timedelta() <= taken <= LONGEST_DRILL:
        raise BadInput(
            "began",
            began.isoformat(),
            f"began is {began:%Y-%m-%d %H:%M}; a drill begins before it ends and takes at most "
            f"{LONGEST_DRILL.days} days. Start it again.",
        )
    site = found.lots[0].lot.site
    acting(works, who, JOB, site)
    last = found.last
    result = {
        "words": found.fault_words,
        "fault": {k: _told(v) for k, v in asdict(found.fault).items()},
        "known_at": found.known_at.isoformat(),
        "lots": len(found.lots),
        "here": len(found.here),
        "customers": len({r.customer_id for r in found.received}),
        "total_dry_kg": last.total_g / 1000.0,
        "in_stock_dry_kg": (last.in_stock_g + last.on_machines_g) / 1000.0,
        "shipped_dry_kg": last.shipped_g / 1000.0,
        "unexplained_dry_kg": last.unexplained_g / 1000.0,
        "accounted": last.accounted,
        "explained": found.explained,
        "book_s": round(found.seconds, 3),
        "taken_s": round(taken.total_seconds(), 1),
    }
    why = f"recall drill: {found.fault_words}"
    return record(works, Entry(kind="note", site=site, who=who, why=why, facts={FACT: result}))


def _told(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime) else value


def drills(works: Works) -> list[Drill]:
    """Drills that were kept, newest first."""
    found = [
        Drill(e.happened_at, e.who, e.event_id, dict(e.facts[FACT]))
        for e in works.book.events_in_force(kind="note")
        if isinstance(e.facts.get(FACT), dict)
    ]
    return found[::-1]
