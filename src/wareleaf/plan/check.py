"""Whether a plan keeps every rule, worked out from its hours alone: no grid, no solver."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable

from wareleaf.plan._price import all_on_h, option_of, tended_until_h
from wareleaf.plan.board import Day, Machine
from wareleaf.plan.loads import Load, Option, Step
from wareleaf.plan.schedule import Plan, Run

TOLERANCE_H = 1e-6
PACE_TOLERANCE_H = 1.0 / 3600.0


def problems_of(day: Day, plan: Plan) -> tuple[str, ...]:
    """Every rule the plan breaks, one sentence each; empty when it holds.

    Checked: each kilogram is decided once; steps in order with their shortest waits; arrival and
    spoiling; hours long enough on machines that can do it; windows; one part at a time (or the
    kilograms of a shared machine); cleaning between leaf kinds; hot while it runs and warm-up
    before; people; frozen work untouched; nothing new in the past.
    """
    found: list[str] = []
    runs: dict[tuple[str, int], list[Run]] = defaultdict(list)
    for run in plan.runs:
        runs[run.load_id, run.part].append(run)
    found += _masses(day, plan)
    for decision in plan.decisions:
        mine = sorted(runs[decision.load_id, decision.part], key=lambda r: r.step)
        load = day.load(decision.load_id)
        if decision.outcome == "run":
            found += _route(day, load, decision.mass_kg, mine)
        elif any(not _is_frozen(day, r) for r in mine):
            found.append(f"{load.id} part {decision.part} goes out and yet has new runs.")
        found += _way_out(day, load, decision.outcome, bool(mine))
    for machine in day.machines:
        on_it = sorted((r for r in plan.runs if r.machine_id == machine.id), key=_start)
        found += _machine(day, machine, on_it)
        found += _heat(day, machine, on_it, plan)
    found += _crew(day, plan)
    found += _frozen(day, plan)
    return tuple(found)


def _start(run: Run) -> float:
    return run.start_h


def _is_frozen(day: Day, run: Run) -> bool:
    key = (run.load_id, run.part, run.step, run.machine_id, run.start_h, run.end_h)
    return any(
        key == (f.load_id, f.part, f.step, f.machine_id, f.start_h, f.end_h) for f in day.frozen
    )


def _masses(day: Day, plan: Plan) -> Iterable[str]:
    for load in day.loads:
        mine = [d for d in plan.decisions if d.load_id == load.id]
        if sorted(d.part for d in mine) != list(range(len(mine))):
            yield f"{load.id}: its parts are not numbered 0 to {len(mine) - 1}."
        total = sum(d.mass_kg for d in mine)
        if not math.isclose(total, load.mass_kg, rel_tol=1e-9):
            yield f"{load.id}: {total} kg decided of {load.mass_kg} kg."
        settled = {f.load_id for f in day.frozen} | {g.load_id for g in day.gone}
        settled |= {i.load_id for i in day.interrupted}
        free = load.id not in settled
        if free and not load.splittable and len({d.outcome == "run" for d in mine}) > 1:
            yield f"{load.id}: may not be split, yet only some parts run."


def _way_out(day: Day, load: Load, outcome: str, begun: bool) -> Iterable[str]:
    if any(g.load_id == load.id for g in day.gone):
        return
    if outcome == "refuse" and (load.refuse_price_per_kg is None or load.ready_h < day.now_h):
        yield f"{load.id}: refused although it is here or may not be refused."
    if outcome == "divert" and (load.divert_price_per_kg is None or begun):
        yield f"{load.id}: diverted although it is in work or may not be diverted."


def _needed_h(day: Day, step: Step, option: Option, mass_kg: float) -> float:
    machine = day.machine(option.machine_id)
    kg = mass_kg * step.mass_factor
    capacity = machine.capacity_kg if option.capacity_kg is None else option.capacity_kg
    rate = option.rate_kg_h
    if rate is None and option.capacity_kg is None:
        rate = machine.rate_kg_h
    if rate is not None:
        return kg / rate + option.duration_h
    if capacity is None or kg <= capacity * (1 + 1e-6):
        return option.duration_h
    return math.inf if not step.charges else math.ceil(kg / capacity - 1e-6) * option.duration_h


def _route(day: Day, load: Load, mass_kg: float, runs: list[Run]) -> Iterable[str]:
    who = f"{load.id} part {runs[0].part}" if runs else load.id
    if [r.step for r in runs] != list(range(len(load.route))):
        yield f"{who}: its steps are {[r.step for r in runs]}, not the whole route."
        return
    if not _is_frozen(day, runs[0]):
        if runs[0].start_h < load.ready_h - TOLERANCE_H:
            yield f"{who}: starts before it arrives."
        if runs[0].start_h > load.ready_h + load.spoil_h + TOLERANCE_H:
            yield f"{who}: starts after it has spoiled."
    for before, run in zip([None, *runs], runs, strict=False):
        if _is_frozen(day, run):
            continue
        step = load.route[run.step]
        option = next((o for o in step.options if o.machine_id == run.machine_id), None)
        if option is None:
            yield f"{who}: {run.machine_id} cannot do {step.name}."
            continue
        cut = [i for i in day.interrupted if (i.load_id, i.part, i.step) == _key(run)]
        share = cut[0].share if cut else 1.0
        if cut and run.start_h < cut[0].from_h - TOLERANCE_H:
            yield f"{who}: {step.name} is taken up again before it was cut short."
        if run.end_h - run.start_h < share * _needed_h(day, step, option, mass_kg) - TOLERANCE_H:
            yield f"{who}: {step.name} is booked too short."
        if run.start_h < day.now_h - TOLERANCE_H or run.end_h > day.horizon_h + TOLERANCE_H:
            yield f"{who}: {step.name} lies outside the hours of the plan."
        if before is not None:
            yield from _order(who, load, before, run, option)


def _order(who: str, load: Load, before: Run, run: Run, option: Option) -> Iterable[str]:
    step = load.route[run.step]
    if not step.flows:
        if run.start_h < before.end_h + step.min_wait_h - TOLERANCE_H:
            yield f"{who}: {step.name} starts too soon after {before.step_name}."
        return
    prior = option_of(load.route[before.step], before.machine_id)
    lag = min(prior.duration_h, before.end_h - before.start_h)
    if run.start_h < before.start_h + lag + step.min_wait_h - TOLERANCE_H:
        yield f"{who}: {step.name} starts before leaf comes out of {before.step_name}."
    through = min(option.duration_h, run.end_h - run.start_h)
    if run.end_h < before.end_h + through - TOLERANCE_H:
        yield f"{who}: {step.name} ends before the last leaf is through."


def _machine(day: Day, machine: Machine, runs: list[Run]) -> Iterable[str]:
    for run in runs:
        if _is_frozen(day, run) or machine.windows is None:
            continue
        if not any(
            a - TOLERANCE_H <= run.start_h and run.end_h <= b + TOLERANCE_H
            for a, b in _joined(machine.windows)
        ):
            yield f"{machine.id}: {run.load_id} runs outside its windows."
    if machine.shared:
        for run in runs:
            at = [
                r
                for r in runs
                if r.start_h <= run.start_h + TOLERANCE_H and r.end_h > run.start_h + TOLERANCE_H
            ]
            held = sum(r.mass_kg for r in at)
            new = any(not _is_frozen(day, r) for r in at)
            if new and held > (machine.capacity_kg or 0.0) + 0.01 * len(runs):
                yield f"{machine.id}: holds {held:.1f} kg at {run.start_h:.2f} h, above capacity."
        return
    for i, one in enumerate(runs):
        for two in runs[i + 1 :]:
            if _is_frozen(day, one) and _is_frozen(day, two):
                continue
            free_h, what = _room_for_next(day, machine, one, two)
            if two.start_h < free_h - TOLERANCE_H:
                yield f"{machine.id}: {two.load_id} starts before {one.load_id} is {what}."


def _room_for_next(day: Day, machine: Machine, one: Run, two: Run) -> tuple[float, str]:
    """Hour from which the second may start, and what the first must be by then."""
    if day.load(one.load_id).leaf != day.load(two.load_id).leaf:
        return one.end_h + machine.clean_h, "off and cleaned"
    mine, other = (option_of(day.load(r.load_id).route[r.step], machine.id) for r in (one, two))
    same_pace = abs(mine.duration_h - other.duration_h) < PACE_TOLERANCE_H
    if not machine.follows or not same_pace:
        return one.end_h, "off"
    return all_on_h(day, one), "all on"


def _key(run: Run) -> tuple[str, int, int]:
    return run.load_id, run.part, run.step


def _joined(windows: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    joined: list[tuple[float, float]] = []
    for a, b in sorted(windows):
        if joined and a <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(b, joined[-1][1]))
        else:
            joined.append((a, b))
    return joined


def _heat(day: Day, machine: Machine, runs: list[Run], plan: Plan) -> Iterable[str]:
    if not machine.fired:
        return
    mine = [x for x in plan.lightings if x.machine_id == machine.id]
    for run in runs:
        if run.end_h <= day.now_h + TOLERANCE_H:
            continue
        begin = max(run.start_h, day.now_h)
        if not any(
            x.ready_h <= begin + TOLERANCE_H and run.end_h <= x.shut_h + TOLERANCE_H for x in mine
        ):
            yield f"{machine.id}: is not hot while {run.load_id} runs."
    for x in mine:
        if x.from_cold and x.light_h < day.now_h - TOLERANCE_H:
            yield f"{machine.id}: would have to be lit in the past."
        if x.from_cold and x.ready_h - x.light_h < machine.warm_up_h - TOLERANCE_H:
            yield f"{machine.id}: its warm-up is too short."


def _crew(day: Day, plan: Plan) -> Iterable[str]:
    if not day.crew:
        return
    needs: list[tuple[float, float, int, str, bool]] = []
    for run in plan.runs:
        step = day.load(run.load_id).route[run.step]
        if step.crew:
            end = tended_until_h(day, run)
            needs.append((run.start_h, end, step.crew, step.skill, _is_frozen(day, run)))
    times = sorted(
        {n[0] for n in needs} | {s.from_h for s in day.crew} | {s.to_h for s in day.crew}
    )
    for skill in {s.skill for s in day.crew} | {""}:
        for t in times:
            at = [n for n in needs if n[0] <= t + TOLERANCE_H < n[1] and skill in ("", n[3])]
            if skill == "general" or all(n[4] for n in at):
                continue
            here = sum(
                s.count
                for s in day.crew
                if s.from_h <= t + TOLERANCE_H < s.to_h and skill in ("", s.skill)
            )
            asked = sum(n[2] for n in at)
            if asked > here:
                who = skill or "all"
                yield f"At {t:.2f} h {asked} people ({who}) are needed, {here} are there."


def _frozen(day: Day, plan: Plan) -> Iterable[str]:
    for f in day.frozen:
        if not any(
            (r.load_id, r.part, r.step, r.machine_id, r.start_h, r.end_h)
            == (f.load_id, f.part, f.step, f.machine_id, f.start_h, f.end_h)
            for r in plan.runs
        ):
            yield f"{f.load_id} part {f.part}: its frozen step {f.step} was moved."
