"""A fault: what is wrong, over which time, and how it is said."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from wareleaf.book import Event
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.sight import Sight

FaultKind = Literal["lot", "source", "machine", "meter", "laboratory", "film"]
KINDS: tuple[FaultKind, ...] = ("lot", "source", "machine", "meter", "laboratory", "film")


@dataclass(frozen=True)
class Fault:
    """What is wrong, and over which time.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    subject : str
        A lot; a line, field, grower or site; a machine; a meter; a laboratory, a method or the
        batch of a kit; a film, or the batch of a film or of labels.
    since, until : datetime or None
        When it happened, from the first up to, not including, the second; None leaves it open. Not
        used for a lot.
    tail_h : float or None
        Hours of running after ``until`` in which a machine still carries the fault; None takes
        what the machine's own water says (`tail_hours`).
    """

    kind: FaultKind
    subject: str
    since: datetime | None = None
    until: datetime | None = None
    tail_h: float | None = None


@dataclass(frozen=True)
class Start:
    """The lots a fault starts at, each with why, and what people must know of the choice."""

    lots: dict[str, str]
    notes: tuple[str, ...]


def check(fault: Fault) -> None:
    """Refuse a fault that cannot be, before the book is asked.

    Raises
    ------
    BadInput
        Naming the field.
    """
    require(
        fault.kind in KINDS,
        "kind",
        fault.kind,
        f"kind is {fault.kind!r}; it must be one of: {', '.join(KINDS)}.",
    )
    require(
        bool(fault.subject.strip()),
        "subject",
        fault.subject,
        f"subject is empty; say which {fault.kind}.",
    )
    for name, at in (("since", fault.since), ("until", fault.until)):
        if at is not None and at.tzinfo is None:
            raise BadInput(name, str(at), f"{name} has no time zone; give its offset.")
    if fault.since and fault.until and not fault.since < fault.until:
        raise BadInput(
            "until",
            str(fault.until),
            f"until is {fault.until:%Y-%m-%d %H:%M}; it must be later than the "
            f"beginning, {fault.since:%Y-%m-%d %H:%M}.",
        )
    if fault.tail_h is not None and not 0.0 <= fault.tail_h < 10_000.0:
        raise BadInput(
            "tail_h", fault.tail_h, f"tail_h is {fault.tail_h}; it must be 0 hours or more."
        )


def words_of(works: Sight, fault: Fault) -> str:
    """A fault in words, such as ``Blanch bath, 8 May 06:00 to 8 May 09:00``."""
    named: dict[str, str] = {
        "source": {s.id: s.name for s in works.settings.source},
        "machine": {e.id: e.name for e in works.settings.equipment},
        "meter": {m.id: m.name for m in works.settings.meter},
        "film": {f.id: f.name for f in works.settings.film},
    }.get(fault.kind, {})
    subject = named.get(fault.subject, fault.subject)
    if fault.kind in ("lot", "laboratory"):
        subject = f"{fault.kind.capitalize()} {subject}"

    def at(moment: datetime) -> str:
        return f"{moment.astimezone(works.settings.zone):%d %b %Y %H:%M}"

    if fault.kind == "lot" or not (fault.since or fault.until):
        return subject
    since = f"from {at(fault.since)}" if fault.since else ""
    until = f"until {at(fault.until)}" if fault.until else ""
    return f"{subject}, {' '.join(w for w in (since, until) if w)}"


def events_in(works: Sight, fault: Fault, *kinds: str) -> list[Event]:
    """Events of some kinds in the time of a fault."""
    return works.book.events_in_force(kind=kinds, since=fault.since, until=fault.until)


def in_time(fault: Fault, at: datetime) -> bool:
    """Whether a moment lies in the time of a fault."""
    return (fault.since is None or at >= fault.since) and (fault.until is None or at < fault.until)


def finished_runs(works: Sight, since: datetime | None) -> dict[str, Event]:
    """The end of each run as it stands after corrections, by run."""
    ends = works.book.events_in_force(kind="stage_finished", since=since)
    return {str(e.facts.get("run_id")): e for e in ends}
