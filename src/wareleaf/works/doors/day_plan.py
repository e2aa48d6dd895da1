"""Plan the day: which load goes on which machine and when, what must go elsewhere, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Self

from pydantic import BaseModel, Field, model_validator

from wareleaf.works.doors import DoorInput, DoorOutput

if TYPE_CHECKING:
    from wareleaf.plan.board import Day, Machine
    from wareleaf.plan.loads import Load
    from wareleaf.plan.schedule import Plan


class OptionIn(DoorInput):
    """Where a step can be done: one machine, or every machine of a stage."""

    machine_id: str | None = None
    stage: str | None = None
    duration_h: float
    capacity_kg: float | None = None
    rate_kg_h: float | None = None
    power_kw: float = 0.0

    @model_validator(mode="after")
    def _one(self) -> Self:
        if (self.machine_id is None) == (self.stage is None):
            raise ValueError("give exactly one of machine_id and stage")
        return self


class StepIn(DoorInput):
    """One step of a route; see the planning page of the docs for each field."""

    name: str
    options: list[OptionIn]
    mass_factor: float = 1.0
    charges: bool = False
    flows: bool = False
    crew: int = 0
    skill: str = "general"
    crew_h: float | None = None
    min_wait_h: float = 0.0
    max_wait_h: float | None = None
    wait_price_per_kg_h: float = 0.0


class LoadIn(DoorInput):
    """A load, here or announced. Hours count from the start of the plan."""

    id: str = Field(min_length=1)
    leaf: str
    mass_kg: float
    ready_h: float
    value_per_kg: float
    hold_h: float
    spoil_h: float
    route: list[StepIn]
    divert_price_per_kg: float | None = None
    refuse_price_per_kg: float | None = None
    due_h: float | None = None
    late_price_per_kg_h: float = 0.0
    splittable: bool = True


class MachineIn(DoorInput):
    """A machine: batch (capacity) or continuous (rate), its hours, its lighting and cleaning."""

    id: str = Field(min_length=1)
    stage: str
    capacity_kg: float | None = None
    rate_kg_h: float | None = None
    windows: list[tuple[float, float]] | None = None
    shared: bool = False
    follows: bool = False
    warm_up_h: float = 0.0
    warm_up_price: float = 0.0
    fire_price_per_h: float = 0.0
    hot_from_h: float | None = None
    clean_h: float = 0.0


class CrewIn(DoorInput):
    """People of a skill between two hours."""

    skill: str = "general"
    from_h: float
    to_h: float
    count: int


class TariffIn(DoorInput):
    """Price of electricity between two hours."""

    from_h: float
    to_h: float
    price_per_kwh: float


class FrozenIn(DoorInput):
    """A run that has begun or must stay."""

    load_id: str
    part: int = 0
    step: int
    machine_id: str
    start_h: float
    end_h: float


class BreakdownIn(DoorInput):
    """A machine that breaks; the plan is made, then made again from ``now_h`` on."""

    machine_id: str
    from_h: float
    until_h: float
    now_h: float


class RoomIn(DoorInput):
    """Ask how much more leaf like a given load can arrive at an hour."""

    like_load_id: str
    at_h: float


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


class RunOut(BaseModel):
    """One step of one part on one machine."""

    load_id: str
    part: int
    step: int
    step_name: str
    machine_id: str
    start_h: float
    end_h: float
    mass_kg: float


class DecisionOut(BaseModel):
    """What happens to a part of a load, and why."""

    load_id: str
    part: int
    parts: int
    mass_kg: float
    outcome: str
    wait_h: float
    loss_share: float
    price: float
    sentence: str


class LightingOut(BaseModel):
    """When to light and shut a machine."""

    machine_id: str
    light_h: float
    ready_h: float
    shut_h: float
    from_cold: bool


class MoveOut(BaseModel):
    """A run that left its place when planning again."""

    load_id: str
    part: int
    step_name: str
    machine_from: str
    machine_to: str
    start_from_h: float
    start_to_h: float


class GroupOut(BaseModel):
    """How full a group of machines or a crew is, and what one more would bring."""

    name: str
    kind: str
    count: int
    booked_h: float
    available_h: float
    utilisation: float
    saving: float
    extra_kg: float
    extra_kg_per_h: float


class RoomOut(BaseModel):
    """More leaf that fits: for certain, and at most."""

    like_load_id: str
    at_h: float
    certain_kg: float
    at_most_kg: float
    tightest_step: str
    stuck_at: str
    sentence: str
    method: str


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
