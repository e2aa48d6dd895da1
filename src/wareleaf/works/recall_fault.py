"""A fault and the lots it starts at: a lot, a line or grower, a machine's hours, a kit, a film."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from wareleaf.book import Event, RunState
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.settings import Equipment
from wareleaf.works.sight import Sight

FaultKind = Literal["lot", "source", "machine", "meter", "laboratory", "film"]
KINDS: tuple[FaultKind, ...] = ("lot", "source", "machine", "meter", "laboratory", "film")

TAIL_LEFT = 0.01
"""A bath is taken as free of a fault when 1 % of its water of then is left (our own choice)."""


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


def tail_hours(machine: Equipment) -> float:
    """Hours of running until a bath holds only `TAIL_LEFT` of the water it held, 0 for others.

    A well-mixed vessel with a steady exchange keeps exp(-t Q / V) of its first contents (washout
    of a stirred tank; standard result). V is ``water_kg`` and Q is ``refresh_kg_per_kg`` times the
    machine's rate. Emptying the bath in between ends the tail sooner, so this errs to the safe
    side.
    """
    water_kg = float(machine.settings.get("water_kg", 0.0) or 0.0)
    through_kg_h = float(machine.settings.get("refresh_kg_per_kg", 0.0) or 0.0) * (
        machine.rate_kg_h or 0.0
    )
    if machine.kind != "blanch_bath" or not water_kg:
        return 0.0
    return water_kg / through_kg_h * math.log(1.0 / TAIL_LEFT) if through_kg_h else math.inf


def start_of(works: Sight, fault: Fault) -> Start:
    """The lots a fault starts at.

    Raises
    ------
    BadInput
        When the subject is unknown, the time runs backward, or no lot is affected.
    """
    _check(fault)
    find = {
        "lot": _of_lot,
        "source": _of_source,
        "machine": _of_machine,
        "meter": _of_meter,
        "laboratory": _of_laboratory,
        "film": _of_film,
    }[fault.kind]
    found = find(works, fault)
    if not found.lots:
        raise BadInput(
            "subject",
            fault.subject,
            f"No lot is affected: the book has nothing of {fault.kind} {fault.subject} in this "
            "time.",
        )
    return found


def _check(fault: Fault) -> None:
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


def _of_lot(works: Sight, fault: Fault) -> Start:
    lot = works.book.lot(fault.subject)
    return Start({lot.lot_id: "the lot at fault"}, ())


def _events(works: Sight, fault: Fault, *kinds: str) -> list[Event]:
    return works.book.events_in_force(kind=kinds, since=fault.since, until=fault.until)


def _of_source(works: Sight, fault: Fault) -> Start:
    asked = fault.subject.strip().casefold()
    sites = {s.id: s.name.casefold() for s in works.settings.site}
    ids = {
        s.id: s.name
        for s in works.settings.source
        if asked in (s.id.casefold(), s.name.casefold(), s.grower.casefold(), s.site, sites[s.site])
    }
    lots: dict[str, str] = {}
    for event in _events(works, fault, "intake"):
        for made in event.outputs:
            named = str(made.attributes.get("source") or event.facts.get("source") or "")
            if named in ids or named.casefold() == asked:
                lots[made.lot_id] = f"taken in from {ids.get(named, named)}"
    if not ids and not lots:
        growers = dict.fromkeys(s.grower for s in works.settings.source if s.grower)
        known = [*(s.id for s in works.settings.source), *growers]
        raise BadInput("subject", fault.subject, _unknown("source", fault.subject, known))
    return Start(lots, ())


def _unknown(what: str, subject: str, known: Iterable[str]) -> str:
    return f"There is no {what} {subject!r}; there are: {', '.join(known) or 'none'}."


def _of_machine(works: Sight, fault: Fault) -> Start:
    machine = works.settings.equipment_of(fault.subject)
    if machine.stage == "pack":
        return _of_bench(works, fault, machine)
    runs, tail = _runs_in(works, fault, machine)
    notes = []
    made_by = _finished(works, fault.since)
    lots: dict[str, str] = {}
    for run in runs:
        late = "" if run.run_id not in tail else ", while its water still carried the fault"
        if run.finished_at is None:
            for lot_id in run.lots:
                lots[lot_id] = f"on {machine.name} now{late}"
            verb, noun = ("is", "a whole") if len(run.lots) == 1 else ("are", "wholes")
            notes.append(
                f"{', '.join(run.lots)} {verb} on {machine.name} now and counted as {noun}, with "
                "what was taken from there before."
            )
        elif run.run_id in made_by:
            for made in made_by[run.run_id].outputs:
                lots[made.lot_id] = f"came off {machine.name}{late}"
    part = [r for r in runs if r.run_id not in tail and _outside(r, fault, works.now())]
    if part:
        notes.append(
            f"{len(part)} run{'s' if len(part) > 1 else ''} lay partly outside the time. What came "
            "off was gathered together, so all of it is counted."
        )
    if tail:
        hours = tail_hours(machine) if fault.tail_h is None else fault.tail_h
        notes.append(
            f"{len(tail)} run{'s' if len(tail) > 1 else ''} after the end of the fault "
            f"{'are' if len(tail) > 1 else 'is'} counted too: {machine.name} still carries it for "
            f"{hours:.1f} h of running. Give a shorter carry-over if the water was changed."
        )
    return Start(lots, tuple(notes))


def _outside(run: RunState, fault: Fault, now: datetime) -> bool:
    """Whether a run went on before or after the time of the fault."""
    early = fault.since is not None and run.started_at < fault.since
    late = fault.until is not None and (run.finished_at or now) > fault.until
    return early or late


def _runs_in(works: Sight, fault: Fault, machine: Equipment) -> tuple[list[RunState], set[str]]:
    """Runs that touch the time of the fault, and which of them only its carry-over reaches."""
    tail_h = tail_hours(machine) if fault.tail_h is None else fault.tail_h
    now, found, tail, ran_h = works.now(), [], set(), 0.0
    for run in works.book.runs(site=machine.site):
        if run.equipment != machine.id:
            continue
        end = run.finished_at or now
        if fault.since is not None and end <= fault.since:
            continue
        if fault.until is not None and run.started_at >= fault.until:
            if ran_h >= tail_h:
                break
            tail.add(run.run_id)
        if fault.until is not None:
            ran_h += max((end - max(run.started_at, fault.until)).total_seconds() / 3600.0, 0.0)
        found.append(run)
    return found, tail


def _of_bench(works: Sight, fault: Fault, machine: Equipment) -> Start:
    benches = [e for e in works.settings.equipment if e.site == machine.site and e.stage == "pack"]
    lots = {
        made.lot_id: f"packed on {machine.name}"
        for event in _events(works, fault, "pack")
        if event.site == machine.site and event.facts.get("equipment", machine.id) == machine.id
        for made in event.outputs
    }
    note = (
        f"The book does not say which of {len(benches)} packing benches was used; all packing at "
        "the site in this time is counted."
    )
    return Start(lots, (note,) if len(benches) > 1 else ())


_JUDGES = ("intake", "stage_finished", "split", "pack", "count", "reading", "result")


def _of_meter(works: Sight, fault: Fault) -> Start:
    meter = works.settings.meter_of(fault.subject)
    made_by = _finished(works, fault.since)
    lots: dict[str, str] = {}
    for event in _events(works, fault, *_JUDGES):
        facts = event.facts
        named = {facts.get(k) for k in ("meter", "moisture_meter", "scale", "method")}
        for made in event.outputs:
            own = {made.attributes.get(k) for k in ("scale", "moisture_meter")}
            if meter.id in named or (event.kind == "stage_finished" and meter.id in own):
                lots.setdefault(made.lot_id, f"{meter.name} in its {_words(event.kind)}")
        if meter.id in named and not event.outputs:
            for lot_id in _spoken_of(works, event, made_by):
                lots.setdefault(lot_id, f"{meter.name} in a {_words(event.kind)}")
    return Start(_known(works, lots), ())


def _words(kind: str) -> str:
    return {"stage_finished": "run", "result": "laboratory result", "pack": "packing"}.get(
        kind, kind
    )


def _spoken_of(works: Sight, event: Event, made_by: Mapping[str, Event]) -> list[str]:
    """Lots that a reading or a result speaks of: its lot, or what its run made (or holds yet)."""
    if event.facts.get("lot_id"):
        return [str(event.facts["lot_id"])]
    run_id = str(event.facts.get("run_id"))
    if run_id in made_by:
        return [m.lot_id for m in made_by[run_id].outputs]
    return [lot_id for run in works.book.runs(ids=[run_id]) for lot_id in run.lots]


def _finished(works: Sight, since: datetime | None) -> dict[str, Event]:
    """The end of each run as it stands after corrections, by run."""
    ends = works.book.events_in_force(kind="stage_finished", since=since)
    return {str(e.facts.get("run_id")): e for e in ends}


def _known(works: Sight, lots: dict[str, str]) -> dict[str, str]:
    """Without the lots that a correction took out of the book."""
    there = {lot.lot_id for lot in works.book.lots(ids=list(lots))}
    return {k: why for k, why in lots.items() if k in there}


def _of_laboratory(works: Sight, fault: Fault) -> Start:
    asked = fault.subject.strip().casefold()
    lots: dict[str, str] = {}
    known: dict[str, None] = {}
    for event in works.book.events_in_force(kind="result"):
        names = [str(event.facts.get(k) or "") for k in ("laboratory", "method", "kit")]
        known.update(dict.fromkeys(n for n in names if n))
        said_so = asked in [n.casefold() for n in names if n]
        if said_so and _in_time(fault, event.happened_at):
            parameter = str(event.facts["parameter"]).replace("_", " ")
            said = lots.get(str(event.facts["lot_id"]))
            lots[str(event.facts["lot_id"])] = (
                f"{said}, {parameter}" if said else f"judged on {parameter}"
            )
    if asked not in [n.casefold() for n in known]:
        raise BadInput("subject", fault.subject, _unknown("laboratory", fault.subject, known))
    return Start(_known(works, lots), ())


def _of_film(works: Sight, fault: Fault) -> Start:
    asked = fault.subject.strip().casefold()
    films = {f.id: f.name for f in works.settings.film}
    by_name = {i for i, name in films.items() if asked in (i.casefold(), name.casefold())}
    lots: dict[str, str] = {}
    known: dict[str, None] = dict.fromkeys(films)
    for event in works.book.events_in_force(kind="pack"):
        names = {k: str(event.facts.get(k) or "") for k in ("film_batch", "label_batch")}
        known.update(dict.fromkeys(n for n in names.values() if n))
        if not _in_time(fault, event.happened_at):
            continue
        if event.facts["film"] in by_name:
            why = f"packed in {films[event.facts['film']]}"
        else:
            found = [k for k, n in names.items() if n and n.casefold() == asked]
            if not found:
                continue
            why = f"{found[0].replace('_', ' ')} {names[found[0]]}"
        lots.update(dict.fromkeys((m.lot_id for m in event.outputs), why))
    if not by_name and asked not in [n.casefold() for n in known]:
        raise BadInput("subject", fault.subject, _unknown("film", fault.subject, known))
    return Start(_known(works, lots), ())


def _in_time(fault: Fault, at: datetime) -> bool:
    return (fault.since is None or at >= fault.since) and (fault.until is None or at < fault.until)
