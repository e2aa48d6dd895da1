"""The only file that names the solver of the day plan: OR-Tools CP-SAT.

Every coefficient is rounded down, so the solver's bound never claims more than is true.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from wareleaf.plan import _cp_sat_floor as floor
from wareleaf.plan import _greedy, _price
from wareleaf.plan._cp_sat_model import TICKS_PER_MIN, Model, TaskVars
from wareleaf.plan._floor import Placed
from wareleaf.plan._greedy import Places
from wareleaf.plan._problem import Bools, Choice, Part, Problem, Task, may_start
from wareleaf.plan.loads import Step
from wareleaf.plan.schedule import Run

if TYPE_CHECKING:
    from ortools.sat.python import cp_model


@dataclass(frozen=True)
class Answer:
    """What the solver found: places of every part (None: nothing found), bound in money.

    ``settled`` is the cost of what is fixed already.
    """

    places: Places | None
    bound: float | None
    optimal: bool
    settled: float


def solve(
    problem: Problem,
    start_places: Places,
    previous: Sequence[Run],
    *,
    time_limit_s: float,
    workers: int,
    seed: int,
) -> Answer:
    """Improve a dispatch plan within the time limit."""
    from ortools.sat.python import cp_model

    model = Model(problem, cp_model.CpModel(), _scale(problem))
    for part in problem.parts:
        _part(model, part)
    _all_or_none(model)
    _twins(model, bool(previous))
    for machine in range(len(problem.machines)):
        floor.add_machine(model, machine)
    floor.add_crew(model)
    floor.add_workload(model)
    _finish(model)
    _moves(model, previous)
    _hint(model, start_places)
    model.cp.minimize(sum(model.terms) if model.terms else 0)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = time_limit_s
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = seed
    status = solver.solve(model.cp)
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    bound = None
    if found or status == cp_model.UNKNOWN:
        bound = max(0.0, solver.best_objective_bound) / model.scale + model.constant
    places = _read(model, solver) if found else None
    return Answer(places, bound, status == cp_model.OPTIMAL, model.constant)


def _scale(problem: Problem) -> float:
    """Money to whole numbers: about ten digits for the whole day."""
    worst = sum(p.out_price for p in problem.parts)
    return 1e10 / max(worst, 1.0)


def _part(model: Model, part: Part) -> None:
    key, cp, problem = (part.load.id, part.number), model.cp, model.problem
    if part.gone is not None:
        model.present[key] = 0
        model.constant += _greedy.gone_price(part)[1]
        model.tasks[key] = []
        return
    present: Any = 1 if part.settled else cp.new_bool_var(f"run {key}")
    model.present[key] = present
    if not part.settled:
        model.add(part.out_price, 1 - present)
    made = [_task(model, part, task, present) for task in part.tasks]
    model.tasks[key] = made
    for before, here in itertools.pairwise(made):
        if here.task.fixed is None:
            _precedence(model, part, before, here, present)
    _holding(model, part, made[0], present)
    _ending(model, part, made[-1], present)
    for item in made:
        fixed = item.task.fixed
        if fixed is not None:
            kw = _price.option_of(item.task.spec, fixed.machine_id).power_kw
            model.constant += _price.power_cost(problem.day, fixed.start_h, fixed.end_h, kw)


def _task(model: Model, part: Part, task: Task, present: Any) -> TaskVars:
    cp, problem = model.cp, model.problem
    if task.fixed is not None:
        return TaskVars(task, task.fixed_start, task.fixed_end)
    name = f"{part.load.id}.{part.number}.{task.step}"
    start = cp.new_int_var(0, problem.slots, f"start {name}")
    made = TaskVars(task, start, start)
    for choice in task.choices:
        ok = may_start(problem, choice, task.earliest)
        if task.step == 0:
            ok[part.last_start + 1 :] = False
        if not ok.any():
            made.literals.append(0)
            continue
        literal = cp.new_bool_var(f"on {name} {choice.machine}")
        made.literals.append(literal)
        cp.add_linear_expression_in_domain(start, _domain(ok)).only_enforce_if(literal)
        feeding = cp.new_optional_fixed_size_interval_var(
            start, choice.fed, literal, f"run {name} {choice.machine}"
        )
        kg = task.mass_kg * task.spec.mass_factor
        model.on_machine.setdefault(choice.machine, []).append((feeding, kg))
        use = (literal, start, start + choice.busy, choice.recipe, kg)
        model.uses.setdefault(choice.machine, []).append(use)
        if task.spec.crew and problem.people is not None:
            hands = feeding
            if choice.crew_slots != choice.fed:
                hands = cp.new_optional_fixed_size_interval_var(
                    start, choice.crew_slots, literal, f"crew {name} {choice.machine}"
                )
            model.crew.append((hands, task.spec.crew, task.spec.skill))
        _power(model, choice, start, literal, ok)
    made.end = start + sum(c.busy * x for c, x in zip(task.choices, made.literals, strict=True))
    cp.add(sum(made.literals) == present)
    return made


def _domain(ok: Bools) -> Any:
    from ortools.sat.python import cp_model

    edges = np.flatnonzero(np.diff(np.concatenate(([0], ok.astype(np.int8), [0]))))
    spans = [[int(a), int(b) - 1] for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return cp_model.Domain.from_intervals(spans)


def _power(model: Model, choice: Choice, start: Any, literal: Any, ok: Bools) -> None:
    kw, busy = choice.option.power_kw, choice.busy
    problem = model.problem
    if kw <= 0.0 or not problem.day.tariff:
        return
    g = problem.grid_h
    table = [
        math.floor(model.scale * _price.power_cost(problem.day, s * g, (s + busy) * g, kw) + 1e-9)
        if s < ok.size and ok[s]
        else 0
        for s in range(problem.slots + 1)
    ]
    if not any(table):
        return
    cost = model.cp.new_int_var(0, max(table), "power")
    at = model.cp.new_int_var(0, max(table), "power at")
    model.cp.add_element(start, table, at)
    model.cp.add(cost >= at).only_enforce_if(literal)
    model.terms.append(cost)


def _precedence(model: Model, part: Part, before: TaskVars, here: TaskVars, present: Any) -> None:
    cp, problem, spec = model.cp, model.problem, here.task.spec
    wait = problem.up(spec.min_wait_h)
    since = before.end
    if spec.flows:
        since = before.task.fixed_out
        if before.task.fixed is None:
            pairs = zip(before.task.choices, before.literals, strict=True)
            since = before.start + sum(c.lag * x for c, x in pairs)
        own = zip(here.task.choices, here.literals, strict=True)
        tail = sum((c.busy - c.tail) * x for c, x in own)
        cp.add(here.start + tail >= before.end).only_enforce_if(present)
    cp.add(here.start >= since + wait).only_enforce_if(present)
    if spec.max_wait_h is not None:
        beyond = model.per_slot * here.start - _since(model, before, spec, spec.max_wait_h)
        model.excess(spec.wait_price_per_kg_h * part.mass_kg, beyond, present)


def _since(model: Model, before: TaskVars, spec: Step, plus_h: float) -> Any:
    """Tick from which leaf waits (end of the step before, or its first leaf out) and some hours."""
    task, fixed = before.task, before.task.fixed
    if fixed is not None:
        lag = _price.option_of(task.spec, fixed.machine_id).duration_h
        first = fixed.start_h + min(lag, fixed.end_h - fixed.start_h)
        return model.ticks((first if spec.flows else fixed.end_h) + plus_h)
    if not spec.flows:
        return model.per_slot * before.end + model.ticks(plus_h)
    hours = [min(c.option.duration_h, c.busy * model.problem.grid_h) for c in task.choices]
    lags = sum(model.ticks(h + plus_h) * x for h, x in zip(hours, before.literals, strict=True))
    return model.per_slot * before.start + lags


def _holding(model: Model, part: Part, first: TaskVars, present: Any) -> None:
    load = part.load
    value = load.value_per_kg * part.mass_kg
    if first.task.fixed is not None:
        wait = max(0.0, first.task.fixed.start_h - load.ready_h)
        loss = value * load.loss_share(wait)
        if part.settled:
            model.constant += loss
        else:
            model.add(loss, present)
        return
    width = load.spoil_h - load.hold_h
    if width > 0.0:
        beyond = model.per_slot * first.start - model.ticks(load.ready_h + load.hold_h)
        model.excess(value / width, beyond, present)


def _ending(model: Model, part: Part, last: TaskVars, present: Any) -> None:
    load, problem, day = part.load, model.problem, model.problem.day
    if last.task.fixed is not None:
        end = last.task.fixed.end_h
        if load.due_h is not None:
            model.constant += load.late_price_per_kg_h * part.mass_kg * max(0.0, end - load.due_h)
        model.constant += day.early_price_per_h * max(0.0, end - load.ready_h)
        return
    if day.early_price_per_h > 0.0:
        through = model.cp.new_int_var(0, problem.slots, "through")
        model.cp.add(through >= last.end).only_enforce_if(present)
        model.add(day.early_price_per_h * problem.grid_h, through)
        model.add(-day.early_price_per_h * load.ready_h, present)
    if load.due_h is not None:
        beyond = model.per_slot * last.end - model.ticks(load.due_h)
        model.excess(load.late_price_per_kg_h * part.mass_kg, beyond, present)


def _all_or_none(model: Model) -> None:
    for load in model.problem.day.loads:
        if not _greedy.all_or_none(model.problem, load):
            continue
        mine = [v for (i, _), v in model.present.items() if i == load.id]
        for one, two in itertools.pairwise(mine):
            model.cp.add(one == two)


def _twins(model: Model, replanning: bool) -> None:
    """Equal parts of one load run in order of their number; spares the solver equal plans."""
    if replanning:
        return
    for one, two in zip(model.problem.parts, model.problem.parts[1:], strict=False):
        if one.load.id != two.load.id or one.begun or two.begun or one.gone or two.gone:
            continue
        if one.out_name != two.out_name or _cut(model, one) or _cut(model, two):
            continue
        a, b = (one.load.id, one.number), (two.load.id, two.number)
        model.cp.add_implication(model.present[b], model.present[a])
        before, after = model.tasks[a][0].start, model.tasks[b][0].start
        model.cp.add(before <= after).only_enforce_if(model.present[b])


def _cut(model: Model, part: Part) -> bool:
    key = (part.load.id, part.number)
    return any((i.load_id, i.part) == key for i in model.problem.day.interrupted)


def _finish(model: Model) -> None:
    day, problem = model.problem.day, model.problem
    if day.finish_price_per_h <= 0.0:
        return
    last = model.cp.new_int_var(max(0, problem.down(day.now_h)), problem.slots, "finish")
    for part in problem.parts:
        key = (part.load.id, part.number)
        if part.gone is None and model.tasks[key][-1].task.fixed is None:
            model.cp.add(last >= model.tasks[key][-1].end).only_enforce_if(model.present[key])
    model.add(day.finish_price_per_h * problem.grid_h, last)
    model.constant -= day.finish_price_per_h * day.now_h


def _moves(model: Model, previous: Sequence[Run]) -> None:
    day, problem, cp = model.problem.day, model.problem, model.cp
    was = {(r.load_id, r.part, r.step): r for r in previous}
    for (load_id, number), made in model.tasks.items():
        for item in made:
            old = was.get((load_id, number, item.task.step))
            if old is None:
                continue
            if item.task.fixed is not None:
                continue
            stay = cp.new_bool_var("stays")
            at, here = problem.down(old.start_h), model.present[load_id, number]
            same = [
                lit
                for c, lit in zip(item.task.choices, item.literals, strict=True)
                if problem.machines[c.machine].id == old.machine_id
            ]
            cp.add(sum(same) >= 1).only_enforce_if([stay, here])
            cp.add(item.start == at).only_enforce_if([stay, here])
            shift = cp.new_int_var(0, problem.slots * model.per_slot, "moved by")
            here_ticks = model.per_slot * item.start
            old_ticks = model.ticks(old.start_h)
            cp.add(shift >= here_ticks - old_ticks).only_enforce_if(here)
            cp.add(shift >= old_ticks - 1 - here_ticks).only_enforce_if(here)
            model.add(day.move_price, 1 - stay)
            model.add(day.move_price_per_h / (60.0 * TICKS_PER_MIN), shift)


def _hint(model: Model, places: Places) -> None:
    cp = model.cp
    for key, made in model.tasks.items():
        placed = places.get(key)
        if not isinstance(model.present[key], int):
            cp.add_hint(model.present[key], placed is not None)
        for item in made:
            if item.task.fixed is not None or placed is None:
                continue
            mine = placed[item.task.step]
            cp.add_hint(item.start, mine.start)
            for choice, literal in zip(item.task.choices, item.literals, strict=True):
                if not isinstance(literal, int):
                    cp.add_hint(literal, choice == mine.choice)


def _read(model: Model, solver: cp_model.CpSolver) -> Places:
    places: Places = {}
    for part in model.problem.parts:
        key = (part.load.id, part.number)
        if part.gone is not None or not solver.value(model.present[key]):
            places[key] = None
            continue
        placed = []
        for item in model.tasks[key]:
            task = item.task
            if task.fixed is not None:
                placed.append(Placed(task, None, task.fixed_start, task.fixed_end))
                continue
            pairs = zip(task.choices, item.literals, strict=True)
            choice = next(c for c, lit in pairs if solver.value(lit))
            start = solver.value(item.start)
            placed.append(Placed(task, choice, start, start + choice.busy))
        places[key] = placed
    return places
