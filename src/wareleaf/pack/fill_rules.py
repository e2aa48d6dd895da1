"""The tables of declared-weight law: tolerable deficiency of a pack, and how many to weigh."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import cache
from importlib import resources

from wareleaf.measure import BadInput, Evidence, read_sources, require

ROOM = "wareleaf.pack"
SCHEMES = ("oiml_r87", "eu_76_211")
SMALLEST_PLANNED_LOT = 100


@dataclass(frozen=True)
class Tolerance:
    """Tolerable deficiency of one pack.

    Parameters
    ----------
    amount : float
        g or ml, as the declared quantity.
    evidence : Evidence
        How well the table row is known.
    rule : str
        How it came about, for people.
    """

    amount: float
    evidence: Evidence
    rule: str


@dataclass(frozen=True)
class Plan:
    """Packs to weigh, and how many may lie below tolerance.

    Parameters
    ----------
    n_mean, k : int, float
        Packs and factor of the mean test.
    n1, c1, r1 : int
        First sample for tolerance: accept up to ``c1``, reject from ``r1``.
    n2, c2 : int or None
        Second sample and greatest number in both together; None for a single plan.
    source : str
        Citation.
    evidence : Evidence
        How well it is known.
    """

    n_mean: int
    k: float
    n1: int
    c1: int
    r1: int
    n2: int | None
    c2: int | None
    source: str
    evidence: Evidence


@cache
def _rows(name: str) -> tuple[dict[str, str], ...]:
    text = resources.files(ROOM).joinpath(f"data/{name}.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return tuple(rows)


def check_scheme(scheme: str) -> None:
    """Refuse an unknown scheme.

    Raises
    ------
    BadInput
        The message lists the known ones.
    """
    known = ", ".join(SCHEMES)
    require(
        scheme in SCHEMES, "scheme", scheme, f"scheme is {scheme!r}; it must be one of {known}."
    )


def tolerable_deficiency(nominal: float, scheme: str = "oiml_r87") -> Tolerance:
    """Tolerable deficiency of a pack.

    Parameters
    ----------
    nominal : float
        Declared quantity, g or ml.
    scheme : {'oiml_r87', 'eu_76_211'}
        OIML R 87:2016 or Directive 76/211/EEC.

    Returns
    -------
    Tolerance
        Percentages rounded up to the next 0.1 up to 1000 g or ml, to the next whole unit above.

    Raises
    ------
    BadInput
        For a quantity outside the table or an unknown scheme.

    Notes
    -----
    Directive 76/211/EEC Annex I (read); OIML R 87:2016 (from memory, two points seen in a
    government guide). The rounding rule is from memory in both.
    """
    check_scheme(scheme)
    table = [r for r in _rows("tolerances") if r["scheme"] == scheme]
    for row in table:
        low, high = float(row["nominal_from"]), float(row["nominal_to"])
        if not (low < nominal <= high or (low == nominal > 0.0 and row is table[0])):
            continue
        evidence = Evidence(row["evidence"])
        if row["absolute"]:
            amount = float(row["absolute"])
            return Tolerance(amount, evidence, f"{amount:g} for {low:g} to {high:g}")
        exact = float(row["percent"]) / 100.0 * nominal
        step = 0.1 if nominal <= 1000.0 else 1.0
        amount = round(math.ceil(exact / step - 1e-9) * step, 1)
        rule = f"{row['percent']} % of {nominal:g} for {low:g} to {high:g}, rounded up to {step:g}"
        return Tolerance(amount, evidence, rule)
    low, high = float(table[0]["nominal_from"]), float(table[-1]["nominal_to"])
    raise BadInput(
        "nominal_g",
        nominal,
        f"nominal_g is {nominal:g}; the table of {scheme} goes from {low:g} to {high:g}.",
    )


def plan_for(lot_size: int, scheme: str = "oiml_r87") -> Plan | None:
    """Sampling plan for a lot.

    Parameters
    ----------
    lot_size : int
        Packs in the lot.
    scheme : {'oiml_r87', 'eu_76_211'}
        See `tolerable_deficiency`.

    Returns
    -------
    Plan or None
        None below 100 packs: every pack is weighed.

    Raises
    ------
    BadInput
        For an unknown scheme or an empty lot.
    """
    check_scheme(scheme)
    require(lot_size >= 1, "lot_size", lot_size, f"lot_size is {lot_size}; it must be 1 or more.")
    for row in _rows("plans"):
        upper = int(row["lot_to"]) if row["lot_to"] else lot_size
        if row["scheme"] == scheme and int(row["lot_from"]) <= lot_size <= upper:
            return Plan(
                n_mean=int(row["n_mean"]),
                k=float(row["k"]),
                n1=int(row["n1"]),
                c1=int(row["c1"]),
                r1=int(row["r1"]),
                n2=int(row["n2"]) if row["n2"] else None,
                c2=int(row["c2"]) if row["c2"] else None,
                source=read_sources(ROOM)[row["source"]].cite(),
                evidence=Evidence(row["evidence"]),
            )
    return None
