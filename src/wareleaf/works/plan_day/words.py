"""A plan of hours and ids in the words of the works: names, times, sentences."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime

from wareleaf.plan.limits import Limits
from wareleaf.plan.room import Room
from wareleaf.plan.schedule import Plan
from wareleaf.works.house import Works
from wareleaf.works.plan_day import worth
from wareleaf.works.plan_day.board import Board
from wareleaf.works.plan_day.clock import DayClock
from wareleaf.works.plan_day.outages import Outage
from wareleaf.works.plan_day.shown import (
    DayLimits,
    DayPlan,
    LimitGroup,
    OutOfOrder,
    PlannedDecision,
    PlannedLighting,
    PlannedLoad,
    PlannedMove,
    PlannedRun,
    RoomFor,
)

_AT_HOUR = re.compile(r"\b(at|before) (\d+(?:\.\d+)?) h\b")

RULES = (
    worth.RULE,
    "Times come from the stage models in the air of the station's typical year, at each "
    "machine's usual settings. Only stages up to the dryer are planned, and people on milling, "
    "sifting and packing are not taken off.",
    "Troughs run through the night; other machines work in the site's day hours.",
)


def in_words(sentence: str, clock: DayClock, names: Mapping[str, str]) -> str:
    """Replace hours of the plan by times and machine ids by names."""
    said = _AT_HOUR.sub(lambda m: f"{m[1]} {clock.say(float(m[2]))}", sentence)
    for machine_id, name in names.items():
        said = re.sub(rf"(?<![\w-]){re.escape(machine_id)}(?![\w-])", name, said)
    return said


def _under_way(sentence: str) -> str:
    """The planner's words for leaf that is on its machine already."""
    return sentence.replace(" goes straight to ", " is on ", 1)


def names_of(works: Works) -> dict[str, str]:
    """Names of all machines by id."""
    return {m.id: m.name for m in works.settings.equipment}


def day_plan(
    works: Works,
    site_id: str,
    who: str,
    board: Board,
    plan: Plan,
    extras: tuple[Limits, tuple[RoomFor, ...], tuple[Outage, ...], tuple[str, ...]],
) -> DayPlan:
    """The plan of a board as it is stored and shown; ``extras``: limits, room, outages, words."""
    limits, room, out, warnings = extras
    clock, names, day = board.clock, names_of(works), board.day
    frozen = {(f.load_id, f.part, f.step) for f in day.frozen}
    parts = {d.load_id: d.parts for d in plan.decisions}
    return DayPlan(
        site_id=site_id,
        made_by=who,
        made_at=works.now(),
        t0=clock.t0,
        until_at=clock.at(day.horizon_h),
        currency=works.settings.firm.currency,
        loads=tuple(_load(board, x.id, parts.get(x.id, 1)) for x in day.loads),
        runs=tuple(
            PlannedRun(
                load_id=r.load_id,
                refs=board.items[r.load_id].refs,
                part=r.part,
                parts=parts[r.load_id],
                step=r.step,
                stage=r.step_name,
                machine_id=r.machine_id,
                machine=names[r.machine_id],
                start_at=clock.at(r.start_h),
                end_at=clock.at(r.end_h),
                mass_kg=r.mass_kg,
                running=(r.load_id, r.part, r.step) in frozen,
            )
            for r in plan.runs
        ),
        decisions=tuple(
            PlannedDecision(
                d.load_id,
                d.part,
                d.parts,
                d.mass_kg,
                d.outcome,
                d.wait_h,
                d.loss_share,
                d.price,
                in_words(
                    _under_way(d.sentence) if board.items[d.load_id].view else d.sentence,
                    clock,
                    names,
                ),
            )
            for d in plan.decisions
        ),
        lightings=tuple(
            PlannedLighting(
                x.machine_id,
                names[x.machine_id],
                clock.at(x.light_h),
                clock.at(x.ready_h),
                clock.at(x.shut_h),
                x.from_cold,
            )
            for x in plan.lightings
        ),
        moves=tuple(
            PlannedMove(
                m.load_id,
                m.part,
                m.step_name,
                names.get(m.machine_from, m.machine_from),
                names.get(m.machine_to, m.machine_to),
                clock.at(m.start_from_h),
                clock.at(m.start_to_h),
            )
            for m in plan.moves
        ),
        cost=plan.cost.total,
        cost_items={k: float(v) for k, v in vars(plan.cost).items()},
        bound=plan.bound,
        gap=plan.gap,
        proved=plan.proved,
        standing=plan.standing,
        method=plan.method,
        grid_min=plan.grid_min,
        limits=DayLimits(
            in_words(limits.sentence, clock, names),
            limits.method,
            tuple(LimitGroup(**vars(g)) for g in limits.groups),
        ),
        room=room,
        outages=tuple(
            OutOfOrder(o.machine_id, names[o.machine_id], o.from_at, o.until_at) for o in out
        ),
        warnings=tuple(
            dict.fromkeys(in_words(w, clock, names) for w in (*warnings, *plan.warnings))
        ),
        rules=RULES,
    )


def _load(board: Board, load_id: str, parts: int) -> PlannedLoad:
    load, item, clock = board.day.load(load_id), board.items[load_id], board.clock
    return PlannedLoad(
        load_id=load_id,
        kind=item.kind,
        refs=item.refs,
        leaf=load.leaf,
        product_id=item.product.id,
        mass_kg=load.mass_kg,
        ready_at=clock.at(load.ready_h),
        loses_value_at=clock.at(load.ready_h + load.hold_h),
        lost_at=clock.at(load.ready_h + load.spoil_h),
        value_per_kg=load.value_per_kg,
        parts=parts,
    )


def room_in_words(
    works: Works, source_id: str, at: datetime, room: Room, clock: DayClock
) -> RoomFor:
    """What fits of a source's leaf, in words."""
    leaf = works.settings.source_of(source_id).leaf
    return RoomFor(
        source_id=source_id,
        leaf=leaf,
        arrives_at=at,
        certain_kg=room.certain_kg,
        at_most_kg=room.at_most_kg,
        tightest_step=room.tightest_step,
        sentence=in_words(room.sentence, clock, names_of(works)),
        method=room.method,
    )
