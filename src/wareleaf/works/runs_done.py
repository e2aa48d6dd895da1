"""Finished runs of a machine with what went on and what came off, read from the book once.

The book is read again only when an entry was corrected; a run that was finished since is added, and
so is what a laboratory reads later of a run that is finished. Other readings and intakes leave the
list as it is.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from wareleaf.book import Event, LotState
from wareleaf.stages.common import StageReading
from wareleaf.works.house import Works
from wareleaf.works.settings import Equipment

OF_THE_LEAF = ("theaflavin_fraction", "colour_index")
"""Readings that tell how far a run went where the moisture that came off does not."""
SAMPLED = ("oxidise",)
"""Stages whose rate is told by such readings only."""
_LATEST_H = 0.25  # a sample from the bin, just weighed off, is of the run (own choice)


@dataclass(frozen=True)
class Done:
    """One finished run that took leaf and gave leaf.

    Parameters
    ----------
    start, end : Event
        With corrections in place.
    lots : tuple of LotState
        What went on.
    readings : tuple of Event
        Of `OF_THE_LEAF`, taken on the run, in the order they were taken.
    notes : dict
        Room for what was found of it and those before it; forgotten when these change.
    """

    start: Event
    end: Event
    lots: tuple[LotState, ...]
    readings: tuple[Event, ...] = ()
    notes: dict[Any, Any] = field(default_factory=dict, repr=False, compare=False)

    @property
    def run_id(self) -> str:
        """Which run."""
        return str(self.start.facts["run_id"])

    @property
    def leaf(self) -> str:
        """Leaf profile that went on."""
        return self.lots[0].leaf

    @property
    def settings(self) -> Mapping[str, float]:
        """As the run was set."""
        given: Mapping[str, float] = self.start.facts["settings"]
        return given

    @property
    def started_at(self) -> datetime:
        """When the leaf went on."""
        return self.start.happened_at

    @property
    def finished_at(self) -> datetime:
        """When it was weighed off."""
        return self.end.happened_at

    @property
    def hours(self) -> float:
        """From start to weighed off."""
        return (self.finished_at - self.started_at).total_seconds() / 3600.0

    @property
    def mass_kg(self) -> float:
        """Weighed off."""
        return sum(m.mass_g for m in self.end.outputs) / 1000.0

    @property
    def mass_sd_kg(self) -> float:
        """Standard uncertainty of that."""
        return math.hypot(*(m.mass_sd_g for m in self.end.outputs)) / 1000.0

    @property
    def moisture_wb(self) -> float:
        """Of all that came off, wet basis."""
        return 1.0 - sum(m.dry_g for m in self.end.outputs) / 1000.0 / self.mass_kg

    @property
    def moisture_sd(self) -> float:
        """Standard uncertainty of that: the part of the dry matter's that no scale explains."""
        dry_sd = math.hypot(*(m.dry_sd_g for m in self.end.outputs)) / 1000.0
        weighing = (1.0 - self.moisture_wb) * self.mass_sd_kg
        return math.sqrt(max(dry_sd**2 - weighing**2, 0.0)) / self.mass_kg

    @property
    def tells(self) -> bool:
        """Whether its rate was measured: by the moisture, on an oxidation floor by a reading."""
        return self.start.facts["stage"] not in SAMPLED or bool(self.readings)

    @property
    def read(self) -> tuple[StageReading, ...]:
        """Its readings in the stage's own time."""
        return stage_readings(self.started_at, self.readings)

    @property
    def outcome(self) -> tuple[object, ...]:
        """When and how wet it came off, how sure that is, and what was read of the leaf."""
        read = [(r.time_h, r.quantity, r.value, r.standard_uncertainty) for r in self.read]
        return (self.finished_at.isoformat(), self.moisture_wb, self.moisture_sd, *read)

    def known_at(self, at: datetime) -> Done:
        """The run with the readings only that were recorded before a time."""
        if all(e.recorded_at < at for e in self.readings):
            return self
        return replace(self, readings=tuple(e for e in self.readings if e.recorded_at < at))


def stage_readings(start: datetime, readings: Sequence[Event]) -> tuple[StageReading, ...]:
    """Readings in the time of a stage that started then."""
    return tuple(
        StageReading(
            time_h=max(0.0, (e.happened_at - start).total_seconds() / 3600.0),
            quantity=e.facts["quantity"],
            value=float(e.facts["value"]),
            standard_uncertainty=max(float(e.facts["standard_uncertainty"]), 1e-6),
        )
        for e in readings
    )


@dataclass
class _Read:
    """What was read of one book, and up to where."""

    sequence: int = 0
    hash: str = ""
    since: dict[str, datetime] = field(default_factory=dict)
    runs: dict[tuple[str, str], list[Done]] = field(default_factory=dict)


_READ: dict[str, _Read] = {}
_LOCK = threading.RLock()


