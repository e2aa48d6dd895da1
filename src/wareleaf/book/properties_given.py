"""What is told about the lots of a property network: sources, steps and laboratory results."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from wareleaf.measure.errors import BadInput, require


def check_given(good: bool, field: str, value: Any, wrong: str) -> None:
    """Refuse a value: ``field`` ``value`` ``wrong``.

    Raises
    ------
    BadInput
        When it is not good.
    """
    require(good, field, value, f"{field} {value} {wrong}.")


def _number(field: str, value: float, who: str, *, least: float | None = None) -> None:
    check_given(math.isfinite(value), field, value, f"of {who} must be a number")
    if least is not None:
        check_given(value >= least, field, value, f"of {who} must not be below {least:g}")


@dataclass(frozen=True)
class Source:
    """A lot that was made of nothing in the network.

    Parameters
    ----------
    lot_id : str
        The lot.
    mean, sd : float
        What such leaf holds before anything is measured, and how widely lots differ.
    shared : mapping of str to float
        Errors it has in common with all others that name them (how well the mean of the leaf, or
        of a line, is known), each with its size in the unit of the property.
    """

    lot_id: str
    mean: float
    sd: float
    shared: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _number("mean", self.mean, self.lot_id)
        _number("sd", self.sd, self.lot_id, least=0.0)
        for name, size in self.shared.items():
            _number(name, size, self.lot_id, least=0.0)


@dataclass(frozen=True)
class Step:
    """An event that makes lots of lots.

    Parameters
    ----------
    event_id : str
        For messages.
    parents : mapping of str to float
        Share of each parent in what went in, by dry matter; they add up to one.
    children : mapping of str to float
        Dry matter of each new lot (any unit; only the proportions count).
    factor, factor_sd : float
        Content out over content in, and its standard uncertainty. 1 keeps it; 0 breaks the chain:
        what came before says nothing of what comes after.
    noise_sd : float
        Error that all children have in common, in the unit of the property.
    part_sd, part_relative_sd : float
        By how much children differ, in the unit of the property and as a share of what they hold
        (taken in quadrature); their mean does not move.
    offset : float
        Added to every child; with factor 0, what such leaf usually holds.
    shared : mapping of str to float
        Errors that the steps that name them have in common, in the unit of the property.
    shared_factor : mapping of str to float
        The same for the factor: a bath that always leaves more than the book says.
    """

    event_id: str
    parents: Mapping[str, float]
    children: Mapping[str, float]
    factor: float = 1.0
    factor_sd: float = 0.0
    noise_sd: float = 0.0
    part_sd: float = 0.0
    part_relative_sd: float = 0.0
    offset: float = 0.0
    shared: Mapping[str, float] = field(default_factory=dict)
    shared_factor: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        who = f"step {self.event_id}"
        check_given(bool(self.parents), "parents", dict(self.parents), f"of {who} are missing")
        check_given(bool(self.children), "children", dict(self.children), f"of {who} are missing")
        for share in self.parents.values():
            _number("share", share, who, least=0.0)
        total = math.fsum(self.parents.values())
        check_given(abs(total - 1.0) < 1e-6, "shares", total, f"of {who} must add up to 1")
        for weight in self.children.values():
            _number("dry matter", weight, who, least=0.0)
        whole = math.fsum(self.children.values())
        check_given(whole > 0.0, "dry matter", whole, f"of the children of {who} must be above 0")
        _number("offset", self.offset, who)
        for name in ("factor", "factor_sd", "noise_sd", "part_sd", "part_relative_sd"):
            _number(name, getattr(self, name), who, least=0.0)
        for name, size in (*self.shared.items(), *self.shared_factor.items()):
            _number(name, size, who, least=0.0)


@dataclass(frozen=True)
class Finding:
    """A laboratory result.

    Parameters
    ----------
    lot_id : str
        The lot.
    value, sd : float
        In the unit of the network; ``sd`` above 0 covers laboratory and sampling.
    """

    lot_id: str
    value: float
    sd: float

    def __post_init__(self) -> None:
        _number("value", self.value, self.lot_id)
        _number("sd", self.sd, self.lot_id)
        check_given(self.sd > 0.0, "sd", self.sd, f"of a result on {self.lot_id} must be above 0")


def in_order(sources: Sequence[str], steps: Sequence[Step]) -> list[Step]:
    """Steps in an order in which every parent stands before its children.

    Raises
    ------
    BadInput
        For a parent that nothing makes, or a cycle.
    """
    made_by = {child: i for i, step in enumerate(steps) for child in step.children}
    known = set(sources)
    waits: list[int] = []
    leads: dict[int, list[int]] = {}
    for i, step in enumerate(steps):
        before = set()
        for parent in step.parents:
            if parent in known:
                continue
            check_given(parent in made_by, "parent", parent, f"of step {step.event_id} is unknown")
            before.add(made_by[parent])
        waits.append(len(before))
        for k in before:
            leads.setdefault(k, []).append(i)
    ready = [i for i, n in enumerate(waits) if n == 0]
    order: list[Step] = []
    for i in ready:  # grows while it is walked
        order.append(steps[i])
        for k in leads.get(i, ()):
            waits[k] -= 1
            if waits[k] == 0:
                ready.append(k)
    if len(order) < len(steps):
        stuck = min(steps[i].event_id for i, n in enumerate(waits) if n > 0)
        raise BadInput("steps", stuck, f"Step {stuck} is among its own ancestors.")
    return order
