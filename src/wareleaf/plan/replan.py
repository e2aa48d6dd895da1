"""Plan again from now on, moving as little as possible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from wareleaf.measure import require
from wareleaf.plan.board import Day, Frozen, Gone, Interrupted, Machine, Window
from wareleaf.plan.day import plan_day
from wareleaf.plan.loads import Load
from wareleaf.plan.schedule import Plan, Run


@dataclass(frozen=True)
class Breakdown:
    """A machine that cannot work from one hour to another."""

    machine_id: str
    from_h: float
    until_h: float


def replan(
    day: Day,
    previous: Plan,
    *,
    now_h: float,
    breakdowns: Sequence[Breakdown] = (),
    new_loads: Sequence[Load] = (),
    redo_share: float = 1.0,
    time_limit_s: float = 8.0,
    workers: int = 2,
    seed: int = 1,
) -> Plan:
    """Plan again after a breakdown, a late lorry or new leaf.

    Work that has begun stays where it is unless its machine is broken; then the step is run again
    (``redo_share`` of it) elsewhere or after the repair. What has not begun may move, at the day's
    price for each moved run and hour.

    Parameters
    ----------
    day, previous : Day, Plan
        The day as it was planned and the plan in force.
    now_h : float
        The present, in hours from the start of the plan.
    breakdowns : sequence of Breakdown
        Machines that are out.
    new_loads : sequence of Load
        Leaf announced since.
    redo_share : float
        Share of an interrupted step that has to be run again (1: all of it).
    time_limit_s, workers, seed
        As for `plan_day`.

    Returns
    -------
    Plan
        The new plan; ``moves`` lists every run that left its place.
    """
    later = as_of(
        day,
        previous,
        now_h=now_h,
        breakdowns=breakdowns,
        new_loads=new_loads,
        redo_share=redo_share,
    )
    return plan_day(later, time_limit_s=time_limit_s, workers=workers, seed=seed, previous=previous)


def as_of(
    day: Day,
    previous: Plan,
    *,
    now_h: float,
    breakdowns: Sequence[Breakdown] = (),
    new_loads: Sequence[Load] = (),
    redo_share: float = 1.0,
) -> Day:
    """The day as it stands at ``now_h``: what is settled, what is broken, what is new."""
    known = {m.id for m in day.machines}
    require(now_h >= day.now_h, "now_h", now_h, f"now_h is {now_h}; the plan began at {day.now_h}.")
    require(
        0.0 < redo_share <= 1.0,
        "redo_share",
        redo_share,
        f"redo_share is {redo_share}; accepted is above 0 and up to 1.",
    )
    for b in breakdowns:
        require(
            b.machine_id in known,
            "breakdowns.machine_id",
            b.machine_id,
            f"breakdowns: {b.machine_id!r} is no machine of the day; there are {sorted(known)}.",
        )
        require(
            b.until_h > b.from_h,
            "breakdowns.until_h",
            b.until_h,
            f"breakdowns: until_h is {b.until_h}; it must be after from_h ({b.from_h}).",
        )
    cut = _interrupted(day, previous, now_h, breakdowns)
    lost_from = {key: min(s for k, s in cut if k == key) for key, _ in cut}
    frozen = tuple(
        Frozen(r.load_id, r.part, r.step, r.machine_id, r.start_h, r.end_h)
        for r in previous.runs
        if (r.start_h < now_h or _pinned(day, r))
        and r.step < lost_from.get((r.load_id, r.part), len(day.load(r.load_id).route))
    )
    interrupted = tuple(
        Interrupted(key[0], key[1], step, cut[key, step], redo_share) for key, step in sorted(cut)
    )
    machines = tuple(
        _machine(m, (previous, now_h, day.horizon_h), breakdowns, cut) for m in day.machines
    )
    counts = {d.load_id: d.parts for d in previous.decisions}
    gone = tuple(
        Gone(d.load_id, d.part, d.outcome)
        for d in previous.decisions
        if d.outcome != "run" and _has_left(day, d.load_id, d.part, now_h)
    )
    return replace(
        day,
        loads=(*day.loads, *new_loads),
        machines=machines,
        now_h=now_h,
        frozen=frozen,
        interrupted=interrupted,
        gone=gone,
        parts=tuple(counts.items()),
        grid_min=previous.grid_min,
    )


def _pinned(day: Day, run: Run) -> bool:
    return any((f.load_id, f.part, f.step) == (run.load_id, run.part, run.step) for f in day.frozen)


def _has_left(day: Day, load_id: str, part: int, now_h: float) -> bool:
    gone_before = any((g.load_id, g.part) == (load_id, part) for g in day.gone)
    return gone_before or day.load(load_id).ready_h < now_h


Cut = dict[tuple[tuple[str, int], int], float]


def _interrupted(day: Day, previous: Plan, now_h: float, breakdowns: Sequence[Breakdown]) -> Cut:
    """Begun steps that a breakdown cuts short, with the hour, and begun steps fed by them."""
    cut: Cut = {
        ((i.load_id, i.part), i.step): i.from_h
        for i in day.interrupted
        if not any(
            r.start_h < now_h
            for r in previous.runs
            if (r.load_id, r.part, r.step) == (i.load_id, i.part, i.step)
        )
    }
    for r in previous.runs:
        if not (r.start_h < now_h or _pinned(day, r)):
            continue
        for b in breakdowns:
            if b.machine_id == r.machine_id and r.start_h < b.until_h and r.end_h > b.from_h:
                cut[(r.load_id, r.part), r.step] = max(b.from_h, r.start_h)
    for r in previous.runs:
        key = (r.load_id, r.part)
        earlier = [hour for (k, step), hour in cut.items() if k == key and step < r.step]
        if earlier and r.start_h < now_h and (key, r.step) not in cut:
            cut[key, r.step] = min(earlier)
    return cut


def _machine(
    m: Machine, then: tuple[Plan, float, float], breakdowns: Sequence[Breakdown], cut: Cut
) -> Machine:
    previous, now_h, horizon_h = then
    hot = next(
        (
            x.ready_h
            for x in previous.lightings
            if x.machine_id == m.id and x.light_h < now_h < x.shut_h
        ),
        None,
    )
    out = [b for b in breakdowns if b.machine_id == m.id]
    if not out:
        return replace(m, hot_from_h=hot)
    windows: tuple[Window, ...] = m.windows or ((min(0.0, now_h), horizon_h),)
    for b in out:
        busy = any(
            r.machine_id == m.id and ((r.load_id, r.part), r.step) in cut and r.end_h > b.from_h
            for r in previous.runs
        )
        begin = min(now_h, b.from_h) if busy else b.from_h
        windows = _without(windows, begin, b.until_h)
        if b.from_h <= now_h:
            hot = None
    return replace(m, windows=windows, hot_from_h=hot)


def _without(windows: tuple[Window, ...], begin: float, end: float) -> tuple[Window, ...]:
    left: list[Window] = []
    for a, b in windows:
        if b <= begin or a >= end:
            left.append((a, b))
            continue
        if a < begin:
            left.append((a, begin))
        if b > end:
            left.append((end, b))
    return tuple(left)
