"""Where it is planned: machines, crew, tariff, work already running, and the day as a whole."""

from __future__ import annotations

from dataclasses import dataclass

from wareleaf.plan.loads import Load

Window = tuple[float, float]


@dataclass(frozen=True)
class Machine:
    """A trough, bath, roller, floor, dryer or sifter.

    Parameters
    ----------
    id, stage : str
        The machine and the group it belongs to (``"dryer"``).
    capacity_kg, rate_kg_h : float, optional
        Batch capacity, or continuous rate, of entering leaf. An `Option` may state its own.
    windows : tuple of (from_h, to_h), optional
        When it can work; None: always. A run lies inside one window.
    follows : bool
        True: fed all the time, like a belt: the next part of the same leaf at the same pace may
        follow once the one before is all on. Otherwise the one before must be off. People of a
        step are counted while it is fed; whoever feeds the next part tends the leaf inside.
    shared : bool
        True: several parts may lie in it at once up to ``capacity_kg`` (racks, a cold room).
    warm_up_h, warm_up_price : float
        Hours from lighting to the first leaf, and the fuel that takes, in money. Zero hours and
        zero price: nothing is lit.
    fire_price_per_h : float
        Price of each hour it is kept hot after the warm-up.
    hot_from_h : float, optional
        When it is lit already: the hour from which it is hot. None: it is cold.
    clean_h : float
        Hours of cleaning between different leaf kinds.
    """

    id: str
    stage: str
    capacity_kg: float | None = None
    rate_kg_h: float | None = None
    windows: tuple[Window, ...] | None = None
    shared: bool = False
    follows: bool = False
    warm_up_h: float = 0.0
    warm_up_price: float = 0.0
    fire_price_per_h: float = 0.0
    hot_from_h: float | None = None
    clean_h: float = 0.0

    @property
    def fired(self) -> bool:
        """Whether it has to be lit before it can work."""
        return self.warm_up_h > 0.0 or self.warm_up_price > 0.0 or self.fire_price_per_h > 0.0


@dataclass(frozen=True)
class Crew:
    """People of one skill between two hours; ``"general"`` people do steps of skill general.

    Skilled people can do general work as well; skilled work needs the skill.
    """

    skill: str
    from_h: float
    to_h: float
    count: int


@dataclass(frozen=True)
class TariffBand:
    """Price of electricity between two hours; outside all bands it costs nothing extra."""

    from_h: float
    to_h: float
    price_per_kwh: float


@dataclass(frozen=True)
class Frozen:
    """A run that is decided: it has ended, is running, or must happen just so."""

    load_id: str
    part: int
    step: int
    machine_id: str
    start_h: float
    end_h: float


@dataclass(frozen=True)
class Interrupted:
    """A step cut short: not before ``from_h`` the given share of it has to be run again."""

    load_id: str
    part: int
    step: int
    from_h: float
    share: float = 1.0


@dataclass(frozen=True)
class Gone:
    """A part of a load that has already left (diverted, refused or lost)."""

    load_id: str
    part: int
    outcome: str


@dataclass(frozen=True)
class Day:
    """Everything a plan rests on.

    Parameters
    ----------
    loads, machines, crew, tariff
        Leaf, machines, people (empty: people do not limit) and electricity.
    horizon_h : float
        Last hour planned; every run ends before it. Make it late enough for the last load.
    now_h : float
        Nothing that is not frozen starts before it.
    frozen, interrupted, gone
        What the past has settled.
    parts : tuple of (load_id, count)
        Into how many equal parts a load is already split; else computed from the capacities.
    move_price, move_price_per_h : float
        Replanning: price of each run whose start or machine differs from the previous plan, and of
        each hour it is moved.
    finish_price_per_h : float
        Price of each hour until the last run of the plan ends (overtime, closing late).
    early_price_per_h : float
        A small price per hour and part until it is through, so that equal plans run early.
    grid_min : int, optional
        Minutes of the time grid; chosen by size when left out.
    """

    loads: tuple[Load, ...]
    machines: tuple[Machine, ...]
    crew: tuple[Crew, ...] = ()
    tariff: tuple[TariffBand, ...] = ()
    horizon_h: float = 48.0
    now_h: float = 0.0
    frozen: tuple[Frozen, ...] = ()
    interrupted: tuple[Interrupted, ...] = ()
    gone: tuple[Gone, ...] = ()
    parts: tuple[tuple[str, int], ...] = ()
    move_price: float = 5.0
    move_price_per_h: float = 2.0
    finish_price_per_h: float = 0.0
    early_price_per_h: float = 0.01
    grid_min: int | None = None

    def machine(self, machine_id: str) -> Machine:
        """The machine of that id."""
        return next(m for m in self.machines if m.id == machine_id)

    def load(self, load_id: str) -> Load:
        """The load of that id."""
        return next(load for load in self.loads if load.id == load_id)
