"""What a day to plan is made of, and what its plan is made of: the rows of the door day_plan."""

from __future__ import annotations

from typing import Self

from pydantic import BaseModel, Field, model_validator

from wareleaf.works.doors import DoorInput


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
