"""What reconciliation is asked and what it answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

REDUNDANT, NONREDUNDANT = "redundant", "nonredundant"
OBSERVABLE, UNOBSERVABLE = "observable", "unobservable"
KNOWN = "known"


@dataclass(frozen=True, slots=True)
class Flow:
    """One stream between two nodes.

    Parameters
    ----------
    name : str
        Unique.
    start, end : str or None
        The node it leaves and the node it enters; None at the border.
    measured : float or None
        Measured amount, any one unit; None when nobody measured it.
    standard_uncertainty : float or None
        Of the measurement, above 0; needed with ``measured``.
    """

    name: str
    start: str | None
    end: str | None
    measured: float | None = None
    standard_uncertainty: float | None = None


@dataclass(frozen=True, slots=True)
class Settled:
    """A stream after reconciliation.

    Parameters
    ----------
    name : str
        As given.
    kind : str
        ``redundant``: measured, and the balances check it. ``nonredundant``: measured, and nothing
        checks it. ``observable``: not measured, but the balances give it. ``unobservable``: nobody
        can say; no value. ``known``: given as exact.
    reconciled : float or None
        The amount that fits all balances.
    adjustment : float or None
        Reconciled less measured.
    standard_uncertainty : float or None
        Of the reconciled amount, if the stated uncertainties are right.
    z : float or None
        Adjustment over its own standard uncertainty (measurement test); None where nothing checks.
    """

    name: str
    kind: str
    reconciled: float | None
    adjustment: float | None
    standard_uncertainty: float | None
    z: float | None


@dataclass(frozen=True, slots=True)
class GlobalTest:
    """Chi-square test of all balances at once; a small p-value says that something does not fit."""

    statistic: float
    dof: int
    p_value: float


@dataclass(frozen=True, slots=True)
class Suspect:
    """A measurement that does not fit the others.

    Parameters
    ----------
    name : str
        The stream.
    rank : int
        From 1.
    z : float
        Its test when it was picked, with those before it already left out.
    error, error_sd : float
        What the measurement is estimated to be off by (measured less true), with all suspects that
        were left out, and its standard uncertainty.
    left_out : bool
        True when serial elimination left it out; False when it only stood out at first.
    test_after : GlobalTest
        With this and the suspects before it left out.
    alike : tuple of str
        Streams that the balances cannot tell from it: any one of them may be the wrong one.
    """

    name: str
    rank: int
    z: float
    error: float
    error_sd: float
    left_out: bool
    test_after: GlobalTest
    alike: tuple[str, ...]


@dataclass(frozen=True)
class Reconciliation:
    """The answer.

    Parameters
    ----------
    flows : tuple of Settled
        In the order given.
    global_test : GlobalTest
        Of all measurements, before any is left out and before zero bounds act.
    suspects : tuple of Suspect
        Ranked.
    z_limit : float
        Beyond this a single test stands out, at the family's level.
    without_suspects : mapping
        Reconciled amounts with the suspects left out; empty when none was.
    at_zero : tuple of str
        Streams that the zero bound holds.
    simulated : int
        0 when all uncertainties are exact; else how many simulated sets of errors they rest on.
    """

    flows: tuple[Settled, ...]
    global_test: GlobalTest
    suspects: tuple[Suspect, ...]
    z_limit: float
    without_suspects: Mapping[str, float]
    at_zero: tuple[str, ...]
    simulated: int

    def of(self, name: str) -> Settled:
        """One stream by its name."""
        return next(f for f in self.flows if f.name == name)
