"""What limits the day: how full each group of machines is, and what one more would bring."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from wareleaf.plan import _greedy, _price
from wareleaf.plan._problem import build
from wareleaf.plan.board import Day, Machine
from wareleaf.plan.loads import Load
from wareleaf.plan.schedule import Plan, Run

METHOD = (
    "Dispatch with one more machine (or person) around the plan as it stands; the true gain can "
    "be larger, since the solver did not plan anew."
)


@dataclass(frozen=True)
class Group:
    """One group of machines, or one skill of the crew.

    ``utilisation`` is booked over available hours between the group's first start and last end.
    ``saving`` (money), ``extra_kg`` and ``extra_kg_per_h`` say what one more machine or person
    would bring, the last per hour that it is used.
    """

    name: str
    kind: str
    count: int
    booked_h: float
    available_h: float
    utilisation: float
    saving: float
    extra_kg: float
    extra_kg_per_h: float


@dataclass(frozen=True)
class Limits:
    """Groups, the most limiting first, one sentence and how it was found."""

    groups: tuple[Group, ...]
    sentence: str
    method: str = METHOD


def what_limits(day: Day, plan: Plan) -> Limits:
    """Find what limits a planned day.

    Parameters
    ----------
    day, plan : Day, Plan
        The day and its plan.

    Returns
    -------
    Limits
        For each machine group and crew skill how full it is and what one more would bring.
    """
    day = _as_split(day, plan)
    stages = list(dict.fromkeys(m.stage for m in day.machines))
    groups = [_stage(day, plan, stage) for stage in stages]
    groups += [_people(day, plan, skill) for skill in sorted({c.skill for c in day.crew})]
    groups.sort(key=lambda g: (-g.saving, -g.utilisation, g.name))
    return Limits(tuple(groups), _sentence(groups, plan))


def _as_split(day: Day, plan: Plan) -> Day:
    counts = {d.load_id: d.parts for d in plan.decisions}
    return replace(day, parts=tuple(counts.items()), grid_min=plan.grid_min)


def _sentence(groups: list[Group], plan: Plan) -> str:
    if not groups:
        return "There is nothing to limit the day."
    best = groups[0]
    if best.saving > 0.01 * max(1.0, plan.cost.total):
        one = (
            f"one more {best.name}" if best.kind == "machine" else f"one more person ({best.name})"
        )
        gain = f"{one} would save {best.saving:.0f}"
        if best.extra_kg > 0.0:
            gain += f" and bring {best.extra_kg:.0f} kg more through"
        if best.extra_kg_per_h > 0.0:
            gain += f" ({best.extra_kg_per_h:.0f} kg per hour used)"
        return f"{best.name} limits the day ({100.0 * best.utilisation:.0f} % booked): {gain}."
    full = max(groups, key=lambda g: g.utilisation)
    return (
        "No single machine or person limits the day; "
        f"the fullest is {full.name} with {100.0 * full.utilisation:.0f} % booked."
    )


def _stage(day: Day, plan: Plan, stage: str) -> Group:
    machines = [m for m in day.machines if m.stage == stage]
    ids = {m.id for m in machines}
    runs = [r for r in plan.runs if r.machine_id in ids]
    booked = sum(_busy_h(m, runs) for m in machines)
    if runs:
        first, last = min(r.start_h for r in runs), max(r.end_h for r in runs)
        available = sum(_open_h(m, first, last) for m in machines)
    else:
        available = 0.0
    model = max(machines, key=lambda m: (_busy_h(m, runs), m.id))
    richer = with_spare(day, model)
    saving, kg, used = _gain(richer, plan, _spare_id(model))
    return Group(
        stage,
        "machine",
        len(machines),
        booked,
        available,
        min(1.0, booked / available) if available else 0.0,
        saving,
        kg,
        kg / used if used > 0.0 else 0.0,
    )


def _busy_h(machine: Machine, runs: list[Run]) -> float:
    mine = [r for r in runs if r.machine_id == machine.id]
    if machine.shared and machine.capacity_kg:
        return sum((r.end_h - r.start_h) * r.mass_kg / machine.capacity_kg for r in mine)
    hours, until = 0.0, -math.inf
    for r in sorted(mine, key=lambda r: r.start_h):  # on a belt one may follow another
        hours += max(0.0, r.end_h - max(r.start_h, until))
        until = max(until, r.end_h)
    return hours


def _open_h(machine: Machine, first: float, last: float) -> float:
    if machine.windows is None:
        return last - first
    return sum(max(0.0, min(b, last) - max(a, first)) for a, b in machine.windows)


def _spare_id(machine: Machine) -> str:
    return f"{machine.id} (one more)"


def with_spare(day: Day, machine: Machine) -> Day:
    """The day with one more machine just like the given one."""
    spare = replace(machine, id=_spare_id(machine), hot_from_h=None)

    def wider(load: Load) -> Load:
        route = tuple(
            replace(
                step,
                options=step.options
                + tuple(
                    replace(o, machine_id=spare.id)
                    for o in step.options
                    if o.machine_id == machine.id
                ),
            )
            for step in load.route
        )
        return replace(load, route=route)

    return replace(
        day, machines=(*day.machines, spare), loads=tuple(wider(load) for load in day.loads)
    )


def _people(day: Day, plan: Plan, skill: str) -> Group:
    shifts = [c for c in day.crew if c.skill == skill]
    needs = []
    for r in plan.runs:
        step = day.load(r.load_id).route[r.step]
        if step.crew and step.skill == skill:
            hours = _price.tended_until_h(day, r) - r.start_h
            needs.append((r.start_h, hours * step.crew, r.end_h))
    booked = sum(n[1] for n in needs)
    available = 0.0
    if needs:
        first, last = min(n[0] for n in needs), max(n[2] for n in needs)
        available = sum(
            c.count * max(0.0, min(c.to_h, last) - max(c.from_h, first)) for c in shifts
        )
    richer = replace(
        day,
        crew=tuple(replace(c, count=c.count + 1) if c.skill == skill else c for c in day.crew),
    )
    saving, kg, _ = _gain(richer, plan, None)
    return Group(
        f"{skill} crew",
        "person",
        max((c.count for c in shifts), default=0),
        booked,
        available,
        min(1.0, booked / available) if available else 0.0,
        saving,
        kg,
        0.0,
    )


def _gain(richer: Day, plan: Plan, spare_id: str | None) -> tuple[float, float, float]:
    """Money saved, extra kilograms run and hours the spare is used."""
    problem = build(richer)
    base = plan.cost.total - plan.cost.moved
    best, best_cost = None, base
    for places in (_greedy.keep(problem, plan.runs), _greedy.best_places(problem, tries=6)):
        runs, decisions = _greedy.to_plan(problem, places)
        cost = _price.price(richer, runs, decisions).total
        if cost < best_cost - 1e-6:
            best, best_cost = (runs, decisions), cost
    if best is None:
        return 0.0, 0.0, 0.0
    runs, decisions = best
    out = sum(d.mass_kg for d in decisions if d.outcome != "run")
    used = sum(r.end_h - r.start_h for r in runs if r.machine_id == spare_id)
    return base - best_cost, max(0.0, plan.mass_out_kg - out), used
