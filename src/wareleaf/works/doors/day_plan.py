"""Plan the day: which load goes on which machine and when, what must go elsewhere, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput
from wareleaf.works.doors._day_plan_tables import (
    BreakdownIn,
    CrewIn,
    DecisionOut,
    FrozenIn,
    GroupOut,
    LightingOut,
    LoadIn,
    MachineIn,
    MoveOut,
    RoomIn,
    RoomOut,
    RunOut,
    TariffIn,
)

if TYPE_CHECKING:
    from wareleaf.plan.board import Day, Machine
    from wareleaf.plan.loads import Load
    from wareleaf.plan.schedule import Plan


class Input(DoorInput):
    """The day to plan."""

    loads: list[LoadIn] = Field(max_length=500)
    machines: list[MachineIn] = Field(max_length=500)
    crew: list[CrewIn] = Field(default_factory=list)
    tariff: list[TariffIn] = Field(default_factory=list)
    frozen: list[FrozenIn] = Field(default_factory=list)
    horizon_h: float = 48.0
    now_h: float = 0.0
    move_price: float = 5.0
    move_price_per_h: float = 2.0
    finish_price_per_h: float = 0.0
    early_price_per_h: float = 0.01
    grid_min: int | None = None
    breakdown: BreakdownIn | None = None
    room: list[RoomIn] = Field(default_factory=list)
    time_limit_s: float = Field(7.0, ge=0.0, le=120.0)


class Output(DoorOutput):
    """The plan, its cost item by item, what is proved, what limits the day."""

    runs: list[RunOut]
    decisions: list[DecisionOut]
    lightings: list[LightingOut]
    moves: list[MoveOut]
    mass_out_kg: float
    cost: float
    cost_items: dict[str, float]
    bound: float | None
    gap: float | None
    standing: str
    method: str
    grid_min: int
    limits: list[GroupOut]
    limiting: str
    limits_method: str
    room: list[RoomOut]


def run(data: Input) -> Output:
    """Compute the door."""
    from dataclasses import replace

    from wareleaf.measure import require
    from wareleaf.plan.day import plan_day
    from wareleaf.plan.limits import what_limits
    from wareleaf.plan.replan import Breakdown, as_of
    from wareleaf.plan.room import room_for

    day = _day(data)
    # A breakdown needs two plans within the one time limit.
    limit = data.time_limit_s if data.breakdown is None else data.time_limit_s / 2.0
    plan = plan_day(day, time_limit_s=limit)
    if data.breakdown is not None:
        b = data.breakdown
        broken = [Breakdown(b.machine_id, b.from_h, b.until_h)]
        day = as_of(day, plan, now_h=b.now_h, breakdowns=broken)
        plan = plan_day(day, time_limit_s=limit, previous=plan)
    limits = what_limits(day, plan)
    rooms = []
    for k, ask in enumerate(data.room):
        known = [x for x in day.loads if x.id == ask.like_load_id]
        require(
            bool(known),
            f"room.{k}.like_load_id",
            ask.like_load_id,
            f"room.{k}.like_load_id {ask.like_load_id!r} is no load of the day.",
        )
        like = replace(known[0], id=f"{ask.like_load_id} (more)", due_h=None)
        found = room_for(day, plan, like, ask.at_h)
        rooms.append(RoomOut(like_load_id=ask.like_load_id, at_h=ask.at_h, **vars(found)))
    return _output(plan, limits, rooms)


def _output(plan: Plan, limits: Any, rooms: list[RoomOut]) -> Output:
    items = {k: float(v) for k, v in vars(plan.cost).items()}
    return Output(
        runs=[RunOut(**vars(r)) for r in plan.runs],
        decisions=[DecisionOut(**vars(d)) for d in plan.decisions],
        lightings=[LightingOut(**vars(x)) for x in plan.lightings],
        moves=[MoveOut(**vars(m)) for m in plan.moves],
        mass_out_kg=plan.mass_out_kg,
        cost=plan.cost.total,
        cost_items=items,
        bound=plan.bound,
        gap=plan.gap,
        standing=plan.standing,
        method=plan.method,
        grid_min=plan.grid_min,
        limits=[GroupOut(**vars(g)) for g in limits.groups],
        limiting=limits.sentence,
        limits_method=limits.method,
        room=rooms,
        sources=["Durations, prices and capacities as given; nothing is taken from tables."],
        warnings=list(plan.warnings),
    )


def _day(data: Input) -> Day:
    from wareleaf.plan.board import Crew, Day, Frozen, TariffBand

    machines = tuple(_machine(m) for m in data.machines)
    return Day(
        loads=tuple(_load(x, machines) for x in data.loads),
        machines=machines,
        crew=tuple(Crew(**c.model_dump()) for c in data.crew),
        tariff=tuple(TariffBand(**t.model_dump()) for t in data.tariff),
        frozen=tuple(Frozen(**f.model_dump()) for f in data.frozen),
        horizon_h=data.horizon_h,
        now_h=data.now_h,
        move_price=data.move_price,
        move_price_per_h=data.move_price_per_h,
        finish_price_per_h=data.finish_price_per_h,
        early_price_per_h=data.early_price_per_h,
        grid_min=data.grid_min,
    )


def _machine(m: MachineIn) -> Machine:
    from wareleaf.plan.board import Machine

    fields = m.model_dump()
    windows = None if m.windows is None else tuple((a, b) for a, b in m.windows)
    return Machine(**{**fields, "windows": windows})


def _load(x: LoadIn, machines: tuple[Machine, ...]) -> Load:
    from wareleaf.plan.loads import Load, Option, Step

    route = []
    for s in x.route:
        options = []
        for o in s.options:
            ids = [o.machine_id] if o.machine_id else [m.id for m in machines if m.stage == o.stage]
            options += [
                Option(i, o.duration_h, o.capacity_kg, o.rate_kg_h, o.power_kw) for i in ids if i
            ]
        route.append(Step(**{**s.model_dump(), "options": tuple(options)}))
    return Load(**{**x.model_dump(), "route": tuple(route)})
