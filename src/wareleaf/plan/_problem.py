"""The day on a time grid: parts, tasks, allowed starts and free people, ready for a planner.

Durations are booked upwards to whole slots and windows inwards, so a plan on the grid also holds
in hours. Frozen work keeps its true hours and blocks every slot it touches.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wareleaf.plan import _price
from wareleaf.plan.board import Day, Frozen, Interrupted, Machine
from wareleaf.plan.loads import Load, Option, Step

Recipe = tuple[str, int]
"""What goes over a machine: the leaf kind and, where it matters, its pace (seconds inside)."""

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
EPS = 1e-6


@dataclass(frozen=True)
class Choice:
    """A machine for a task, in slots.

    Booked in all, kept from others of the same recipe, first leaf out, last leaf through, crew.
    """

    machine: int
    recipe: Recipe
    busy: int
    fed: int
    lag: int
    tail: int
    crew_slots: int
    option: Option


@dataclass(frozen=True)
class Task:
    """One step of one part: fixed, or with choices and an earliest slot."""

    step: int
    spec: Step
    mass_kg: float
    earliest: int
    choices: tuple[Choice, ...]
    fixed: Frozen | None = None
    fixed_start: int = 0
    fixed_end: int = 0
    fixed_out: int = 0


@dataclass(frozen=True)
class Part:
    """One part of a load with its tasks; ``gone`` when it has left already."""

    load: Load
    number: int
    parts: int
    mass_kg: float
    tasks: tuple[Task, ...]
    last_start: int
    out_name: str
    out_price: float
    gone: str | None = None

    @property
    def begun(self) -> bool:
        """Whether some of it is fixed in the plan."""
        return any(t.fixed is not None for t in self.tasks)

    @property
    def settled(self) -> bool:
        """Whether nothing is left to decide."""
        return self.gone is not None or all(t.fixed is not None for t in self.tasks)


@dataclass(frozen=True)
class Laid:
    """Fixed work on a machine: its slots, the slot from which its recipe may follow, what it is."""

    start: int
    end: int
    fed: int
    recipe: Recipe
    kg: float


@dataclass
class Problem:
    """The whole day in slots."""

    day: Day
    grid_min: int
    slots: int
    parts: tuple[Part, ...]
    machines: tuple[Machine, ...]
    blocked: list[Bools]
    fixed_on: list[list[Laid]]
    skills: dict[str, Ints] = field(default_factory=dict)
    people: Ints | None = None

    @property
    def grid_h(self) -> float:
        """Hours of one slot."""
        return self.grid_min / 60.0

    def up(self, hours: float) -> int:
        """Hours to slots, upwards."""
        return math.ceil(hours / self.grid_h - EPS)

    def down(self, hours: float) -> int:
        """Hours to slots, downwards."""
        return math.floor(hours / self.grid_h + EPS)

    def base_free(self, machine: int, recipe: Recipe) -> Bools:
        """Slots in which leaf may lie on a machine, before anything new is placed."""
        free: Bools = ~self.blocked[machine]
        if self.machines[machine].shared:
            return free
        for laid in self.fixed_on[machine]:
            gap = self.gap(machine, laid.recipe, recipe)
            if gap is not None:
                free[max(0, laid.start - gap) : min(self.slots, laid.end + gap)] = False
        return free

    def base_feed(self, machine: int, recipe: Recipe) -> Bools:
        """Slots in which leaf may be fed to a machine that others of the recipe still lie on."""
        free: Bools = np.ones(self.slots, dtype=bool)
        for laid in self.fixed_on[machine]:
            if self.gap(machine, laid.recipe, recipe) is None:
                free[laid.start : laid.fed] = False
        return free

    def gap(self, machine: int, one: Recipe, two: Recipe) -> int | None:
        """Slots between two runs on a machine; None when the second may follow while fed."""
        m = self.machines[machine]
        if m.follows and one == two:
            return None
        return 0 if one[0] == two[0] else self.up(m.clean_h)

    def first_hot(self, machine: int) -> int:
        """First slot in which a machine can be hot."""
        m = self.machines[machine]
        now_h = self.day.now_h
        if not m.fired:
            return self.up(now_h)
        hot = self.hot_at(machine)
        return (
            self.up(now_h + m.warm_up_h) if hot is None else min(hot, self.up(now_h + m.warm_up_h))
        )

    def hot_at(self, machine: int) -> int | None:
        """Slot from which a machine is hot without a new lighting; None when it is cold."""
        now, m = self.day.now_h, self.machines[machine]
        if any(f.machine_id == m.id and f.start_h <= now < f.end_h for f in self.day.frozen):
            return self.up(now)
        return None if m.hot_from_h is None else max(self.up(now), self.up(m.hot_from_h))


def may_start(problem: Problem, choice: Choice, earliest: int) -> Bools:
    """Slots in which a choice may start, before anything new is placed."""
    free = problem.base_free(choice.machine, choice.recipe)
    free[: max(earliest, problem.first_hot(choice.machine))] = False
    feed = problem.base_feed(choice.machine, choice.recipe)
    return starts_ok(free, choice.busy) & starts_ok(feed, choice.fed)


def starts_ok(free: Bools, length: int) -> Bools:
    """For each slot, whether ``length`` slots from it on are all free."""
    n = free.size
    taken = np.concatenate(([0], np.cumsum(~free)))
    ok = np.zeros(n, dtype=bool)
    if 0 < length <= n:
        ok[: n - length + 1] = taken[length:] == taken[: n - length + 1]
    return ok


def choose_grid_min(day: Day) -> int:
    """5, 10 or 15 minutes: finer for small days, so that an answer comes in time."""
    if day.grid_min is not None:
        return day.grid_min
    tasks = sum(len(load.route) * part_count(day, load) for load in day.loads)
    if tasks <= 60:
        return 5
    return 10 if tasks <= 160 else 15


def part_count(day: Day, load: Load) -> int:
    """Into how many equal parts a load is split so that each fits its batch machines."""
    given = dict(day.parts).get(load.id)
    if given is not None:
        return given
    count = 1
    for step in load.route:
        if step.charges:
            continue
        caps = [_capacity(day, o) for o in step.options]
        if any(c is None for c in caps):
            continue
        sizes = sorted({c for c in caps if c is not None}, reverse=True)
        entering = load.mass_kg * step.mass_factor
        best, best_fit = 0, -1
        for size in sizes:
            n = math.ceil(entering / size - EPS)
            fit = sum(1 for c in caps if c is not None and entering / n <= c + EPS)
            # A finer split only if the coarser one finds fewer machines than it has parts.
            if best == 0 or (best_fit < best and fit > best_fit):
                best, best_fit = n, fit
        count = max(count, best)
    return count


def _capacity(day: Day, option: Option) -> float | None:
    machine = day.machine(option.machine_id)
    if _rate(day, option) is not None:
        return None
    return option.capacity_kg if option.capacity_kg is not None else machine.capacity_kg


def _rate(day: Day, option: Option) -> float | None:
    if option.rate_kg_h is not None:
        return option.rate_kg_h
    if option.capacity_kg is not None:
        return None
    return day.machine(option.machine_id).rate_kg_h


def booked_h(day: Day, step: Step, option: Option, mass_kg: float) -> float | None:
    """Hours a part of ``mass_kg`` (as arrived) needs on a machine; None when it does not fit."""
    entering = mass_kg * step.mass_factor
    feeding = fed_h(day, step, option, mass_kg)
    if feeding is not None:
        return feeding + option.duration_h
    capacity = _capacity(day, option)
    if capacity is None or entering <= capacity * (1.0 + EPS):
        return option.duration_h
    if not step.charges:
        return None
    return math.ceil(entering / capacity - EPS) * option.duration_h


def fed_h(day: Day, step: Step, option: Option, mass_kg: float) -> float | None:
    """Hours it takes to feed a part to a machine with a rate; None for a batch machine."""
    rate = _rate(day, option)
    return None if rate is None else mass_kg * step.mass_factor / rate


def build(day: Day) -> Problem:
    """Put the day on its grid."""
    grid_min = choose_grid_min(day)
    slots = math.floor(day.horizon_h * 60.0 / grid_min + EPS)
    problem = Problem(
        day=day,
        grid_min=grid_min,
        slots=slots,
        parts=(),
        machines=day.machines,
        blocked=[],
        fixed_on=[[] for _ in day.machines],
    )
    problem.blocked = [_blocked(problem, m) for m in day.machines]
    _people(problem)
    problem.parts = tuple(p for load in day.loads for p in _parts(problem, load))
    return problem


def _blocked(problem: Problem, machine: Machine) -> Bools:
    blocked: Bools = np.zeros(problem.slots, dtype=bool)
    if machine.windows is not None:
        blocked[:] = True
        for start, end in machine.windows:
            blocked[max(0, problem.up(start)) : max(0, problem.down(end))] = False
    blocked[: max(0, problem.up(problem.day.now_h))] = True
    return blocked


def _people(problem: Problem) -> None:
    day = problem.day
    if not day.crew:
        return
    problem.people = np.zeros(problem.slots, dtype=np.int64)
    for shift in day.crew:
        span = slice(max(0, problem.up(shift.from_h)), max(0, problem.down(shift.to_h)))
        problem.skills.setdefault(shift.skill, np.zeros(problem.slots, dtype=np.int64))
        problem.skills[shift.skill][span] += shift.count
        problem.people[span] += shift.count
    for f in day.frozen:
        step = day.load(f.load_id).route[f.step]
        if step.crew == 0:
            continue
        end = _price.tended_until_h(day, f)
        span = slice(max(0, problem.down(f.start_h)), max(0, problem.up(end)))
        _take(problem.people, span, step.crew)
        if step.skill != "general":
            _take(problem.skills[step.skill], span, step.crew)


def _take(pool: Ints, span: slice, count: int) -> None:
    pool[span] = np.maximum(0, pool[span] - count)


def _parts(problem: Problem, load: Load) -> list[Part]:
    day = problem.day
    count = part_count(day, load)
    mass = load.mass_kg / count
    gone = {(g.load_id, g.part): g.outcome for g in day.gone}
    frozen = {(f.load_id, f.part, f.step): f for f in day.frozen}
    cut = {(i.load_id, i.part, i.step): i for i in day.interrupted}
    made = []
    for number in range(count):
        tasks = tuple(
            _fixed(problem, load, mass, frozen[load.id, number, k])
            if (load.id, number, k) in frozen
            else _task(problem, load, mass, k, cut.get((load.id, number, k)))
            for k in range(len(load.route))
        )
        begun = any(t.fixed for t in tasks) or any(c[:2] == (load.id, number) for c in cut)
        name, price = load.way_out(day.now_h, begun)
        made.append(
            Part(
                load=load,
                number=number,
                parts=count,
                mass_kg=mass,
                tasks=tasks,
                last_start=min(problem.slots, problem.down(load.ready_h + load.spoil_h)),
                out_name=name,
                out_price=price * mass,
                gone=gone.get((load.id, number)),
            )
        )
    return made


def _fixed(problem: Problem, load: Load, mass: float, fixed: Frozen) -> Task:
    step = load.route[fixed.step]
    machine = next(i for i, m in enumerate(problem.machines) if m.id == fixed.machine_id)
    start, end = problem.down(fixed.start_h), problem.up(fixed.end_h)
    kg = mass * step.mass_factor
    option = _price.option_of(step, fixed.machine_id)
    recipe = _recipe(problem.machines[machine], load, option)
    fed = problem.up(_price.all_on_h(problem.day, fixed))
    laid = Laid(max(0, start), max(0, end), max(0, fed), recipe, kg)
    problem.fixed_on[machine].append(laid)
    out = min(end, problem.up(fixed.start_h + option.duration_h))
    return Task(fixed.step, step, mass, start, (), fixed, start, end, out)


def _recipe(machine: Machine, load: Load, option: Option) -> Recipe:
    return load.leaf, round(option.duration_h * 3600.0) if machine.follows else 0


def _task(problem: Problem, load: Load, mass: float, index: int, cut: Interrupted | None) -> Task:
    day, step = problem.day, load.route[index]
    earliest = max(problem.up(day.now_h), problem.up(load.ready_h), 0)
    share = 1.0
    if cut is not None:
        earliest, share = max(earliest, problem.up(cut.from_h)), cut.share
    choices = []
    for option in step.options:
        hours = booked_h(day, step, option, mass)
        if hours is None:
            continue
        machine = next(i for i, m in enumerate(day.machines) if m.id == option.machine_id)
        busy = max(1, problem.up(hours * share))
        fed = busy
        if day.machines[machine].follows:
            fed = max(1, problem.up(busy * problem.grid_h - option.duration_h))
        through = min(busy, problem.up(option.duration_h))
        crew = fed if step.crew_h is None else min(fed, problem.up(step.crew_h))
        recipe = _recipe(day.machines[machine], load, option)
        choices.append(Choice(machine, recipe, busy, fed, through, through, crew, option))
    return Task(index, step, mass, earliest, tuple(choices))
