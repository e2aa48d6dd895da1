"""The plan as people see it: names, times and sentences. Plain dataclasses, to JSON and back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter


@dataclass(frozen=True)
class PlannedLoad:
    """A load of the plan; ``refs`` are lot ids, or ids of announcements when expected."""

    load_id: str
    kind: str
    refs: tuple[str, ...]
    leaf: str
    product_id: str
    mass_kg: float
    ready_at: datetime
    loses_value_at: datetime
    lost_at: datetime
    value_per_kg: float
    parts: int


@dataclass(frozen=True)
class PlannedRun:
    """One stage of one part of a load on a machine; ``running`` when it is under way."""

    load_id: str
    refs: tuple[str, ...]
    part: int
    parts: int
    step: int
    stage: str
    machine_id: str
    machine: str
    start_at: datetime
    end_at: datetime
    mass_kg: float
    running: bool


@dataclass(frozen=True)
class PlannedDecision:
    """What happens to a part of a load (``run``, ``divert``, ``refuse`` or ``lose``), and why."""

    load_id: str
    part: int
    parts: int
    mass_kg: float
    outcome: str
    wait_h: float
    loss_share: float
    price: float
    sentence: str


@dataclass(frozen=True)
class PlannedLighting:
    """When to light a machine, when it is hot, when to shut it."""

    machine_id: str
    machine: str
    light_at: datetime
    ready_at: datetime
    shut_at: datetime
    from_cold: bool


@dataclass(frozen=True)
class PlannedMove:
    """A run that is not where the plan before had it."""

    load_id: str
    part: int
    stage: str
    machine_from: str
    machine_to: str
    from_at: datetime
    to_at: datetime


@dataclass(frozen=True)
class LimitGroup:
    """How full a group of machines or people is, and what one more would bring."""

    name: str
    kind: str
    count: int
    booked_h: float
    available_h: float
    utilisation: float
    saving: float
    extra_kg: float
    extra_kg_per_h: float


@dataclass(frozen=True)
class DayLimits:
    """What limits the day, in one sentence and by group."""

    sentence: str
    method: str
    groups: tuple[LimitGroup, ...]


@dataclass(frozen=True)
class RoomFor:
    """How much more leaf of a source could come at a time."""

    source_id: str
    leaf: str
    arrives_at: datetime
    certain_kg: float
    at_most_kg: float
    tightest_step: str
    sentence: str
    method: str


@dataclass(frozen=True)
class OutOfOrder:
    """A machine this plan does without, from when to when."""

    machine_id: str
    machine: str
    from_at: datetime
    until_at: datetime


@dataclass(frozen=True)
class DayPlan:
    """A plan that was checked and stored.

    Parameters
    ----------
    site_id, made_by, made_at
        Whose, by whom, when.
    t0, until_at : datetime
        Midnight of its first day, and the last hour planned.
    loads, runs, decisions, lightings, moves : tuples
        See each. ``moves`` is empty for a plan made anew.
    cost, cost_items : float, mapping
        Money lost against a day on which nothing is lost, and item by item.
    bound, gap : float or None
        Proved lower limit, and (cost - bound) / cost.
    proved, standing, method : bool, str, str
        How good it is known to be, and what made it.
    grid_min : int
        Its time grid, minutes.
    limits, room, outages
        What limits the day, what more leaf fits, what is out of order.
    warnings, rules : tuple of str
        What to mind, and the works' own choices it rests on.
    """

    site_id: str
    made_by: str
    made_at: datetime
    t0: datetime
    until_at: datetime
    currency: str
    loads: tuple[PlannedLoad, ...]
    runs: tuple[PlannedRun, ...]
    decisions: tuple[PlannedDecision, ...]
    lightings: tuple[PlannedLighting, ...]
    moves: tuple[PlannedMove, ...]
    cost: float
    cost_items: dict[str, float]
    bound: float | None
    gap: float | None
    proved: bool
    standing: str
    method: str
    grid_min: int
    limits: DayLimits
    room: tuple[RoomFor, ...]
    outages: tuple[OutOfOrder, ...]
    warnings: tuple[str, ...]
    rules: tuple[str, ...]

    @property
    def mass_out_kg(self) -> float:
        """Leaf that is not run here."""
        return sum(d.mass_kg for d in self.decisions if d.outcome != "run")

    def to_json(self) -> dict[str, Any]:
        """Plain JSON."""
        shown: dict[str, Any] = _ADAPTER.dump_python(self, mode="json")
        return shown


_ADAPTER: TypeAdapter[DayPlan] = TypeAdapter(DayPlan)


def from_json(kept: Any) -> DayPlan:
    """The plan of `DayPlan.to_json`.

    Raises
    ------
    pydantic.ValidationError
        When it is no such plan (kept by another version).
    """
    return _ADAPTER.validate_python(kept)
