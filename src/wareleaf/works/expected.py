"""Loads that were called in: announce one, withdraw it, see which are still to come.

An announcement is a note in the book. Nobody has to tick it off: the intake itself does that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from wareleaf.book import Event
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, record
from wareleaf.works.take_in import HEAVIEST_LOAD_KG

ANNOUNCED = "expected_load"
WITHDRAWN = "expected_load_withdrawn"
EARLY = timedelta(hours=2)
LATE = timedelta(hours=6)
FURTHEST = timedelta(days=14)
RULE = (
    "A load counts as arrived when leaf of the same line or field was taken in from two hours "
    "before to six hours after the announced time, and after it was announced; one intake "
    "answers one announcement, the nearest in time first. The works' own rule."
)


@dataclass(frozen=True)
class ExpectedLoad:
    """A load on its way.

    Parameters
    ----------
    expected_id : str
        Of the note that announced it.
    source, name, leaf : str
        Line or field, its name, leaf profile.
    mass_kg : float
        As announced.
    arrives_at : datetime
        As announced.
    note, who : str
        What was said, and who wrote it down.
    announced_at : datetime
        When; leaf that came in before cannot be this load.
    """

    expected_id: str
    source: str
    name: str
    leaf: str
    site: str
    mass_kg: float
    arrives_at: datetime
    note: str
    who: str
    announced_at: datetime


def announce(
    works: Works,
    who: str,
    source_id: str,
    mass_kg: float,
    arrives_at: datetime,
    note: str = "",
) -> ExpectedLoad:
    """Write down a load that was called in.

    Raises
    ------
    BadInput
        For an unknown line or field, an impossible mass, a time without zone, in the past or more
        than two weeks away, or a person who may not.
    """
    source = works.settings.source_of(source_id)
    acting(works, who, "take in leaf", source.site)
    require(
        0.0 < mass_kg <= HEAVIEST_LOAD_KG,
        "mass_kg",
        mass_kg,
        f"mass_kg is {mass_kg:g}; it must be above 0 and at most {HEAVIEST_LOAD_KG:g}.",
    )
    _check_time(works, arrives_at)
    facts = {
        "subject": ANNOUNCED,
        "source": source.id,
        "mass_kg": float(mass_kg),
        "arrives_at": arrives_at.isoformat(),
    }
    event = record(works, Entry(kind="note", site=source.site, who=who, why=note, facts=facts))
    return _load_of(works, event)


def _check_time(works: Works, arrives_at: datetime) -> None:
    if arrives_at.tzinfo is None:
        shown = arrives_at.isoformat()
        raise BadInput("arrives_at", shown, "arrives_at has no time zone; give its offset.")
    now = works.now()
    require(
        now - EARLY <= arrives_at <= now + FURTHEST,
        "arrives_at",
        arrives_at.isoformat(),
        f"arrives_at is {arrives_at.astimezone(works.settings.zone):%Y-%m-%d %H:%M}; it must be "
        f"from {EARLY.seconds // 3600} hours ago to {FURTHEST.days} days ahead.",
    )


def withdraw(works: Works, who: str, expected_id: str, note: str = "") -> Event:
    """Take an announcement back.

    Raises
    ------
    BadInput
        When there is no such announcement, or it was taken back already.
    """
    event = works.book.event(expected_id).event
    if event.facts.get("subject") != ANNOUNCED:
        raise BadInput("expected_id", expected_id, f"{expected_id} does not announce a load.")
    acting(works, who, "take in leaf", event.site)
    if expected_id in _withdrawn(works.book.events_in_force(kind="note", site=event.site)):
        raise BadInput("expected_id", expected_id, "That load was taken back already.")
    facts = {"subject": WITHDRAWN, "expected_id": expected_id}
    return record(works, Entry(kind="note", site=event.site, who=who, why=note, facts=facts))


def expected(
    works: Works, site_id: str, since: datetime, until: datetime
) -> tuple[ExpectedLoad, ...]:
    """Loads announced for a stretch of time that have not arrived, the soonest first.

    `RULE` says when a load counts as arrived.
    """
    notes = works.book.events_in_force(
        kind="note", since=since - FURTHEST - LATE, until=None, site=site_id
    )
    gone = _withdrawn(notes)
    announced = sorted(
        (
            _load_of(works, e)
            for e in notes
            if e.facts.get("subject") == ANNOUNCED and e.event_id not in gone
        ),
        key=lambda x: (x.arrives_at, x.expected_id),
    )
    # Announcements before ``since`` claim their intakes too, or one intake would serve twice.
    around = [x for x in announced if since - LATE - EARLY <= x.arrives_at < until]
    if not around:
        return ()
    intakes = works.book.events_in_force(
        kind="intake",
        since=around[0].arrives_at - EARLY,
        until=around[-1].arrives_at + LATE + timedelta(seconds=1),
        site=site_id,
    )
    arrived = _arrived(around, intakes)
    return tuple(x for x in around if x.arrives_at >= since and x.expected_id not in arrived)


def _withdrawn(notes: Sequence[Event]) -> set[str]:
    return {str(e.facts["expected_id"]) for e in notes if e.facts.get("subject") == WITHDRAWN}


def _arrived(loads: Sequence[ExpectedLoad], intakes: Sequence[Event]) -> set[str]:
    """Announcements that an intake answers: pairs nearest in time are made first."""
    pairs = sorted(
        (abs((e.happened_at - x.arrives_at).total_seconds()), x.expected_id, e.event_id)
        for x in loads
        for e in intakes
        if e.outputs
        and e.facts.get("source") == x.source
        and max(x.arrives_at - EARLY, x.announced_at) <= e.happened_at <= x.arrives_at + LATE
    )
    answered: set[str] = set()
    used: set[str] = set()
    for _, expected_id, event_id in pairs:
        if expected_id not in answered and event_id not in used:
            answered.add(expected_id)
            used.add(event_id)
    return answered


def _load_of(works: Works, event: Event) -> ExpectedLoad:
    facts = event.facts
    source = works.settings.source_of(str(facts["source"]))
    return ExpectedLoad(
        expected_id=event.event_id,
        source=source.id,
        name=source.name,
        leaf=source.leaf,
        site=source.site,
        mass_kg=float(facts["mass_kg"]),
        arrives_at=datetime.fromisoformat(str(facts["arrives_at"])).astimezone(works.settings.zone),
        note=event.why,
        who=event.who,
        announced_at=event.happened_at,
    )
