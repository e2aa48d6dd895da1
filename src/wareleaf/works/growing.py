"""What happens where the leaf grows: work on a line or field, waiting intervals, harvests.

A treatment may name a waiting interval. Leaf that was cut before it ended is put on hold as it
comes in, with the reason; leaf that was in already when the treatment is entered late is held too.
Only who may release a lot takes it off hold. What the interval is stands in the local rules and on
the substance's own label; the book keeps what it is told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from wareleaf.book import Event
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, event_of, new_token, record

JOB = "record site work"


@dataclass(frozen=True)
class Wait:
    """A waiting interval: what was done, when, and until when nothing should be cut."""

    source: str
    what: str
    began: datetime
    until: datetime

    @classmethod
    def of(cls, event: Event, zone: tzinfo) -> Wait | None:
        """The interval that site work began; None when it names none."""
        days = event.facts.get("interval_days")
        if not days:
            return None
        began = event.happened_at.astimezone(zone)
        what = str(event.facts.get("substance") or event.facts["work"])
        return cls(str(event.facts["source"]), what, began, began + timedelta(days=float(days)))

    def covers(self, cut_at: datetime) -> bool:
        """Whether leaf cut then was cut too early."""
        return self.began <= cut_at < self.until

    def sentence(self, cut_at: datetime) -> str:
        """Why leaf that was cut then is held."""
        return (
            f"cut {cut_at:%Y-%m-%d %H:%M}, before the waiting interval of {self.what} ended at "
            f"{self.until:%Y-%m-%d %H:%M}"
        )


@dataclass(frozen=True)
class Harvest:
    """A harvest as entered, and what of it came in so far, kg."""

    harvest_id: str
    source: str
    cut_at: datetime
    estimated_kg: float
    taken_in_kg: float
    vessel: str
    people: tuple[str, ...]
    document: str
    waits: tuple[Wait, ...]


def waits_of(works: Works, source_id: str) -> tuple[Wait, ...]:
    """Every waiting interval of a line or field, corrections in place."""
    zone = works.settings.zone
    done = works.book.events_in_force(kind="site_work")
    found = (Wait.of(event, zone) for event in done if event.facts["source"] == source_id)
    return tuple(wait for wait in found if wait is not None)


def too_early(works: Works, source_id: str, cut_at: datetime) -> tuple[Wait, ...]:
    """Waiting intervals that had not ended when leaf was cut."""
    return tuple(w for w in waits_of(works, source_id) if w.covers(cut_at))


def hold_reason(works: Works, waits: Sequence[Wait], cut_at: datetime) -> str:
    """Why a load is held; empty without an open interval."""
    local = cut_at.astimezone(works.settings.zone)
    return "; ".join(w.sentence(local) for w in waits)


def record_site_work(
    works: Works,
    who: str,
    source_id: str,
    work: str,
    *,
    substance: str = "",
    dose: str = "",
    interval_days: float | None = None,
    happened_at: datetime | None = None,
    document: str = "",
    note: str = "",
) -> tuple[Event, tuple[str, ...]]:
    """Record work on a line or field; returns it and the lots that were put on hold for it.

    Parameters
    ----------
    work : str
        What was done: seeded, weeded, sprayed...
    substance, dose : str
        What was put on, and how much.
    interval_days : float or None
        Days from then on which nothing should be cut; needed with a substance, 0 for none.

    Raises
    ------
    BadInput
        For an unknown source, a substance without an interval, or a person who may not.
    """
    source = works.settings.source_of(source_id)
    acting(works, who, JOB, source.site)
    require(bool(work.strip()), "work", work, "work is empty; say what was done.")
    facts: dict[str, object] = {"source": source.id, "work": work.strip()}
    said = {"substance": substance.strip(), "dose": dose.strip(), "interval_days": interval_days}
    facts |= {k: v for k, v in said.items() if v not in ("", None)}
    entry = Entry(
        kind="site_work",
        site=source.site,
        who=who,
        place=source.id,
        why=note,
        document=document,
        happened_at=happened_at,
        facts=facts,
    )
    event = event_of(works, entry)
    wait = Wait.of(event, works.settings.zone)
    holds = late_holds(works, who, wait) if wait is not None else []
    works.book.append_many([event, *holds], now=works.now())
    return event, tuple(str(h.facts["lot_id"]) for h in holds)


def late_holds(
    works: Works, who: str, wait: Wait, cut: Mapping[str, datetime] | None = None
) -> list[Event]:
    """Holds on what was cut in the interval, came in already, and is still here in any form.

    ``cut`` gives the loads and when they were cut; those in the book when left out.
    """
    if cut is None:
        cut = {
            made.lot_id: datetime.fromisoformat(str(event.facts["cut_at"]))
            for event in works.book.events_in_force(kind="intake", since=wait.began)
            if event.facts.get("source") == wait.source and event.facts.get("cut_at")
            for made in event.outputs
        }
    reasons: dict[str, str] = {}
    for lot_id, cut_at in cut.items():
        if wait.covers(cut_at):
            reason = hold_reason(works, [wait], cut_at)
            reasons[lot_id] = reason
            for below in works.book.lots_below(lot_id):
                reasons.setdefault(below, f"made of {lot_id}: {reason}")
    lots = works.book.lots(ids=list(reasons), in_stock_only=True)
    entries = (
        Entry(
            kind="hold",
            site=lot.site,
            who=who,
            why=reasons[lot.lot_id],
            facts={"lot_id": lot.lot_id, "reason": reasons[lot.lot_id]},
        )
        for lot in lots
        if not lot.held_because
    )
    return [event_of(works, entry) for entry in entries]


def record_harvest(
    works: Works,
    who: str,
    source_id: str,
    estimated_kg: float,
    *,
    harvest_id: str = "",
    cut_at: datetime | None = None,
    vessel: str = "",
    people: Sequence[str] = (),
    document: str = "",
    note: str = "",
) -> Harvest:
    """Record a harvest: leaf that was cut and is on its way.

    Raises
    ------
    BadInput
        For an unknown source, a number that is taken, a weight below 0, or a person who may not.
    """
    source = works.settings.source_of(source_id)
    acting(works, who, JOB, source.site)
    at = cut_at or works.now()
    name = harvest_id.strip() or f"H-{at.astimezone(works.settings.zone):%y%m%d}-{new_token(2)}"
    taken = {str(e.facts["harvest_id"]) for e in works.book.events_in_force(kind="harvest")}
    require(
        name not in taken,
        "harvest_id",
        name,
        f"There is a harvest {name} already; give the new one another number.",
    )
    require(
        estimated_kg >= 0.0,
        "estimated_kg",
        estimated_kg,
        f"estimated_kg is {estimated_kg:g}; it must be 0 or more.",
    )
    facts = {
        "source": source.id,
        "harvest_id": name,
        "cut_at": at.isoformat(),
        "estimated_kg": float(estimated_kg),
        "vessel": vessel.strip(),
        "people": [p.strip() for p in people if p.strip()],
    }
    record(
        works,
        Entry(
            kind="harvest",
            site=source.site,
            who=who,
            place=source.id,
            why=note,
            document=document,
            happened_at=at,
            facts=facts,
        ),
    )
    return harvest_of(works, name)


def harvest_of(works: Works, harvest_id: str) -> Harvest:
    """A harvest by its number.

    Raises
    ------
    BadInput
        When there is none.
    """
    for event in works.book.events_in_force(kind="harvest"):
        if event.facts["harvest_id"] == harvest_id:
            return _harvest(works, event)
    raise BadInput(
        "harvest",
        harvest_id,
        f"There is no harvest {harvest_id}; record it first, or take the load in without one.",
    )


def harvests(works: Works, site_id: str, since: datetime | None = None) -> list[Harvest]:
    """Harvests for a site, newest first."""
    found = works.book.events_in_force(kind="harvest", site=site_id, since=since)
    return [_harvest(works, event) for event in reversed(found)]


def works_done(works: Works, site_id: str, most: int = 12) -> list[Event]:
    """Site work for a site, newest first."""
    return works.book.events_in_force(kind="site_work", site=site_id)[::-1][:most]


def _harvest(works: Works, event: Event) -> Harvest:
    facts = event.facts
    cut_at = datetime.fromisoformat(facts["cut_at"])
    loads = works.book.events_in_force(kind="intake", site=event.site, since=cut_at)
    came = (m.mass_g for e in loads if e.facts.get("harvest") == facts["harvest_id"]
            for m in e.outputs)  # fmt: skip
    return Harvest(
        harvest_id=facts["harvest_id"],
        source=facts["source"],
        cut_at=cut_at,
        estimated_kg=float(facts["estimated_kg"]),
        taken_in_kg=sum(came) / 1000.0,
        vessel=str(facts.get("vessel", "")),
        people=tuple(facts.get("people", ())),
        document=event.document,
        waits=too_early(works, str(facts["source"]), cut_at),
    )
