"""Machines that are out of order, and until when: notes in the book, the last word counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from wareleaf.measure.errors import BadInput, require
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, record

SUBJECT = "out_of_order"
LONGEST = timedelta(days=14)


@dataclass(frozen=True)
class Outage:
    """A machine that cannot work from one time to another."""

    machine_id: str
    from_at: datetime
    until_at: datetime


def report(
    works: Works, who: str, machine_id: str, from_at: datetime, until_at: datetime, note: str = ""
) -> Outage:
    """Write down that a machine is out of order.

    A later report on the same machine replaces the earlier one; with ``until_at`` not after
    ``from_at`` the machine is in order again.

    Raises
    ------
    BadInput
        For an unknown machine, a time without zone, an outage that begins more than two weeks
        from now or lasts longer than that, or a person who may not.
    """
    machine = works.settings.equipment_of(machine_id)
    acting(works, who, "record a reading", machine.site)
    for name, at in (("from_at", from_at), ("until_at", until_at)):
        if at.tzinfo is None:
            raise BadInput(name, at.isoformat(), f"{name} has no time zone; give its offset.")
    require(
        abs(from_at - works.now()) <= LONGEST and until_at - from_at <= LONGEST,
        "until_at",
        until_at.isoformat(),
        f"{machine.name}: an outage begins and ends within {LONGEST.days} days.",
    )
    facts = {
        "subject": SUBJECT,
        "machine": machine_id,
        "from_at": from_at.isoformat(),
        "until_at": until_at.isoformat(),
    }
    entry = Entry(kind="note", site=machine.site, who=who, place=machine_id, why=note, facts=facts)
    record(works, entry)
    return Outage(machine_id, from_at, until_at)


def outages(works: Works, site_id: str) -> tuple[Outage, ...]:
    """Outages of a site that are not over, by machine."""
    now = works.now()
    last: dict[str, Outage] = {}
    for event in works.book.events_in_force(kind="note", since=now - 2 * LONGEST, site=site_id):
        facts = event.facts
        if facts.get("subject") == SUBJECT:
            zone = works.settings.zone
            last[str(facts["machine"])] = Outage(
                str(facts["machine"]),
                datetime.fromisoformat(str(facts["from_at"])).astimezone(zone),
                datetime.fromisoformat(str(facts["until_at"])).astimezone(zone),
            )
    known = {m.id for m in works.settings.equipment}
    return tuple(
        x
        for _, x in sorted(last.items())
        if x.machine_id in known and x.until_at > now and x.until_at > x.from_at
    )
