"""Rows of the solver model that belong to the floor: machines, heat, people, machine hours."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from wareleaf.plan._cp_sat_model import Model
from wareleaf.plan._problem import Problem


def add_machine(model: Model, machine: int) -> None:
    cp, problem = model.cp, model.problem
    m = problem.machines[machine]
    intervals = model.on_machine.get(machine, [])
    if m.shared and intervals:
        items = [(i, round(kg * 1000)) for i, kg in intervals]
        capacity = round((m.capacity_kg or 0.0) * 1000) + len(items)
        for s, e, kg in _shared_fixed(problem, machine):
            items.append((cp.new_fixed_size_interval_var(s, e - s, "fixed"), round(kg * 1000)))
        cp.add_cumulative([i for i, _ in items], [d for _, d in items], capacity)
    elif intervals:
        cp.add_no_overlap([i for i, _ in intervals])
        _apart(model, machine)
    if m.fired:
        _lightings(model, machine)


def _shared_fixed(problem: Problem, machine: int) -> list[tuple[int, int, float]]:
    """Fixed kilograms on a shared machine, slot by slot, never above its capacity."""
    held = np.zeros(problem.slots)
    for laid in problem.fixed_on[machine]:
        held[laid.start : laid.end] += laid.kg
    held = np.minimum(held, problem.machines[machine].capacity_kg or 0.0)
    return [(int(s), int(s) + 1, float(held[s])) for s in np.flatnonzero(held)]


def _apart(model: Model, machine: int) -> None:
    """Hours between runs that may not follow while fed: the first off, and cleaned if it differs.

    Rows that hold already, because no two runs are fed at once, are left out.
    """
    follows = model.problem.machines[machine].follows
    uses = model.uses[machine]
    for i, (lit_i, start_i, end_i, recipe_i, _) in enumerate(uses):
        for lit_j, start_j, end_j, recipe_j, _ in uses[i + 1 :]:
            pad = model.problem.gap(machine, recipe_i, recipe_j)
            if pad is None or (pad == 0 and not follows):
                continue
            first = model.cp.new_bool_var("first")
            both = [lit_i, lit_j]
            model.cp.add(start_j >= end_i + pad).only_enforce_if([*both, first])
            model.cp.add(start_i >= end_j + pad).only_enforce_if([*both, first.negated()])


def lighting_count(problem: Problem) -> int:
    """How many lightings a machine may have in a plan: one, and one more per 12 hours."""
    return 1 + math.ceil((problem.day.horizon_h - problem.day.now_h) / 12.0)


def _lightings(model: Model, machine: int) -> None:
    cp, problem = model.cp, model.problem
    m, now = problem.machines[machine], problem.up(problem.day.now_h)
    warm = problem.up(m.warm_up_h)
    spans = [(1, laid.start, laid.end) for laid in problem.fixed_on[machine] if laid.end > now]
    uses = [(lit, s, e) for lit, s, e, _, _ in model.uses.get(machine, [])] + spans
    if not uses:
        return
    hot_at = problem.hot_at(machine)
    hot = hot_at is not None
    count = min(len(uses) + 1, lighting_count(problem))
    before: tuple[Any, Any] | None = None
    covers: list[list[Any]] = [[] for _ in uses]
    for k in range(count):
        used = cp.new_bool_var(f"lit {machine} {k}")
        ready = cp.new_int_var(0, problem.slots, "hot from")
        shut = cp.new_int_var(0, problem.slots, "hot until")
        held = cp.new_int_var(0, problem.slots, "hot for")
        if k == 0 and hot:
            cp.add(ready == hot_at)
        else:
            cp.add(ready >= now + warm)
            model.add(m.warm_up_price, used)
        cp.add(held >= shut - ready).only_enforce_if(used)
        model.add(m.fire_price_per_h * problem.grid_h, held)
        if before is not None:
            cp.add(ready >= before[1] + warm).only_enforce_if([used, before[0]])
            if not (k == 1 and hot):
                cp.add_implication(used, before[0])
        for mine, (_, start, end) in zip(covers, uses, strict=True):
            here = cp.new_bool_var("covers")
            mine.append(here)
            cp.add_implication(here, used)
            low = max(start, now) if isinstance(start, int) else start
            cp.add(ready <= low).only_enforce_if(here)
            cp.add(end <= shut).only_enforce_if(here)
        before = (used, shut)
    for mine, (lit, _, _) in zip(covers, uses, strict=True):
        cp.add(sum(mine) == lit)


def add_crew(model: Model) -> None:
    problem, cp = model.problem, model.cp
    if problem.people is None or not model.crew:
        return
    pools = [("", problem.people)] + [(k, v) for k, v in problem.skills.items() if k != "general"]
    for skill, free in pools:
        mine = [(i, d) for i, d, s in model.crew if skill in ("", s)]
        top = int(free.max(initial=0))
        if not mine:
            continue
        edges = np.flatnonzero(np.diff(free)) + 1
        for s, e in zip([0, *edges], [*edges, problem.slots], strict=True):
            missing = top - int(free[s])
            if missing:
                gap = cp.new_fixed_size_interval_var(int(s), int(e) - int(s), "away")
                mine.append((gap, missing))
        cp.add_cumulative([i for i, _ in mine], [d for _, d in mine], top)


def add_workload(model: Model) -> None:
    """Machine hours that runs need cannot exceed the free hours after any arrival (redundant)."""
    problem = model.problem
    groups: dict[tuple[int, ...], list[tuple[int, int, Any]]] = {}
    for part in problem.parts:
        key = (part.load.id, part.number)
        for item in model.tasks[key]:
            task = item.task
            if task.fixed is not None or not task.choices:
                continue
            machines = tuple(sorted({c.machine for c in task.choices}))
            if any(problem.machines[m].shared for m in machines):
                continue
            low = min(c.fed for c in task.choices)
            groups.setdefault(machines, []).append((task.earliest, low, model.present[key]))
    for machines, work in groups.items():
        free = sum((~problem.blocked[m]).astype(np.int64) for m in machines)
        assert isinstance(free, np.ndarray)
        for after in sorted({w[0] for w in work}):
            mine = [low * here for earliest, low, here in work if earliest >= after]
            model.cp.add(sum(mine) <= int(free[after:].sum()))
