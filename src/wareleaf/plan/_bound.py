"""A lower limit of any plan's cost, from machine hours alone (a linear program).

Each part runs to a share and its starts are spread over time buckets; machine hours, order of the
steps, arrivals and deadlines hold on average. Every simplification makes the cost lower, so its
optimum is a bound of every real plan. It complements the solver's own bound, which is weak on
overloaded days.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wareleaf.plan import _highs
from wareleaf.plan._problem import Part, Problem, Task, may_start

SPANS = (1, 2, 4, 8, 16)  # buckets over which machine hours are added up


@dataclass
class _Build:
    """Columns and rows while the program is being made."""

    problem: Problem
    size: int  # slots in a bucket
    buckets: int
    rows: _highs.Rows = field(default_factory=_highs.Rows)
    cost: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    constant: float = 0.0
    work: dict[tuple[int, ...], list[tuple[int, int, int]]] = field(default_factory=dict)

    def column(self, cost: float, upper: float) -> int:
        self.cost.append(cost)
        self.upper.append(upper)
        return len(self.cost) - 1


def lower_bound(problem: Problem, time_limit_s: float) -> float:
    """Lower limit of the cost of all that is still to be decided; 0 when time was too short.

    Counts ways out, loss by holding, keeping machines hot, one warm-up each and the small price of
    time; people, cleaning, tariff and moves are left out.
    """
    size = max(1, round(_bucket_h(problem) / problem.grid_h))
    build = _Build(problem, size, math.ceil(problem.slots / size))
    warm: dict[tuple[int, ...], int] = {}
    for part in problem.parts:
        if not part.settled:
            _part(build, part, warm)
    if not build.cost:
        return 0.0
    for machines, work in build.work.items():
        _capacity(build, machines, work)
    model = build.rows.model(np.array(build.cost), np.zeros(len(build.cost)), np.array(build.upper))
    solved = _highs.solve(model, time_limit_s=time_limit_s)
    if solved.status != "optimal":
        return 0.0
    # A hair is given away for the solver's tolerance.
    return max(0.0, build.constant + solved.bound - 1e-6 * (build.constant + 1.0))


def _bucket_h(problem: Problem) -> float:
    columns_per_h = sum(len(p.tasks) for p in problem.parts if not p.settled)
    hours = problem.slots * problem.grid_h
    return 0.5 if columns_per_h * hours <= 6000 else 1.0


def _part(build: _Build, part: Part, warm: dict[tuple[int, ...], int]) -> None:
    problem, day = build.problem, build.problem.day
    out = part.out_price
    build.constant += out
    runs = build.column(-out - day.early_price_per_h * part.load.ready_h, 1.0)
    before: tuple[dict[int, int], int] | None = None
    last = len(part.tasks) - 1
    for k, task in enumerate(part.tasks):
        if task.fixed is not None:
            continue
        allowed = _buckets(build, part, task)
        columns = {b: build.column(_price(build, part, task, b, k == last), 1.0) for b in allowed}
        build.rows.add(0.0, 0.0, [*columns.values(), runs], [*[1.0] * len(columns), -1.0])
        if before is not None:
            _order(build, before[0], columns, before[1] // build.size)
        _heat(build, task, runs, warm)
        machines = tuple(sorted({c.machine for c in task.choices}))
        busy = min((c.fed for c in task.choices), default=0)
        if not any(problem.machines[m].shared for m in machines):
            work = build.work.setdefault(machines, [])
            work += [(column, b, busy) for b, column in columns.items()]
        following = part.tasks[k + 1] if k < last else None
        flows = following is not None and following.spec.flows
        least = min((c.lag if flows else c.busy for c in task.choices), default=0)
        wait = problem.up(following.spec.min_wait_h) if following is not None else 0
        before = (columns, least + wait)


def _buckets(build: _Build, part: Part, task: Task) -> list[int]:
    problem = build.problem
    ok = np.zeros(build.buckets * build.size, dtype=bool)
    for choice in task.choices:
        here = may_start(problem, choice, task.earliest)
        if task.step == 0:
            here[part.last_start + 1 :] = False
        ok[: here.size] |= here
    return [int(b) for b in np.flatnonzero(ok.reshape(build.buckets, build.size).any(axis=1))]


def _price(build: _Build, part: Part, task: Task, bucket: int, last: bool) -> float:
    """Least cost of starting within a bucket: holding from its beginning, time to the end."""
    problem, load = build.problem, part.load
    begin_h = max(bucket * build.size, task.earliest) * problem.grid_h
    cost = 0.0
    if task.step == 0:
        wait = max(0.0, begin_h - load.ready_h)
        cost += load.value_per_kg * part.mass_kg * load.loss_share(wait)
    if last:
        end_h = begin_h + min(c.busy for c in task.choices) * problem.grid_h
        cost += problem.day.early_price_per_h * end_h
        if load.due_h is not None:
            cost += load.late_price_per_kg_h * part.mass_kg * max(0.0, end_h - load.due_h)
    return cost


def _order(build: _Build, first: dict[int, int], second: dict[int, int], apart: int) -> None:
    """By any bucket no more of a step has started than of the one before it, in good time."""
    for bucket in second:
        early = [c for b, c in first.items() if b <= bucket - apart]
        here = [c for b, c in second.items() if b <= bucket]
        build.rows.add(-np.inf, 0.0, here + early, [1.0] * len(here) + [-1.0] * len(early))


def _heat(build: _Build, task: Task, runs: int, warm: dict[tuple[int, ...], int]) -> None:
    problem = build.problem
    machines = [problem.machines[c.machine] for c in task.choices]
    if not machines or any(m.shared for m in machines):
        return
    fire = min(
        m.fire_price_per_h * c.fed * problem.grid_h
        for m, c in zip(machines, task.choices, strict=True)
    )
    build.cost[runs] += fire
    if any(problem.hot_at(c.machine) is not None for c in task.choices):
        return
    least = min(m.warm_up_price for m in machines)
    if least > 0.0:
        key = tuple(sorted({c.machine for c in task.choices}))
        lit = warm.setdefault(key, -1)
        if lit < 0:
            lit = warm[key] = build.column(least, 1.0)
        build.rows.add(0.0, np.inf, [lit, runs], [1.0, -1.0])


def _capacity(build: _Build, machines: tuple[int, ...], work: list[tuple[int, int, int]]) -> None:
    """Slots that runs surely take within a span of buckets fit into its free slots."""
    free = np.zeros(build.buckets * build.size)
    for m in machines:
        open_slots = ~build.problem.blocked[m]
        for laid in build.problem.fixed_on[m]:
            open_slots[laid.start : laid.fed] = False
        free[: open_slots.size] += open_slots
    held = np.concatenate(([0.0], np.cumsum(free)))
    columns = np.array([w[0] for w in work])
    first = np.array([w[1] for w in work]) * build.size
    busy = np.array([w[2] for w in work])
    for span in SPANS:
        for b in range(0, build.buckets - span + 1, max(1, span // 2)):
            a, z = b * build.size, (b + span) * build.size
            sure = np.minimum(
                _overlap(first, busy, a, z), _overlap(first + build.size - 1, busy, a, z)
            )
            used = sure > 0
            if used.any():
                room = float(held[min(z, free.size)] - held[a])
                build.rows.add(-np.inf, room, columns[used], sure[used].astype(float))


def _overlap(
    start: NDArray[np.int64], busy: NDArray[np.int64], a: int, z: int
) -> NDArray[np.int64]:
    return np.maximum(0, np.minimum(start + busy, z) - np.maximum(start, a))
