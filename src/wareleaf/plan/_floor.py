"""The floor while a plan is made: what is still free, and where one part can go on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from wareleaf.plan import _price
from wareleaf.plan._problem import Bools, Choice, Ints, Part, Problem, Recipe, Task, starts_ok
from wareleaf.plan.schedule import Decision, Run


@dataclass(frozen=True)
class Placed:
    """A task on a machine in slots."""

    task: Task
    choice: Choice | None
    start: int
    end: int


@dataclass
class Floor:
    """What is still free while a plan is being made."""

    problem: Problem
    free: dict[tuple[int, Recipe], Bools] = field(default_factory=dict)
    feed: dict[tuple[int, Recipe], Bools] = field(default_factory=dict)
    kg: dict[int, np.ndarray] = field(default_factory=dict)
    skills: dict[str, Ints] = field(default_factory=dict)
    people: Ints | None = None

    @classmethod
    def start(cls, problem: Problem) -> Floor:
        """Only fixed work is on the floor."""
        floor = cls(problem)
        for i, recipe in {
            (c.machine, c.recipe) for p in problem.parts for t in p.tasks for c in t.choices
        }:
            free = problem.base_free(i, recipe)
            free[: problem.first_hot(i)] = False
            floor.free[i, recipe] = free
            floor.feed[i, recipe] = problem.base_feed(i, recipe)
        for i, m in enumerate(problem.machines):
            if m.shared:
                floor.kg[i] = np.full(problem.slots, float(m.capacity_kg or 0.0))
                for laid in problem.fixed_on[i]:
                    floor.kg[i][laid.start : laid.end] -= laid.kg
        floor.skills = {k: v.copy() for k, v in problem.skills.items()}
        floor.people = None if problem.people is None else problem.people.copy()
        return floor

    def copy(self) -> Floor:
        """An independent copy."""
        return Floor(
            self.problem,
            {k: v.copy() for k, v in self.free.items()},
            {k: v.copy() for k, v in self.feed.items()},
            {k: v.copy() for k, v in self.kg.items()},
            {k: v.copy() for k, v in self.skills.items()},
            None if self.people is None else self.people.copy(),
        )

    def starts(self, task: Task, choice: Choice, low: int) -> Bools:
        """From slot ``low`` on: whether the task may start there as the floor stands."""
        free = self.free[choice.machine, choice.recipe][low:]
        feed = self.feed[choice.machine, choice.recipe][low:]
        if choice.machine in self.kg:
            need = task.mass_kg * task.spec.mass_factor
            free = free & (self.kg[choice.machine][low:] >= need - 1e-6)
        ok = starts_ok(free, choice.busy) & starts_ok(feed, choice.fed)
        if task.spec.crew and self.people is not None:
            hands: Bools = self.people[low:] >= task.spec.crew
            if task.spec.skill != "general":
                hands = hands & (self.skills[task.spec.skill][low:] >= task.spec.crew)
            ok = ok & starts_ok(hands, choice.crew_slots)
        return ok

    def place(self, placed: Placed) -> None:
        """Occupy machine and people."""
        choice, task = placed.choice, placed.task
        if choice is None:
            return
        if choice.machine in self.kg:
            kg = task.mass_kg * task.spec.mass_factor
            self.kg[choice.machine][placed.start : placed.end] -= kg
        else:
            for machine, other in self.free:
                if machine != choice.machine:
                    continue
                gap = self.problem.gap(machine, choice.recipe, other)
                if gap is None:
                    self.feed[machine, other][placed.start : placed.start + choice.fed] = False
                else:
                    span = slice(max(0, placed.start - gap), placed.end + gap)
                    self.free[machine, other][span] = False
        if task.spec.crew and self.people is not None:
            span = slice(placed.start, placed.start + choice.crew_slots)
            self.people[span] -= task.spec.crew
            if task.spec.skill != "general":
                self.skills[task.spec.skill][span] -= task.spec.crew


def lower_start(before: Placed | None, task: Task, choice: Choice, problem: Problem) -> int:
    """First slot that the previous step allows."""
    low = task.earliest
    if before is None:
        return low
    wait = problem.up(task.spec.min_wait_h)
    if not task.spec.flows:
        return max(low, before.end + wait)
    return max(low, first_out(before) + wait, before.end + choice.tail - choice.busy)


def first_out(before: Placed) -> int:
    """Slot in which the first leaf has come through a step."""
    return before.task.fixed_out if before.choice is None else before.start + before.choice.lag


def route_from(floor: Floor, part: Part, first: int) -> list[Placed] | None:
    """Place a whole part step by step, each as early as it can end; None when it cannot be."""
    problem, placed = floor.problem, []
    before: Placed | None = None
    for task in part.tasks:
        if task.fixed is not None:
            before = Placed(task, None, task.fixed_start, task.fixed_end)
            placed.append(before)
            continue
        best: Placed | None = None
        for choice in task.choices:
            low = max(lower_start(before, task, choice, problem), first)
            if low >= problem.slots:
                continue
            ok = floor.starts(task, choice, low)
            start = low + int(ok.argmax())
            if not ok[start - low]:
                continue
            if task.step == 0 and start > part.last_start:
                continue
            if best is None or start + choice.busy < best.end:
                best = Placed(task, choice, start, start + choice.busy)
        if best is None:
            return None
        placed.append(best)
        before = best
    return placed


def run_of(problem: Problem, part: Part, placed: Placed) -> Run:
    """A placed task in hours."""
    task, fixed = placed.task, placed.task.fixed
    if fixed is not None:
        machine_id, start, end = fixed.machine_id, fixed.start_h, fixed.end_h
    else:
        assert placed.choice is not None
        machine_id = problem.machines[placed.choice.machine].id
        start, end = placed.start * problem.grid_h, placed.end * problem.grid_h
    mass = task.mass_kg * task.spec.mass_factor
    return Run(part.load.id, part.number, task.step, task.spec.name, machine_id, start, end, mass)


def part_price(problem: Problem, part: Part, placed: Sequence[Placed]) -> float:
    """What running the part just so costs by itself (lightings are shared and left out)."""
    runs = [run_of(problem, part, p) for p in placed]
    decision = Decision(part.load.id, part.number, part.parts, part.mass_kg, "run")
    cost = _price.price(problem.day, runs, [decision])
    return cost.total - cost.lighting - cost.finish


def first_over(problem: Problem, placed: Sequence[Placed]) -> tuple[int, str]:
    """Slots of the first wait that is longer than allowed, and its step; 0 when none is."""
    for before, here in pairwise(placed):
        spec = here.task.spec
        if spec.max_wait_h is None or here.task.fixed is not None:
            continue
        since = first_out(before) if spec.flows else before.end
        over = here.start - since - problem.up(spec.max_wait_h)
        if over > 0:
            return over, spec.name
    return 0, ""


def as_planned(problem: Problem, runs: Sequence[Run]) -> Floor:
    """The floor with every run of a plan on it."""
    floor = Floor.start(problem)
    parts = {(p.load.id, p.number): p for p in problem.parts}
    for run in runs:
        part = parts[run.load_id, run.part]
        task = part.tasks[run.step]
        if task.fixed is not None:
            continue
        choice = next(c for c in task.choices if problem.machines[c.machine].id == run.machine_id)
        start = problem.down(run.start_h)
        floor.place(Placed(task, choice, start, start + choice.busy))
    return floor


def stuck_at(floor: Floor, part: Part, first: int = 0) -> int | None:
    """The first step for which the floor has no room, or None when all have."""
    for count in range(1, len(part.tasks) + 1):
        if route_from(floor, replace(part, tasks=part.tasks[:count]), first) is None:
            return count - 1
    return None


def stuck_step(floor: Floor, part: Part, first: int) -> str | None:
    """Name of that step."""
    step = stuck_at(floor, part, first)
    return None if step is None else part.load.route[step].name
