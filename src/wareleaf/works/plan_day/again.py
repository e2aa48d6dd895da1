"""The plan before, laid on the floor as it stands now: what a new plan is held against.

The book is the truth: what runs now is frozen as it runs, whatever the plan before had. Of that
plan only the runs that have not begun are taken over, for the same leaf: the same lot, a lot made
of it since, or the load that an announcement has become.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from wareleaf.plan.schedule import Cost, Decision, Lighting, Plan, Run
from wareleaf.works.expected import EARLY, LATE
from wareleaf.works.house import Works
from wareleaf.works.plan_day.board import Board
from wareleaf.works.plan_day.items import Item
from wareleaf.works.plan_day.shown import DayPlan, PlannedLoad

DEFAULT_GRID_MIN = 5


def standing(board: Board) -> Plan:
    """Only what is running now."""
    return _plan(_frozen(board), _decisions(board, {}), (), DEFAULT_GRID_MIN)


def before_on(works: Works, board: Board, kept: DayPlan) -> Plan:
    """What is running now, and what the plan before had for the leaf that has not begun."""
    matched = _matched(works, board, kept)
    counts = {load_id: old.parts for load_id, (old, part) in matched.items() if part is None}
    runs = _frozen(board)
    settled = {(r.load_id, r.step) for r in runs}
    for load_id, (old, only) in matched.items():
        route = board.day.load(load_id).route
        steps = {s.name: k for k, s in enumerate(route)}
        for r in kept.runs:
            if r.load_id != old.load_id or r.stage not in steps:
                continue
            part = r.part if only is None else 0
            start = board.clock.hours(r.start_at)
            if only not in (None, r.part) or start < board.day.now_h:
                continue
            step = steps[r.stage]
            known = {o.machine_id for o in route[step].options}
            if (load_id, step) in settled or r.machine_id not in known:
                continue
            end = board.clock.hours(r.end_at)
            runs.append(Run(load_id, part, step, r.stage, r.machine_id, start, end, r.mass_kg))
    lightings = tuple(
        Lighting(
            x.machine_id,
            board.clock.hours(x.light_at),
            board.clock.hours(x.ready_at),
            board.clock.hours(x.shut_at),
            x.from_cold,
        )
        for x in kept.lightings
    )
    return _plan(runs, _decisions(board, counts), lightings, kept.grid_min)


def _plan(
    runs: list[Run],
    decisions: tuple[Decision, ...],
    lightings: tuple[Lighting, ...],
    grid_min: int,
) -> Plan:
    return Plan(
        runs=tuple(runs),
        decisions=decisions,
        lightings=lightings,
        cost=Cost(),
        bound=None,
        proved=False,
        standing="",
        grid_min=grid_min,
        method="",
    )


def _frozen(board: Board) -> list[Run]:
    return [
        Run(
            f.load_id,
            f.part,
            f.step,
            board.day.load(f.load_id).route[f.step].name,
            f.machine_id,
            f.start_h,
            f.end_h,
            board.day.load(f.load_id).mass_kg,
        )
        for f in board.day.frozen
    ]


def _decisions(board: Board, counts: Mapping[str, int]) -> tuple[Decision, ...]:
    """Into how many parts each load is split, as far as that is given."""
    given = {**dict(board.day.parts), **counts}
    return tuple(
        Decision(load_id, part, parts, board.day.load(load_id).mass_kg / parts, "run")
        for load_id, parts in given.items()
        for part in range(parts)
    )


Match = tuple[PlannedLoad, int | None]


def _matched(works: Works, board: Board, kept: DayPlan) -> dict[str, Match]:
    """For each load of the board the one of the plan before, and which part of it (None: all)."""
    given = dict(board.day.parts)
    taken: dict[str, int] = {}
    found: dict[str, Match] = {}
    for load_id, item in board.items.items():
        old = _origin(works, item, kept.loads)
        if old is None:
            continue
        whole = item.kind != "running" and old.refs == item.refs
        if whole or (old.parts == 1 and given.get(load_id, 1) == 1):
            found[load_id] = (old, None)
        elif given.get(load_id) == 1:
            part = taken.get(old.load_id, 0)
            taken[old.load_id] = part + 1
            found[load_id] = (old, part)
    return found


def _origin(works: Works, item: Item, loads: Iterable[PlannedLoad]) -> PlannedLoad | None:
    mine = set(item.refs)
    if item.kind != "expected":
        for lot_id in item.refs:
            mine |= {n.lot_id for n in works.book.trace_back(lot_id).nodes}
    for old in loads:
        if mine & set(old.refs):
            return old
    if item.kind == "expected":
        return None
    sources = {str(works.book.lot(lot_id).attributes.get("source", "")) for lot_id in item.refs}
    for old in loads:
        if (
            old.kind != "expected"
            or not old.ready_at - LATE <= item.ready_at <= old.ready_at + LATE
        ):
            continue
        called = {str(works.book.event(ref).event.facts.get("source")) for ref in old.refs}
        if called & sources and item.ready_at >= old.ready_at - EARLY:
            return old
    return None
