"""Rows that no book prints: a buyer's own specification, and the silence of the table."""

from __future__ import annotations

import math

from wareleaf.measure import Evidence, require
from wareleaf.release.limits import Limit, Market


def contract_limit(
    id: str,
    parameter: str,
    unit: str,
    basis: str,
    *,
    maximum: float | None = None,
    minimum: float | None = None,
    buyer: str = "",
    note: str = "",
) -> Limit:
    """A buyer's own specification as a limit, for example moisture, ash or a grade share.

    Parameters
    ----------
    id : str
        Name of the clause in the contract.
    parameter : str
        As in the results.
    unit, basis : str
        As in `Limit`.
    maximum, minimum : float
        Exactly one.
    buyer, note : str
        For people.

    Returns
    -------
    Limit
        Of kind ``contract_max`` or ``contract_min``.

    Raises
    ------
    BadInput
        Unless exactly one finite number is given.
    """
    require(
        (maximum is None) != (minimum is None),
        "maximum",
        maximum,
        f"{id} must have exactly one of maximum and minimum.",
    )
    value = maximum if maximum is not None else minimum
    assert value is not None
    require(math.isfinite(value), "maximum", value, f"{id} is {value}; it must be finite.")
    return Limit(
        id=id,
        market="contract",
        commodity="",
        applies_to="",
        parameter=parameter,
        limit=value,
        unit=unit,
        basis=basis,
        basis_moisture_wb=None,
        kind="contract_max" if maximum is not None else "contract_min",
        use="lot",
        sample_n=None,
        sample_c=None,
        below_loq="",
        instrument=f"Specification of {buyer}" if buyer else "Buyer's specification",
        clause=id,
        effective_from=None,
        source="",
        evidence=Evidence.READ,
        note=note,
    )


def nothing_listed(place: Market, tags: frozenset[str]) -> Limit:
    """Silence of the table is no permission: it becomes a row that wants confirming.

    Parameters
    ----------
    place : Market
        Where to.
    tags : frozenset of str
        Of the lot.

    Returns
    -------
    Limit
        Of kind ``none`` and evidence ``memory``.
    """
    what = "-".join(sorted(tags & {"seaweed", "tea"}) or sorted(tags)) or "product"
    return Limit(
        id=f"{place.id}-nothing-listed-{what}",
        market=place.id,
        commodity=what,
        applies_to=what,
        parameter="any parameter",
        limit=None,
        unit="",
        basis="",
        basis_moisture_wb=None,
        kind="none",
        use="lot",
        sample_n=None,
        sample_c=None,
        below_loq="",
        instrument="nothing in the table",
        clause="",
        effective_from=None,
        source="",
        evidence=Evidence.MEMORY,
        note="That the table is silent does not mean that the law is.",
    )
