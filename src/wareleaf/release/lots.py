"""What a decision needs to know of a lot and of its laboratory results."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from importlib import resources

from wareleaf.measure import BadInput, require
from wareleaf.release.limits import all_limits
from wareleaf.release.quantities import all_of_it

_FRESH = ("fresh", "washed", "blanched", "withered", "rolled", "oxidised")
_DRIED = ("dried", "flake", "powder", "graded", "blended", "packed", "refuse")
SIGNING_ROLE = "quality_manager"


@dataclass(frozen=True)
class LotFacts:
    """A lot as far as limits care.

    Parameters
    ----------
    lot_id : str
        Name of the lot.
    tags : frozenset of str
        What it is, see `lot_facts`.
    moisture_wb : float or None
        As it is now; needed to compare bases.
    moisture_standard_uncertainty : float
        Of ``moisture_wb``.
    moisture_wb_fresh : float or None
        As it came in, for limits on fresh weight.
    hold_reason : str
        Not empty while the lot is on hold.
    """

    lot_id: str
    tags: frozenset[str]
    moisture_wb: float | None = None
    moisture_standard_uncertainty: float = 0.0
    moisture_wb_fresh: float | None = None
    hold_reason: str = ""


@dataclass(frozen=True)
class Result:
    """One laboratory result.

    Parameters
    ----------
    parameter : str
        Canonical name, for example ``cadmium``.
    value : float
        In ``unit``; the quantification limit itself when ``below_loq``.
    standard_uncertainty : float
        One standard deviation, same unit.
    unit : str
        For example ``mg/kg``.
    basis : str
        ``wet``, ``dry``, ``hydrated`` or ``fresh``.
    moisture_wb : float or None
        Of the sample when it was analysed. Without it a wet-basis value is only compared on the
        wet basis, unless ``lot_id`` says that the sample was of the very lot.
    below_loq : bool
        Reported as less than ``value``.
    units : tuple of float
        The single values when several sample units were examined; ``value`` is then the highest.
    reference : str
        Laboratory and report number, for people.
    lot_id : str
        Lot the sample was taken from, empty when not told. A wet-basis value of another lot (a
        parent before drying) is refused without its moisture.
    """

    parameter: str
    value: float
    standard_uncertainty: float
    unit: str
    basis: str = "wet"
    moisture_wb: float | None = None
    below_loq: bool = False
    units: tuple[float, ...] = field(default=())
    reference: str = ""
    lot_id: str = ""

    def __post_init__(self) -> None:
        """Refuse numbers that cannot be a result."""
        for value in (self.value, *self.units):
            require(
                math.isfinite(value) and value >= 0.0,
                self.parameter,
                value,
                f"{self.parameter} is {value}; a result must be a finite number of 0 or more.",
            )
        self._refuse_more_than_all()
        require(
            math.isfinite(self.standard_uncertainty) and self.standard_uncertainty >= 0.0,
            "standard_uncertainty",
            self.standard_uncertainty,
            f"standard_uncertainty of {self.parameter} is {self.standard_uncertainty}; "
            "it must be a finite number of 0 or more.",
        )
        if self.units:
            require(
                math.isclose(self.value, max(self.units)),
                self.parameter,
                self.value,
                f"{self.parameter} is {self.value:g} but the highest of its sample units is "
                f"{max(self.units):g}; value must be the highest unit.",
            )

    def _refuse_more_than_all(self) -> None:
        """A kilogram holds no more than a kilogram; water per dry matter alone has no such end."""
        most = all_of_it(self.unit)
        if most is None or (self.parameter == "moisture" and self.basis == "dry"):
            return
        require(
            self.value <= most,
            self.parameter,
            self.value,
            f"{self.parameter} is {self.value:g} {self.unit}; a leaf holds at most {most:g} "
            f"{self.unit} of anything. Is the unit right?",
        )


@dataclass(frozen=True)
class Confirmation:
    """The quality manager has read a legal text and confirms a row of the limit table.

    Parameters
    ----------
    limit_id : str
        Of the row.
    who : str
        Person id.
    when : date
        Day of reading.
    text : str
        Which text was read, with its place.
    fingerprint : str
        `Limit.fingerprint` of the row as confirmed. Empty accepts the row as it stands today;
        when given, a row whose figures changed since is not confirmed any more.
    """

    limit_id: str
    who: str
    when: date
    text: str
    fingerprint: str = ""


@cache
def _leaf_tags() -> dict[str, frozenset[str]]:
    text = resources.files("wareleaf.release").joinpath("data/commodities.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return {row["leaf"]: frozenset(row["tags"].split()) for row in rows}


@cache
def known_tags() -> frozenset[str]:
    """Every word that the limit table asks for, and ``fresh`` and ``dried``."""
    words = {word for limit in all_limits() for word in limit.applies_to.replace("|", " ").split()}
    return frozenset(word.removeprefix("-") for word in words) | {"fresh", "dried"}


def lot_facts(
    lot_id: str,
    leaf: str,
    form: str,
    *,
    moisture_wb: float | None = None,
    moisture_standard_uncertainty: float = 0.0,
    moisture_wb_fresh: float | None = None,
    extra_tags: Iterable[str] = (),
    hold_reason: str = "",
) -> LotFacts:
    """Tags of a lot from its leaf profile and form.

    Parameters
    ----------
    lot_id : str
        Name of the lot.
    leaf : str
        Leaf profile id, for example ``sugar_kelp_blanched``.
    form : str
        Form in the book, for example ``dried``.
    moisture_wb, moisture_standard_uncertainty, moisture_wb_fresh, hold_reason
        As in `LotFacts`.
    extra_tags : iterable of str
        What the works knows beside: ``ready_to_eat``, ``supplement``, ``roasted``, ``infants`` ...

    Returns
    -------
    LotFacts
        With tags from ``data/commodities.csv`` and ``fresh`` or ``dried``.

    Raises
    ------
    BadInput
        For an unknown leaf, form or tag.
    """
    extra = frozenset(extra_tags)
    if unknown := sorted(extra - known_tags()):
        raise BadInput(
            "extra_tags",
            unknown[0],
            f"extra_tags has {unknown[0]!r}; known tags are {', '.join(sorted(known_tags()))}.",
        )
    table = _leaf_tags()
    if leaf not in table:
        raise BadInput("leaf", leaf, f"leaf is {leaf!r}; known leaves are {', '.join(table)}.")
    if form in _FRESH:
        state = "fresh"
    elif form in _DRIED:
        state = "dried"
    else:
        known = ", ".join(_FRESH + _DRIED)
        raise BadInput("form", form, f"form is {form!r}; known forms are {known}.")
    return LotFacts(
        lot_id=lot_id,
        tags=table[leaf] | {state} | extra,
        moisture_wb=moisture_wb,
        moisture_standard_uncertainty=moisture_standard_uncertainty,
        moisture_wb_fresh=moisture_wb_fresh,
        hold_reason=hold_reason,
    )


def may_sign(role: str) -> bool:
    """Whether a person in this role may confirm a limit and release a lot.

    Parameters
    ----------
    role : str
        Role in the works' people table.

    Returns
    -------
    bool
        True for the quality manager only, who answers for the release (common practice, no
        source).
    """
    return role == SIGNING_ROLE
