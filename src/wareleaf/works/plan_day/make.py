"""Make a plan, have it checked by its hours alone, and put it in words."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from wareleaf.measure.errors import BadInput
from wareleaf.plan.board import Day
from wareleaf.plan.check import problems_of
from wareleaf.plan.day import plan_day
from wareleaf.plan.limits import what_limits
from wareleaf.plan.replan import Breakdown, as_of
from wareleaf.plan.room import room_for
from wareleaf.plan.schedule import Plan, Run
from wareleaf.works.expected import ExpectedLoad
from wareleaf.works.house import Works
from wareleaf.works.plan_day.again import before_on, standing
from wareleaf.works.plan_day.board import Board, build, machines
from wareleaf.works.plan_day.items import expected_item, require_site_machines
from wareleaf.works.plan_day.outages import Outage, outages
from wareleaf.works.plan_day.shown import DayPlan, RoomFor
from wareleaf.works.plan_day.sized import Sized, size
from wareleaf.works.plan_day.words import day_plan, room_in_words

ANSWER_S = 9.5  # from question to answer, the solver's time included
EXTRAS_S = 2.5  # kept for limits and room
LIKE_KG = 1000.0  # stands for a load when only its leaf matters
REFUSED = "The solver's plan broke one of its own rules and was put aside: {0} "


def make(
    works: Works,
    who: str,
    site_id: str,
    time_limit_s: float,
    kept: DayPlan | None = None,
    redo_share: float = 1.0,
) -> DayPlan:
    """Plan a site anew, or with as few moves as possible from a plan that is kept.

    Raises
    ------
    BadInput
        For a site without machines, or when no plan keeps its own rules.
    """
    began = time.monotonic()
    require_site_machines(works, site_id)
    out = outages(works, site_id)
    board, before = stand(works, site_id, out, kept, redo_share)
    left = ANSWER_S - EXTRAS_S - (time.monotonic() - began)
    limit = min(time_limit_s, max(0.5, left)) if time_limit_s > 0.0 else 0.0
    plan, told = checked(board.day, limit, before if kept is not None else None)
    limits = what_limits(board.day, plan)
    rooms: list[RoomFor] = []
    at = _next_hour(works.now())
    for source_id in _one_source_a_leaf(works, site_id):
        if time.monotonic() - began > ANSWER_S - 0.5:
            told = (*told, "There was no time left to work out what more leaf fits.")
            break
        rooms.append(room_beside(works, board, plan, source_id, at))
    warnings = (*board.warnings, *told)
    return day_plan(works, site_id, who, board, plan, (limits, tuple(rooms), out, warnings))


def stand(
    works: Works,
    site_id: str,
    out: Sequence[Outage],
    kept: DayPlan | None,
    redo_share: float = 1.0,
) -> tuple[Board, Plan]:
    """The board with what is running and what is broken settled, and the plan before on it."""
    board = build(works, site_id, frozenset(o.machine_id for o in out))
    before = standing(board) if kept is None else before_on(works, board, kept)
    known = {m.id for m in board.day.machines}
    breakdowns = [
        Breakdown(o.machine_id, board.clock.hours(o.from_at), board.clock.hours(o.until_at))
        for o in out
        if o.machine_id in known
    ]
    day = as_of(
        board.day,
        before,
        now_h=board.day.now_h,
        breakdowns=breakdowns,
        redo_share=redo_share,
    )
    if kept is None:
        day = replace(day, grid_min=None)
    return replace(board, day=day), before


def checked(day: Day, time_limit_s: float, previous: Plan | None) -> tuple[Plan, tuple[str, ...]]:
    """A plan that keeps every rule by the independent check, and what had to be put aside.

    Raises
    ------
    BadInput
        When not even the plain dispatch plan passes.
    """
    plan = plan_day(day, time_limit_s=time_limit_s, previous=previous)
    broken = problems_of(day, plan)
    if not broken:
        return (plan if previous is not None else tidied(day, plan)), ()
    told = REFUSED.format(broken[0]) + "This is the plain dispatch plan."
    plain = plan_day(day, time_limit_s=0.0, previous=previous)
    broken = problems_of(day, plain)
    if broken and previous is not None:
        plain = plan_day(day, time_limit_s=0.0)
        broken = problems_of(day, plain)
    if broken:
        raise BadInput(
            "plan", broken[0], f"No plan was found that keeps its own rules: {broken[0]}"
        )
    return plain, (told,)


def tidied(day: Day, plan: Plan) -> Plan:
    """The same plan with leaf put on free troughs at once, where that costs nothing.

    To the planner it is all one whether leaf waits before or after a wither, as long as neither
    wait loses value; on the floor leaf keeps better spread in the air than heaped.
    """
    runs = list(plan.runs)
    for run in sorted(runs, key=lambda r: r.start_h):
        early = _earlier(day, runs, run)
        if early is not None:
            runs[runs.index(run)] = early
    if runs == list(plan.runs):
        return plan
    # The moved plan is priced and put in words as a plan that is kept as it stands.
    kept = plan_day(day, time_limit_s=0.0, previous=replace(plan, runs=tuple(runs)))
    if kept.cost.total > plan.cost.total + 1e-6 or problems_of(day, kept):
        return plan
    return replace(
        kept,
        bound=plan.bound,
        proved=plan.proved,
        standing=plan.standing,
        method=plan.method,
        moves=(),
    )


def _earlier(day: Day, runs: Sequence[Run], run: Run) -> Run | None:
    """The run at its first free place on a like machine, or None when it lies there already."""
    load = day.load(run.load_id)
    spec = load.route[0]
    next_run = next(
        (r for r in runs if (r.load_id, r.part, r.step) == (run.load_id, run.part, 1)), None
    )
    frozen = any((f.load_id, f.part, f.step) == (run.load_id, run.part, 0) for f in day.frozen)
    machine = day.machine(run.machine_id)
    if run.step or frozen or spec.crew or machine.fired or machine.shared or next_run is None:
        return None
    wait_h = load.route[1].max_wait_h
    grid_h = (day.grid_min or 5) / 60.0
    hours = run.end_h - run.start_h
    low = max(load.ready_h, day.now_h)
    if wait_h is not None:
        low = max(low, next_run.start_h - wait_h - hours)
    low = math.ceil(low / grid_h - 1e-6) * grid_h
    best: Run | None = None
    for option in spec.options:
        other = day.machine(option.machine_id)
        if other.windows is not None or option.duration_h > hours + 1e-9 or other.fired:
            continue
        start = _first_gap(runs, run, other.id, low, hours + other.clean_h) + (
            0.0 if other.clean_h == 0.0 else other.clean_h
        )
        if start < (best.start_h if best else run.start_h) - 1e-6:
            best = replace(run, machine_id=other.id, start_h=start, end_h=start + hours)
    return best


def _first_gap(runs: Sequence[Run], run: Run, machine_id: str, low: float, hours: float) -> float:
    start = low
    for other in sorted((r for r in runs if r.machine_id == machine_id), key=lambda r: r.start_h):
        if other is run:
            continue
        if other.start_h >= start + hours - 1e-9:
            break
        start = max(start, other.end_h)
    return start


def _next_hour(now: datetime) -> datetime:
    return (now + timedelta(hours=2)).replace(minute=0, second=0, microsecond=0)


def _one_source_a_leaf(works: Works, site_id: str) -> list[str]:
    first: dict[str, str] = {}
    for source in works.settings.source:
        if source.site == site_id:
            first.setdefault(source.leaf, source.id)
    return list(first.values())


def room_beside(
    works: Works, board: Board, plan: Plan, source_id: str, arrives_at: datetime
) -> RoomFor:
    """How much more leaf of a source fits beside a plan.

    Raises
    ------
    BadInput
        When the site makes nothing of that leaf, or the time lies outside the plan.
    """
    source = works.settings.source_of(source_id)
    at_h = math.ceil(board.clock.hours(arrives_at) * 12.0 - 1e-6) / 12.0
    if not board.day.now_h <= at_h < board.day.horizon_h:
        raise BadInput(
            "arrives_at",
            arrives_at.isoformat(),
            f"arrives_at must lie from now to {board.clock.say(board.day.horizon_h)}, "
            "the last hour of the plan.",
        )
    load = ExpectedLoad(
        f"more of {source_id}",
        source.id,
        source.name,
        source.leaf,
        source.site,
        LIKE_KG,
        arrives_at,
        note="",
        who="",
        announced_at=works.now(),
    )
    sized = _sized(works, board, load)
    like = replace(sized.load, id=f"{source.name} (more)")
    day = _with_prices(works, board, sized)
    return room_in_words(works, source_id, arrives_at, room_for(day, plan, like, at_h), board.clock)


def _sized(works: Works, board: Board, load: ExpectedLoad) -> Sized:
    told: list[str] = []
    item = expected_item(works, load, told)
    sized = None if item is None else size(works, load.site, board.clock, item, told)
    if sized is None:
        raise BadInput("source", load.source, told[-1])
    return sized


def _with_prices(works: Works, board: Board, sized: Sized) -> Day:
    """The day with a fuel price for machines that no load of it has asked about."""
    days = math.ceil(board.day.horizon_h / 24.0)
    site_id = sized.item.product.site
    priced = {m.id: m for m in machines(works, site_id, board.clock, days, sized.legs)}
    return replace(
        board.day,
        machines=tuple(
            m
            if m.warm_up_price > 0.0
            else replace(
                m,
                warm_up_price=priced[m.id].warm_up_price,
                fire_price_per_h=priced[m.id].fire_price_per_h,
            )
            for m in board.day.machines
        ),
    )