def runs_done(works: Works, machine: Equipment, leaf_id: str, since: datetime) -> Sequence[Done]:
    """Finished runs of a leaf on a machine that started from a time on, in order of finishing."""
    with _LOCK:
        read = _READ.setdefault(f"{works.folder} {works.book.engine.url}", _Read())
        _follow(works, read)
        known = read.since.get(machine.site)
        if known is None or since < known:
            _load(works, read, machine.site, since)
        return read.runs.get((machine.id, leaf_id), [])


def _follow(works: Works, read: _Read) -> None:
    """Take in what was recorded since; forget all when an entry was corrected."""
    last = works.book.events(limit=1, newest_first=True)
    if not last or last[0].hash == read.hash:
        return
    grown = last[0].sequence - read.sequence
    new = works.book.events(limit=grown + 1, newest_first=True) if grown > 0 else []
    # The chain says whether what was read is still what stands below the new entries.
    same = bool(new) and read.sequence > 0 and new[-1].hash == read.hash
    if same and all(row.event.kind != "correction" for row in new[:-1]):
        for row in reversed(new[:-1]):
            event = row.event
            if event.kind == "stage_finished" and event.site in read.since:
                _add(read, finished_of(works, [*_of_its_run(works, event), event]))
            elif event.kind == "reading" and event.facts["quantity"] in OF_THE_LEAF:
                _add_reading(read, event)
    else:
        read.since.clear()
        read.runs.clear()
    read.sequence, read.hash = last[0].sequence, last[0].hash


def _of_its_run(works: Works, end: Event) -> list[Event]:
    """The start of a run that is finished now, and what was read on it."""
    if not end.inputs:
        return []
    starts = works.book.events_in_force(kind="stage_started", lot_id=end.inputs[0].lot_id)
    mine = [e for e in starts if e.facts["run_id"] == end.facts["run_id"]]
    if not mine or mine[0].facts["stage"] not in SAMPLED:
        return mine
    since = mine[0].happened_at
    return [*mine, *works.book.events_in_force(kind="reading", since=since, site=end.site)]


def _add_reading(read: _Read, event: Event) -> None:
    """A reading of a run that was finished before; on one that still runs it waits for its end."""
    for row in read.runs.values():
        for at, each in enumerate(row):
            known = {e.event_id for e in each.readings}  # read with its end, when that is new too
            if each.run_id == event.facts.get("run_id") and event.event_id not in known:
                both = sorted((*each.readings, event), key=lambda e: e.happened_at)
                row[at] = replace(each, readings=_of_the_run(each.start, each.end, both), notes={})
                for later in row[at:]:
                    later.notes.clear()


def _of_the_run(start: Event, end: Event, readings: Sequence[Event]) -> tuple[Event, ...]:
    """Those that were taken between its start and a little after its end."""
    last = end.happened_at + timedelta(hours=_LATEST_H)
    return tuple(e for e in readings if start.happened_at < e.happened_at <= last)


def _add(read: _Read, done: Sequence[Done]) -> None:
    for each in done:
        row = read.runs.setdefault((str(each.start.facts["equipment"]), each.leaf), [])
        row.append(each)
        row.sort(key=lambda d: (d.finished_at, d.run_id))
        if row[-1] is not each:  # typed in late: what was noted of the later ones no longer holds
            for later in row:
                later.notes.clear()


def _load(works: Works, read: _Read, site: str, since: datetime) -> None:
    events = works.book.events_in_force(kind=KINDS, since=since, site=site)
    done = sorted(finished_of(works, events), key=lambda d: d.finished_at)
    mine = {m.id for m in works.settings.equipment if m.site == site}
    for key in [k for k in read.runs if k[0] in mine]:
        del read.runs[key]
    _add(read, done)
    read.since[site] = since


KINDS = ("stage_started", "stage_finished", "reading")
"""Events that `finished_of` is made from."""


def finished_of(works: Works, events: Sequence[Event]) -> list[Done]:
    """Runs with start, end, readings of the leaf and the lots that went on.

    Those that gave nothing are left out.
    """
    starts: dict[Any, Event] = {e.facts["run_id"]: e for e in events if e.kind == "stage_started"}
    ends = [
        e
        for e in events
        if e.kind == "stage_finished" and e.inputs and e.outputs and e.facts["run_id"] in starts
    ]
    read: dict[Any, list[Event]] = {}
    for e in events:
        if e.kind == "reading" and e.facts["quantity"] in OF_THE_LEAF:
            read.setdefault(e.facts.get("run_id"), []).append(e)
    wanted = {d.lot_id for e in ends for d in e.inputs}
    lots = {lot.lot_id: lot for lot in works.book.lots(ids=sorted(wanted))} if wanted else {}
    return [
        Done(
            start := starts[e.facts["run_id"]],
            e,
            tuple(lots[d.lot_id] for d in e.inputs),
            _of_the_run(start, e, read.get(e.facts["run_id"], [])),
        )
        for e in ends
    ]
