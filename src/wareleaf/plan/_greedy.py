"""A plain plan by dispatch: loads one after the other, each at its cheapest place still free.

It gives the solver a start, and the works an answer when the solver has none.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence

from wareleaf.plan import _price
from wareleaf.plan._floor import (
    Floor,
    Placed,
    first_over,
    lower_start,
    part_price,
    route_from,
    run_of,
)
from wareleaf.plan._problem import Part, Problem
from wareleaf.plan.loads import Load
from wareleaf.plan.schedule import Decision, Run


def best_route(floor: Floor, part: Part) -> list[Placed] | None:
    """The cheaper of starting at once and of starting later to spare waiting further on."""
    problem = floor.problem
    if part.settled:
        return route_from(floor, part, 0)
    first, best, best_price = 0, None, float("inf")
    for _ in range(4):
        placed = route_from(floor, part, first)
        if placed is None:
            break
        price = part_price(problem, part, placed)
        if price < best_price:
            best, best_price = placed, price
        over, _ = first_over(problem, placed)
        begin = next((p.start for p in placed if p.task.fixed is None), None)
        if over <= 0 or begin is None:
            break
        first = begin + over
    return best if best_price <= part.out_price else None


Places = dict[tuple[str, int], list[Placed] | None]


def dispatch(problem: Problem, order: Sequence[str]) -> Places:
    """Place the loads in that order; a part that cannot run, or not at its price, goes out."""
    floor = Floor.start(problem)
    by_load: dict[str, list[Part]] = {}
    for part in problem.parts:
        by_load.setdefault(part.load.id, []).append(part)
    places: Places = {}
    for load_id in order:
        together = all_or_none(problem, problem.day.load(load_id))
        saved = floor.copy() if together else None
        mine: Places = {}
        for part in by_load[load_id]:
            placed = None if part.gone is not None else best_route(floor, part)
            mine[load_id, part.number] = placed
            for p in placed or []:
                floor.place(p)
        if saved is not None and any(v is None for v in mine.values()):
            floor = saved
            mine = dict.fromkeys(mine)
        places |= mine
    return places


def to_plan(problem: Problem, places: Places) -> tuple[list[Run], list[Decision]]:
    """Runs and decisions of placed parts."""
    runs: list[Run] = []
    decisions: list[Decision] = []
    for part in problem.parts:
        placed = places[part.load.id, part.number]
        args = (part.load.id, part.number, part.parts, part.mass_kg)
        if placed is not None:
            mine = [run_of(problem, part, p) for p in placed]
            runs.extend(mine)
            wait = _price.first_wait_h(problem.day, part.load.id, mine)
            share = part.load.loss_share(wait)
            lost = share * part.load.value_per_kg * part.mass_kg
            decisions.append(Decision(*args, "run", wait, share, lost))
            continue
        for task in part.tasks:
            if task.fixed is not None:
                placed_fixed = Placed(task, None, task.fixed_start, task.fixed_end)
                runs.append(run_of(problem, part, placed_fixed))
        outcome, price = gone_price(part)
        decisions.append(Decision(*args, outcome, price=price))
    return runs, decisions


def gone_price(part: Part) -> tuple[str, float]:
    """How a part that is not run leaves, and the price of that."""
    if part.gone is None:
        return part.out_name, part.out_price
    load = part.load
    per_kg = {
        "divert": load.divert_price_per_kg,
        "refuse": load.refuse_price_per_kg,
        "lose": load.value_per_kg,
    }[part.gone]
    return part.gone, (load.value_per_kg if per_kg is None else per_kg) * part.mass_kg


def base_orders(problem: Problem) -> list[list[str]]:
    """Orders worth trying: by arrival, deadline, value at stake, price per machine hour, kind."""
    begun = {p.load.id for p in problem.parts if p.begun}
    keys: list[Callable[[Load], tuple[object, ...]]] = [
        lambda x: (x.ready_h, x.id),
        lambda x: (x.ready_h + x.hold_h, x.id),
        lambda x: (x.ready_h + x.spoil_h, x.id),
        lambda x: (-x.value_per_kg, x.ready_h, x.id),
        lambda x: (-_out_price_per_slot(problem, x), x.ready_h, x.id),
        lambda x: (x.leaf, x.ready_h, x.id),
    ]
    return [
        [x.id for x in sorted(problem.day.loads, key=lambda x: (x.id not in begun, *key(x)))]
        for key in keys
    ]


def _out_price_per_slot(problem: Problem, load: Load) -> float:
    """What a slot of machine time earns by running the load rather than letting it go."""
    parts = [p for p in problem.parts if p.load.id == load.id]
    slots = sum(min((c.fed for c in t.choices), default=0) for p in parts for t in p.tasks)
    return sum(p.out_price for p in parts) / max(1, slots)


def changed(order: Sequence[str], rng: random.Random) -> list[str]:
    """The order with one load moved to another place."""
    new = list(order)
    moved = new.pop(rng.randrange(len(new)))
    new.insert(rng.randrange(len(new) + 1), moved)
    return new


def cost_of(problem: Problem, places: Places, previous: Sequence[Run] = ()) -> float:
    """Total cost of placed parts."""
    runs, decisions = to_plan(problem, places)
    return _price.price(problem.day, runs, decisions, previous).total


def best_places(
    problem: Problem, previous: Sequence[Run] = (), tries: int | None = None, seed: int = 1
) -> Places:
    """The cheapest of some dispatch plans; the same input gives the same plan.

    After the base orders the best one so far is changed load by load and kept when it is cheaper.
    """
    if tries is None:
        tries = max(10, min(100, 2500 // max(1, len(problem.parts))))
    rng = random.Random(seed)
    waiting = base_orders(problem)
    best: Places = {}
    best_order, best_cost = waiting[0], float("inf")
    for _ in range(tries):
        order = waiting.pop(0) if waiting else changed(best_order, rng)
        places = dispatch(problem, order)
        cost = cost_of(problem, places, previous)
        if cost < best_cost - 1e-9:
            best, best_order, best_cost = places, order, cost
        if len(order) < 2:
            break
    return _twins_in_order(problem, best)


def all_or_none(problem: Problem, load: Load) -> bool:
    """Whether the parts of a load must run together: it may not be split and none is settled."""
    if load.splittable:
        return False
    cut = {i.load_id for i in problem.day.interrupted}
    mine = [p for p in problem.parts if p.load.id == load.id]
    return load.id not in cut and not any(p.begun or p.gone for p in mine)


def _twins_in_order(problem: Problem, places: Places) -> Places:
    """Give equal parts of a load their numbers in order of their first start."""
    cut = {(i.load_id, i.part) for i in problem.day.interrupted}
    ordered = dict(places)
    for load in problem.day.loads:
        alike = [
            p
            for p in problem.parts
            if p.load.id == load.id
            and not p.begun
            and p.gone is None
            and (load.id, p.number) not in cut
        ]
        routes = [places[load.id, p.number] for p in alike]
        routes.sort(key=lambda r: (r is None, r[0].start if r else 0))
        for part, route in zip(alike, routes, strict=True):
            ordered[load.id, part.number] = route
    return ordered


def keep(problem: Problem, previous: Sequence[Run]) -> Places:
    """Leave the previous plan where it still can stand and place only the rest anew."""
    floor = Floor.start(problem)
    was = {(r.load_id, r.part, r.step): r for r in previous}
    places: Places = {}
    rest: list[Part] = []
    for part in sorted(problem.parts, key=lambda p: not p.begun):
        key = (part.load.id, part.number)
        placed = None if part.gone is not None else _as_before(floor, part, was)
        places[key] = placed
        if placed is None and part.gone is None:
            rest.append(part)
        for p in placed or []:
            floor.place(p)
    for part in sorted(rest, key=lambda p: (not p.begun, p.load.ready_h, p.load.id, p.number)):
        placed = best_route(floor, part)
        places[part.load.id, part.number] = placed
        for p in placed or []:
            floor.place(p)
    for load in problem.day.loads:
        mine = [k for k in places if k[0] == load.id]
        if all_or_none(problem, load) and any(places[k] is None for k in mine):
            places |= dict.fromkeys(mine)
    return places


def _as_before(
    floor: Floor, part: Part, was: dict[tuple[str, int, int], Run]
) -> list[Placed] | None:
    problem, placed = floor.problem, []
    before: Placed | None = None
    for task in part.tasks:
        if task.fixed is not None:
            before = Placed(task, None, task.fixed_start, task.fixed_end)
            placed.append(before)
            continue
        old = was.get((part.load.id, part.number, task.step))
        choice = next(
            (c for c in task.choices if old and problem.machines[c.machine].id == old.machine_id),
            None,
        )
        if old is None or choice is None:
            return None
        start = problem.down(old.start_h)
        low = lower_start(before, task, choice, problem)
        too_late = task.step == 0 and start > part.last_start
        if start < low or start >= problem.slots or too_late:
            return None
        if not floor.starts(task, choice, start)[0]:
            return None
        before = Placed(task, choice, start, start + choice.busy)
        placed.append(before)
    return placed
