"""The only file that names the solver of the day plan: OR-Tools CP-SAT.

Every coefficient is rounded down, so the solver's bound never claims more than is true.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from wareleaf.plan import _greedy, _price
from wareleaf.plan._greedy import Placed, Places
from wareleaf.plan._problem import Bools, Choice, Part, Problem, Task, starts_ok
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


TICKS_PER_MIN = 10  # waits are counted in 6 s, so that limits off the grid are priced exactly


@dataclass
class TaskVars:
    """Start and end of a task and one literal per choice (none when it is fixed)."""

    task: Task
    start: Any
    end: Any
    literals: list[Any] = field(default_factory=list)


@dataclass
class Model:
    """The model while it is being built."""

    problem: Problem
    cp: cp_model.CpModel
    scale: float
    present: dict[tuple[str, int], Any] = field(default_factory=dict)
    tasks: dict[tuple[str, int], list[TaskVars]] = field(default_factory=dict)
    on_machine: dict[int, list[Any]] = field(default_factory=dict)
    uses: dict[int, list[tuple[Any, Any, Any, str, float]]] = field(default_factory=dict)
    crew: list[tuple[Any, int, str]] = field(default_factory=list)
    terms: list[Any] = field(default_factory=list)
    constant: float = 0.0

    @property
    def per_slot(self) -> int:
        """Ticks of one slot."""
        return self.problem.grid_min * TICKS_PER_MIN

    def ticks(self, hours: float) -> int:
        """Hours in ticks, upwards (so that what exceeds them is counted low)."""
        return math.ceil(hours * 60.0 * TICKS_PER_MIN - 1e-6)

    def excess(self, price_per_h: float, beyond: Any, present: Any) -> None:
        """Price of the ticks by which an expression is above 0, when the part runs."""
        if price_per_h <= 0.0:
            return
        over = self.cp.new_int_var(0, self.problem.slots * self.per_slot, "over")
        self.cp.add(over >= beyond).only_enforce_if(present)
        self.add(price_per_h / (60.0 * TICKS_PER_MIN), over)

    def add(self, money: float, expression: Any) -> None:
        """Add a cost term, its coefficient rounded down."""
        coefficient = math.floor(money * self.scale + 1e-9)
        if coefficient:
            self.terms.append(coefficient * expression)


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
        _machine(model, machine)
    _crew(model)
    _workload(model)
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
        ok = _allowed(problem, part, task, choice.machine, choice.busy)
        if not ok.any():
            made.literals.append(0)
            continue
        literal = cp.new_bool_var(f"on {name} {choice.machine}")
        made.literals.append(literal)
        cp.add_linear_expression_in_domain(start, _domain(ok)).only_enforce_if(literal)
        interval = cp.new_optional_fixed_size_interval_var(
            start, choice.busy, literal, f"run {name} {choice.machine}"
        )
        kg = task.mass_kg * task.spec.mass_factor
        model.on_machine.setdefault(choice.machine, []).append((interval, kg))
        use = (literal, start, start + choice.busy, part.load.leaf, kg)
        model.uses.setdefault(choice.machine, []).append(use)
        if task.spec.crew and problem.people is not None:
            hands = interval
            if choice.crew_slots != choice.busy:
                hands = cp.new_optional_fixed_size_interval_var(
                    start, choice.crew_slots, literal, f"crew {name} {choice.machine}"
                )
            model.crew.append((hands, task.spec.crew, task.spec.skill))
        _power(model, choice, start, literal, ok)
    made.end = start + sum(c.busy * x for c, x in zip(task.choices, made.literals, strict=True))
    cp.add(sum(made.literals) == present)
    return made


def _allowed(problem: Problem, part: Part, task: Task, machine: int, busy: int) -> Bools:
    free = problem.base_free(machine, part.load.leaf)
    free[: max(task.earliest, problem.first_hot(machine))] = False
    ok = starts_ok(free, busy)
    if task.step == 0:
        ok[part.last_start + 1 :] = False
    return ok


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


def _machine(model: Model, machine: int) -> None:
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
        _cleaning(model, machine)
    if m.fired:
        _lightings(model, machine)


def _shared_fixed(problem: Problem, machine: int) -> list[tuple[int, int, float]]:
    """Fixed kilograms on a shared machine, slot by slot, never above its capacity."""
    held = np.zeros(problem.slots)
    for s, e, _, kg in problem.fixed_on[machine]:
        held[s:e] += kg
    held = np.minimum(held, problem.machines[machine].capacity_kg or 0.0)
    return [(int(s), int(s) + 1, float(held[s])) for s in np.flatnonzero(held)]


def _cleaning(model: Model, machine: int) -> None:
    pad = model.problem.up(model.problem.machines[machine].clean_h)
    uses = model.uses[machine]
    if pad == 0:
        return
    for i, (lit_i, start_i, end_i, leaf_i, _) in enumerate(uses):
        for lit_j, start_j, end_j, leaf_j, _ in uses[i + 1 :]:
            if leaf_i == leaf_j:
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
    spans = [(1, s, e) for s, e, _, _ in problem.fixed_on[machine] if e > now]
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


def _crew(model: Model) -> None:
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


def _workload(model: Model) -> None:
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
            low = min(c.busy for c in task.choices)
            groups.setdefault(machines, []).append((task.earliest, low, model.present[key]))
    for machines, work in groups.items():
        free = sum((~problem.blocked[m]).astype(np.int64) for m in machines)
        assert isinstance(free, np.ndarray)
        for after in sorted({w[0] for w in work}):
            mine = [low * here for earliest, low, here in work if earliest >= after]
            model.cp.add(sum(mine) <= int(free[after:].sum()))


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
