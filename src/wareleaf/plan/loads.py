"""What is planned: loads of leaf, the steps of their route and where each step can be done.

Times are hours from the start of the plan. Durations come from the stage models and arrive here
as plain numbers. Prices are in the works' own money.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Option:
    """One machine on which a step can be done.

    Parameters
    ----------
    machine_id : str
        The machine.
    duration_h : float
        Batch machine: hours of one charge. Continuous machine (one with a rate): hours a kilogram
        stays inside; the feeding time, mass over rate, is added.
    capacity_kg : float, optional
        Most of the entering leaf in one charge; the machine's own capacity when left out.
    rate_kg_h : float, optional
        Entering leaf per hour; the machine's own rate when left out.
    power_kw : float
        Electric power drawn while the step runs, priced by the tariff.
    """

    machine_id: str
    duration_h: float
    capacity_kg: float | None = None
    rate_kg_h: float | None = None
    power_kw: float = 0.0


@dataclass(frozen=True)
class Step:
    """One step of a route.

    Parameters
    ----------
    name : str
        Plain name, for example ``"wither"``.
    options : tuple of Option
        The machines that can do it, each with its own hours.
    mass_factor : float
        Kilograms that enter this step per kilogram of the load as it arrived (withered leaf is
        lighter than fresh leaf).
    charges : bool
        True: more than one capacity runs as successive charges on the same machine (a roller).
        False: the load is split beforehand so that each part fits (a trough).
    flows : bool
        True: leaf flows in from the previous step without waiting for it to end (blancher to
        belt dryer); it may start once the first leaf is out and may not end before the last.
    crew, skill, crew_h
        People needed, their skill (``"general"``: anyone), and for how many hours from the start
        (None: as long as the step runs).
    min_wait_h : float
        Hours that must pass after the previous step. Always kept.
    max_wait_h : float, optional
        Hours that may pass without loss. Longer is allowed at a price.
    wait_price_per_kg_h : float
        Price of each hour beyond ``max_wait_h``, per kilogram of the load as it arrived.
    """

    name: str
    options: tuple[Option, ...]
    mass_factor: float = 1.0
    charges: bool = False
    flows: bool = False
    crew: int = 0
    skill: str = "general"
    crew_h: float | None = None
    min_wait_h: float = 0.0
    max_wait_h: float | None = None
    wait_price_per_kg_h: float = 0.0


@dataclass(frozen=True)
class Load:
    """A load of leaf, here or announced.

    Parameters
    ----------
    id, leaf : str
        The load and its leaf kind (machines are cleaned between kinds).
    mass_kg : float
        Mass as it arrives.
    ready_h : float
        Arrival. Below the plan's ``now_h`` it is already here and cannot be refused.
    value_per_kg : float
        What a kilogram as it arrives is worth when nothing is lost.
    hold_h, spoil_h : float
        Hours after arrival until it starts to lose value, and until it is lost. Between the two
        the loss grows in a straight line from nothing to all; the first step must start before
        ``spoil_h``.
    route : tuple of Step
        What is to be done, in order.
    divert_price_per_kg : float, optional
        What sending a kilogram elsewhere costs against running it here (value given up and fees).
        None: cannot be diverted.
    refuse_price_per_kg : float, optional
        What refusing a kilogram before it arrives costs. None: cannot be refused.
    due_h, late_price_per_kg_h : float
        When the last step should be over, and the price of each later hour.
    splittable : bool
        False: the parts of a split load run all or none.
    """

    id: str
    leaf: str
    mass_kg: float
    ready_h: float
    value_per_kg: float
    hold_h: float
    spoil_h: float
    route: tuple[Step, ...]
    divert_price_per_kg: float | None = None
    refuse_price_per_kg: float | None = None
    due_h: float | None = None
    late_price_per_kg_h: float = 0.0
    splittable: bool = True

    def loss_share(self, wait_h: float) -> float:
        """Share of the value lost after waiting so many hours for the first step (0 to 1)."""
        if wait_h <= self.hold_h:
            return 0.0
        if wait_h >= self.spoil_h:
            return 1.0
        return (wait_h - self.hold_h) / (self.spoil_h - self.hold_h)

    def way_out(self, now_h: float, begun: bool = False) -> tuple[str, float]:
        """The cheapest way not to run it: its name and its price per kilogram.

        ``refuse`` needs leaf that has not arrived, ``divert`` leaf that is not in work; ``lose``
        always remains, at the full value.
        """
        ways = [(self.value_per_kg, "lose")]
        if self.divert_price_per_kg is not None and not begun:
            ways.append((self.divert_price_per_kg, "divert"))
        if self.refuse_price_per_kg is not None and not begun and self.ready_h >= now_h:
            ways.append((self.refuse_price_per_kg, "refuse"))
        # At equal price the gentler way wins: refuse, then divert, then lose.
        rank = {"refuse": 0, "divert": 1, "lose": 2}
        price, name = min(ways, key=lambda w: (w[0], rank[w[1]]))
        return name, price
