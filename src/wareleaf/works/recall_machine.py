"""The lots that a machine's fault starts at: what it ran, and what a bath carried on."""

from __future__ import annotations

import math
from datetime import datetime

from wareleaf.book import RunState
from wareleaf.works.recall_fault import Fault, Start, events_in, finished_runs
from wareleaf.works.settings import Equipment
from wareleaf.works.sight import Sight

TAIL_LEFT = 0.01
"""A bath is taken as free of a fault when 1 % of its water of then is left (our own choice)."""


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


def of_machine(works: Sight, fault: Fault) -> Start:
    """What a machine ran in the time; for a packing bench, what was packed there."""
    machine = works.settings.equipment_of(fault.subject)
    if machine.stage == "pack":
        return _of_bench(works, fault, machine)
    runs, tail = _runs_in(works, fault, machine)
    notes = []
    made_by = finished_runs(works, fault.since)
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
        for event in events_in(works, fault, "pack")
        if event.site == machine.site and event.facts.get("equipment", machine.id) == machine.id
        for made in event.outputs
    }
    note = (
        f"The book does not say which of {len(benches)} packing benches was used; all packing at "
        "the site in this time is counted."
    )
    return Start(lots, (note,) if len(benches) > 1 else ())
