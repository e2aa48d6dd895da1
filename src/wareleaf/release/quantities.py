"""Contents on a common unit and basis, or a refusal: the basis decides more than the number.

A content is a mass (or a count) in a mass of leaf. The leaf may be taken as it is (``wet``), as
its dry matter (``dry``), soaked to a stated moisture (``hydrated``) or as it came from the water
or field (``fresh``). Going from one to another needs the moistures; without them there is no
comparison.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from wareleaf.measure import BadInput, require

MASS_BASES = ("wet", "dry", "hydrated", "fresh")
_MG_KG = {
    "mg/kg": 1.0,
    "ppm": 1.0,
    "ug/g": 1.0,
    "g/kg": 1e3,
    "ug/kg": 1e-3,
    "ug/100 g": 1e-2,
    "mg/100 g": 10.0,
    "g/100 g": 1e4,
    "% m/m": 1e4,
    "%": 1e4,
    "fraction": 1e6,
}


@dataclass(frozen=True)
class Content:
    """A value with its standard uncertainty, both in the unit and on the basis asked for."""

    value: float
    standard_uncertainty: float


def unit_factor(unit: str, to_unit: str) -> float:
    """Factor from one unit of content to another.

    Parameters
    ----------
    unit, to_unit : str
        Units such as ``mg/kg``, ``ug/100 g``, ``% m/m``, ``cfu/g``.

    Returns
    -------
    float
        Multiply a value in ``unit`` by it (definitions of the units).

    Raises
    ------
    BadInput
        When the units measure different things.
    """
    if unit == to_unit:
        return 1.0
    if unit in _MG_KG and to_unit in _MG_KG:
        return _MG_KG[unit] / _MG_KG[to_unit]
    raise BadInput("unit", unit, f"unit is {unit!r}; it cannot be compared with {to_unit!r}.")


def all_of_it(unit: str) -> float | None:
    """The value in ``unit`` at which the leaf would hold nothing else; None for counts.

    Parameters
    ----------
    unit : str
        Such as ``mg/kg`` or ``%``.

    Returns
    -------
    float or None
        1e6 mg/kg in that unit (definition of the units).
    """
    return 1e6 / _MG_KG[unit] if unit in _MG_KG else None


def _dry_share(moisture_wb: float | None, basis: str, what: str) -> float:
    if basis == "dry":
        return 1.0
    require(
        moisture_wb is not None,
        "moisture_wb",
        None,
        f"The moisture of the {what} ({basis} basis) is missing; "
        "without it the two bases cannot be compared.",
    )
    assert moisture_wb is not None
    require(
        math.isfinite(moisture_wb) and 0.0 <= moisture_wb < 1.0,
        "moisture_wb",
        moisture_wb,
        f"moisture_wb is {moisture_wb:g}; wet-basis moisture must be from 0 up to, "
        "not including, 1.",
    )
    return 1.0 - moisture_wb


def convert_content(
    value: float,
    standard_uncertainty: float,
    *,
    unit: str,
    to_unit: str,
    basis: str,
    to_basis: str,
    moisture_wb: float | None = None,
    to_moisture_wb: float | None = None,
    moisture_standard_uncertainty: float = 0.0,
) -> Content:
    """Put a content on another unit and basis.

    Parameters
    ----------
    value, standard_uncertainty : float
        Content and one standard deviation in ``unit`` on ``basis``.
    unit, to_unit : str
        See `unit_factor`.
    basis, to_basis : str
        ``wet``, ``dry``, ``hydrated`` or ``fresh``; any other name only matches itself.
    moisture_wb : float, optional
        Wet-basis moisture of the leaf the value speaks of; needed unless that basis is ``dry``.
    to_moisture_wb : float, optional
        Wet-basis moisture on the wanted basis; needed unless that basis is ``dry``.
    moisture_standard_uncertainty : float
        Of ``moisture_wb``.

    Returns
    -------
    Content
        On the wanted unit and basis.

    Raises
    ------
    BadInput
        When a moisture is missing or a basis cannot be reached.

    Notes
    -----
    Dry matter carries the substance: ``value * (1 - w_to) / (1 - w_from)``; the uncertainty is
    propagated to first order (JCGM 100:2008, equation 10), with value and moisture independent.
    """
    factor = unit_factor(unit, to_unit)
    if basis == to_basis and (
        basis not in ("wet", "hydrated") or moisture_wb is None or to_moisture_wb is None
    ):
        return Content(value * factor, standard_uncertainty * factor)
    for name, field in ((basis, "basis"), (to_basis, "to_basis")):
        require(
            name in MASS_BASES,
            field,
            name,
            f"{field} is {name!r}; only {', '.join(MASS_BASES)} can be turned into one another.",
        )
    share_from = _dry_share(moisture_wb, basis, "result")
    share_to = _dry_share(to_moisture_wb, to_basis, "lot" if to_basis == "wet" else "limit")
    factor *= share_to / share_from
    spread = 0.0
    if basis != "dry":
        spread = value * factor / share_from * moisture_standard_uncertainty
    return Content(value * factor, math.hypot(standard_uncertainty * factor, spread))


def moisture_content(
    value: float, standard_uncertainty: float, *, unit: str, to_unit: str, basis: str
) -> Content:
    """Moisture itself on a wet basis: a dry-basis moisture is turned, not scaled.

    Parameters
    ----------
    value, standard_uncertainty : float
        Moisture in ``unit``.
    unit, to_unit : str
        ``fraction``, ``%`` or ``% m/m``.
    basis : {'wet', 'dry'}
        Of the value.

    Returns
    -------
    Content
        Wet-basis moisture in ``to_unit`` (definition ``wb = db / (1 + db)``, first-order
        uncertainty).

    Raises
    ------
    BadInput
        On another basis.
    """
    factor = unit_factor(unit, "fraction")
    back = unit_factor("fraction", to_unit)
    fraction, spread = value * factor, standard_uncertainty * factor
    if basis == "dry":
        fraction, spread = fraction / (1.0 + fraction), spread / (1.0 + fraction) ** 2
    elif basis != "wet":
        raise BadInput("basis", basis, f"basis is {basis!r}; a moisture is wet or dry basis.")
    return Content(fraction * back, spread * back)
