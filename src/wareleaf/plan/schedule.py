"""What a plan says: runs, decisions by load, lightings, and its cost item by item."""

from __future__ import annotations

from dataclasses import dataclass, fields


@dataclass(frozen=True)
class Run:
    """One step of one part of a load on one machine, booked from start to end."""

    load_id: str
    part: int
    step: int
    step_name: str
    machine_id: str
    start_h: float
    end_h: float
    mass_kg: float


@dataclass(frozen=True)
class Decision:
    """What happens to one part of a load, why, and what that costs against losing nothing.

    ``outcome`` is ``run``, ``divert``, ``refuse`` or ``lose``.
    """

    load_id: str
    part: int
    parts: int
    mass_kg: float
    outcome: str
    wait_h: float = 0.0
    loss_share: float = 0.0
    price: float = 0.0
    sentence: str = ""


@dataclass(frozen=True)
class Lighting:
    """When to light a machine, when it is hot, and when to shut it.

    ``from_cold`` is false for a machine that is hot already and is kept so.
    """

    machine_id: str
    light_h: float
    ready_h: float
    shut_h: float
    from_cold: bool = True


@dataclass(frozen=True)
class Cost:
    """Cost of a plan against a day on which nothing is lost, item by item, in money."""

    holding: float = 0.0
    waiting: float = 0.0
    way_out: float = 0.0
    late: float = 0.0
    lighting: float = 0.0
    power: float = 0.0
    finish: float = 0.0
    early: float = 0.0
    moved: float = 0.0

    @property
    def total(self) -> float:
        """Sum of all items."""
        return float(sum(getattr(self, f.name) for f in fields(self)))


@dataclass(frozen=True)
class Move:
    """A run that is not where the previous plan had it."""

    load_id: str
    part: int
    step_name: str
    machine_from: str
    machine_to: str
    start_from_h: float
    start_to_h: float


@dataclass(frozen=True)
class Plan:
    """A plan with its honest standing.

    ``bound`` is a proved lower limit of the cost of any plan on the same time grid, split and
    number of lightings; None when no solver ran. ``standing`` says in words what is proved.
    """

    runs: tuple[Run, ...]
    decisions: tuple[Decision, ...]
    lightings: tuple[Lighting, ...]
    cost: Cost
    bound: float | None
    proved: bool
    standing: str
    grid_min: int
    method: str
    moves: tuple[Move, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def gap(self) -> float | None:
        """(cost - bound) / cost; 0 when proved; None without a bound."""
        if self.bound is None:
            return None
        if self.proved or self.cost.total <= 0.0:
            return 0.0
        return max(0.0, (self.cost.total - self.bound) / self.cost.total)

    @property
    def mass_out_kg(self) -> float:
        """Leaf that is not run here."""
        return sum(d.mass_kg for d in self.decisions if d.outcome != "run")
