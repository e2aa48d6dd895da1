"""What a plan costs, item by item, from its hours alone (no grid, no solver)."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from wareleaf.plan.board import Day, Frozen, Machine
from wareleaf.plan.loads import Option, Step
from wareleaf.plan.schedule import Cost, Decision, Lighting, Run

Key = tuple[str, int]


def option_of(step: Step, machine_id: str) -> Option:
    """The step's option on that machine."""
    return next(o for o in step.options if o.machine_id == machine_id)


def all_on_h(day: Day, run: Run | Frozen) -> float:
    """Hour from which leaf of the same recipe may be put on: all on where it may follow, or off."""
    if not day.machine(run.machine_id).follows:
        return run.end_h
    option = option_of(day.load(run.load_id).route[run.step], run.machine_id)
    return max(run.start_h, run.end_h - option.duration_h)


def tended_until_h(day: Day, run: Run | Frozen) -> float:
    """Hour until which a run needs its people."""
    step = day.load(run.load_id).route[run.step]
    end = all_on_h(day, run)
    return end if step.crew_h is None else min(end, run.start_h + step.crew_h)


def lightings(day: Day, runs: Sequence[Run]) -> tuple[Lighting, ...]:
    """When to light and shut each fired machine so that its runs are covered at least cost.

    Between two runs the machine is shut and lit again when that is possible in the gap and
    cheaper than keeping it hot. Runs that ended before ``now_h`` are past and not lit again.
    """
    found: list[Lighting] = []
    for m in day.machines:
        if not m.fired:
            continue
        spans = sorted(
            (max(r.start_h, day.now_h), r.end_h, r.start_h)
            for r in runs
            if r.machine_id == m.id and r.end_h > day.now_h
        )
        if not spans:
            continue
        first, shut, began = spans[0]
        hot = m.hot_from_h is not None or began < day.now_h or _runs_now(day, m)
        hot_at = max(day.now_h, min(first, m.hot_from_h or day.now_h))
        idle = first - hot_at
        keep = hot and (idle < m.warm_up_h or m.fire_price_per_h * idle <= m.warm_up_price)
        ready = hot_at if keep else first
        cold = not keep
        for start, end, _ in spans[1:]:
            gap = start - shut
            if gap >= m.warm_up_h and m.warm_up_price < m.fire_price_per_h * gap:
                found.append(_lighting(m, ready, shut, cold))
                ready, cold = start, True
            shut = max(shut, end)
        found.append(_lighting(m, ready, shut, cold))
    return tuple(found)


def _runs_now(day: Day, m: Machine) -> bool:
    return any(f.machine_id == m.id and f.start_h <= day.now_h < f.end_h for f in day.frozen)


def _lighting(m: Machine, ready_h: float, shut_h: float, cold: bool) -> Lighting:
    light_h = ready_h - m.warm_up_h if cold else ready_h
    return Lighting(m.id, light_h, ready_h, shut_h, cold)


def lighting_cost(day: Day, found: Sequence[Lighting]) -> float:
    """Fuel in money: a warm-up for each lighting from cold and the hours kept hot."""
    total = 0.0
    for item in found:
        m = day.machine(item.machine_id)
        total += m.fire_price_per_h * (item.shut_h - item.ready_h)
        total += m.warm_up_price if item.from_cold else 0.0
    return total


def power_cost(day: Day, start_h: float, end_h: float, power_kw: float) -> float:
    """Electricity of one run under the tariff."""
    return power_kw * sum(
        max(0.0, min(end_h, b.to_h) - max(start_h, b.from_h)) * b.price_per_kwh for b in day.tariff
    )


def first_wait_h(day: Day, load_id: str, runs: Sequence[Run]) -> float:
    """Hours from arrival to the first step of a part."""
    return max(0.0, min(r.start_h for r in runs) - day.load(load_id).ready_h)


def over_wait_h(step: Step, before: Run, run: Run, flow_lag_h: float) -> float:
    """Hours waited beyond what the step allows."""
    if step.max_wait_h is None:
        return 0.0
    since = before.start_h + flow_lag_h if step.flows else before.end_h
    return max(0.0, run.start_h - since - step.max_wait_h)


def price(
    day: Day,
    runs: Sequence[Run],
    decisions: Sequence[Decision],
    previous: Sequence[Run] = (),
) -> Cost:
    """Cost of a plan.

    Parameters
    ----------
    day : Day
        The day.
    runs, decisions : sequence
        The plan.
    previous : sequence of Run
        Runs of the plan that this one replaces; each one moved has its price.
    """
    by_part: dict[Key, list[Run]] = {}
    for run in sorted(runs, key=lambda r: r.step):
        by_part.setdefault((run.load_id, run.part), []).append(run)
    holding = waiting = out = late = power = early = 0.0
    finish = day.now_h
    for d in decisions:
        load = day.load(d.load_id)
        if d.outcome != "run":
            out += d.price
            continue
        mine = by_part[(d.load_id, d.part)]
        holding += load.value_per_kg * d.mass_kg * load.loss_share(first_wait_h(day, load.id, mine))
        for before, run in itertools.pairwise(mine):
            step = load.route[run.step]
            lag = option_of(load.route[before.step], before.machine_id).duration_h
            lag = min(lag, before.end_h - before.start_h)
            over = over_wait_h(step, before, run, lag)
            waiting += step.wait_price_per_kg_h * d.mass_kg * over
        end = mine[-1].end_h
        finish = max(finish, end)
        if load.due_h is not None:
            late += load.late_price_per_kg_h * d.mass_kg * max(0.0, end - load.due_h)
        early += day.early_price_per_h * max(0.0, end - load.ready_h)
    for run in runs:
        kw = option_of(day.load(run.load_id).route[run.step], run.machine_id).power_kw
        power += power_cost(day, run.start_h, run.end_h, kw)
    return Cost(
        holding=holding,
        waiting=waiting,
        way_out=out,
        late=late,
        lighting=lighting_cost(day, lightings(day, runs)),
        power=power,
        finish=day.finish_price_per_h * (finish - day.now_h),
        early=early,
        moved=move_cost(day, runs, previous),
    )


def move_cost(day: Day, runs: Sequence[Run], previous: Sequence[Run]) -> float:
    """Price of every run that is not where the previous plan had it."""
    was = {(r.load_id, r.part, r.step): r for r in previous}
    total = 0.0
    for run in runs:
        old = was.get((run.load_id, run.part, run.step))
        if old is None:
            continue
        shift = abs(run.start_h - old.start_h)
        if shift > 1e-9 or run.machine_id != old.machine_id:
            total += day.move_price + day.move_price_per_h * shift
    return total
