"""A validation case: numbers held against a source, with a tolerance, a result and a picture."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

Status = Literal["pass", "fail", "not run"]
Line = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Check:
    """One number.

    Parameters
    ----------
    name, unit : str
        What it is.
    expected : str
        What the source says, as printed.
    low, high : float
        Range that holds, ends included.
    result : float
        What this house gives.
    """

    name: str
    unit: str
    expected: str
    low: float
    high: float
    result: float

    @property
    def holds(self) -> bool:
        """Whether the result is in the range; a result that is no number never is."""
        return math.isfinite(self.result) and self.low <= self.result <= self.high

    @property
    def tolerance(self) -> str:
        """The range in words."""
        if math.isinf(self.low):
            return f"at most {self.high:.6g}"
        if math.isinf(self.high):
            return f"at least {self.low:.6g}"
        return f"{self.low:.6g} to {self.high:.6g}"


def near(
    name: str,
    unit: str,
    result: float,
    expected: float,
    *,
    within: float = 0.0,
    relative: float = 0.0,
) -> Check:
    """A check against one printed number, within an absolute or a relative tolerance."""
    room = max(within, relative * abs(expected))
    return Check(name, unit, f"{expected:.9g}", expected - room, expected + room, float(result))


def between(name: str, unit: str, result: float, low: float, high: float) -> Check:
    """A check against a printed band."""
    return Check(name, unit, f"{low:g} to {high:g}", low, high, float(result))


def at_most(name: str, unit: str, result: float, high: float) -> Check:
    """A check against an upper bound."""
    return Check(name, unit, f"at most {high:g}", -math.inf, high, float(result))


def at_least(name: str, unit: str, result: float, low: float) -> Check:
    """A check against a lower bound."""
    return Check(name, unit, f"at least {low:g}", low, math.inf, float(result))


@dataclass(frozen=True)
class Plot:
    """Lines and points over plain numbers."""

    x_title: str
    y_title: str
    lines: Mapping[str, Line]
    points: Mapping[str, Line]
    log_y: bool = False


@dataclass(frozen=True)
class Found:
    """What a case came to: its checks, its picture, and a note for the reader."""

    checks: tuple[Check, ...]
    plot: Plot
    note: str = ""


class NotRun(Exception):
    """Raised by a case that cannot run here, with the reason."""


@dataclass(frozen=True)
class Case:
    """A case before it is run.

    Parameters
    ----------
    id, group, title : str
        Names; the id is for scripts.
    source : str
        Where the expected numbers come from, and how well that is known.
    tolerance : str
        Why the tolerance is what it is.
    run : callable
        Gives `Found`; raises `NotRun` where something is not installed.
    miss : str
        Why this case fails, when it is known to; empty when it should hold.
    missed : tuple of str
        The numbers that the reason covers, by name; any other that fails is a defect.
    """

    id: str
    group: str
    title: str
    source: str
    tolerance: str
    run: Callable[[], Found]
    miss: str = ""
    missed: tuple[str, ...] = ()


Runs = Mapping[str, Callable[[], Found]]  # cases of one module by id


@dataclass(frozen=True)
class Outcome:
    """A case after it is run."""

    case: Case
    status: Status
    found: Found | None
    explanation: str
    seconds: float

    @property
    def unexplained(self) -> bool:
        """Whether it fails and nobody has said why."""
        if self.status != "fail" or self.found is None or not self.found.checks:
            return self.status == "fail"
        failing = {check.name for check in self.found.checks if not check.holds}
        return not failing <= set(self.case.missed)
