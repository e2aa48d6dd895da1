"""Limits as data: which rule of which market speaks to a lot, from when, and how well it is known.

A market answers to one or more bodies of rules. A row names the lots it speaks to by tags: every
word must be there, ``a|b`` means either, ``-a`` means not. An empty number never means zero.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib import resources

from wareleaf.measure import BadInput, Evidence, read_sources, require

ROOM = "wareleaf.release"
_TEXT_COLUMNS = (
    *("id", "market", "commodity", "applies_to", "parameter", "unit", "basis", "kind", "use"),
    *("below_loq", "instrument", "clause", "source", "note"),
)
_LEGAL = ("max", "min", "none")
_KINDS = ("max", "min", "none", "guideline", "contract_max", "contract_min")


@dataclass(frozen=True)
class Limit:
    """One row of the limit table.

    Parameters
    ----------
    id : str
        Stable name; confirmations refer to it.
    market : str
        Body of rules, see `Market`; ``contract`` for a buyer's own specification.
    commodity : str
        What the text speaks of, for people.
    applies_to : str
        Tags a lot must carry.
    parameter : str
        Canonical name, for example ``inorganic_arsenic``.
    limit : float or None
        In ``unit`` on ``basis``; None where the row sets no number.
    unit, basis : str
        ``basis`` is ``wet`` (as sold), ``dry``, ``hydrated``, ``fresh`` or a name that only
        matches itself.
    basis_moisture_wb : float or None
        Moisture of a ``hydrated`` basis.
    kind : str
        ``max`` and ``min`` bind; ``none`` records that a market was checked and sets no number;
        ``guideline`` warns; ``contract_max`` and ``contract_min`` bind by the buyer's contract.
    use : str
        ``lot`` (content of a lot), ``intake`` (amount a day) or ``history``.
    sample_n, sample_c : int or None
        Units to examine and how many of them may exceed the limit.
    below_loq : str
        ``zero`` where a value below the quantification limit counts as zero.
    instrument, clause : str
        Where the rule stands.
    effective_from : date or None
        First day.
    source : str
        Key into ``data/sources.toml``.
    evidence : Evidence
        How well the figure is known.
    note : str
        Anything the reader should know.
    """

    id: str
    market: str
    commodity: str
    applies_to: str
    parameter: str
    limit: float | None
    unit: str
    basis: str
    basis_moisture_wb: float | None
    kind: str
    use: str
    sample_n: int | None
    sample_c: int | None
    below_loq: str
    instrument: str
    clause: str
    effective_from: date | None
    source: str
    evidence: Evidence
    note: str

    @property
    def legal(self) -> bool:
        """True for a statement of law: it must be read or confirmed before a lot is released."""
        return self.kind in _LEGAL

    @property
    def contract(self) -> bool:
        """True for a buyer's own specification."""
        return self.kind.startswith("contract")

    @property
    def upper(self) -> float | None:
        """The number when it is a greatest value, else None."""
        return self.limit if self.kind in ("max", "contract_max", "guideline") else None

    @property
    def lower(self) -> float | None:
        """The number when it is a least value, else None."""
        return self.limit if self.kind in ("min", "contract_min") else None

    def fingerprint(self) -> str:
        """Figures that a confirmation speaks of; changed figures need a new confirmation."""
        number = "" if self.limit is None else f"{self.limit:.10g}"
        moisture = "" if self.basis_moisture_wb is None else f"{self.basis_moisture_wb:g}"
        return "|".join((self.kind, number, self.unit, self.basis, moisture, self.applies_to))


@dataclass(frozen=True)
class Market:
    """Where a lot is sold, and the bodies of rules it must answer to there."""

    id: str
    name: str
    answers_to: tuple[str, ...]
    note: str


def _rows(name: str) -> list[dict[str, str]]:
    text = resources.files(ROOM).joinpath(f"data/{name}.csv").read_text("utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def _date(text: str) -> date | None:
    if not text:
        return None
    year, month, day = [*(int(p) for p in text.split("-")), 1, 1][:3]
    return date(year, month, day)


def _number(text: str) -> float | None:
    return float(text) if text else None


@cache
def all_limits() -> tuple[Limit, ...]:
    """Every row of the table, lot limits, intake values and history alike."""
    sources = read_sources(ROOM)
    found = []
    for row in _rows("limits"):
        require(row["source"] in sources, "source", row["source"], f"{row['id']} has no source.")
        require(row["kind"] in _KINDS, "kind", row["kind"], f"{row['id']} has an unknown kind.")
        found.append(
            Limit(
                **{key: row[key] for key in _TEXT_COLUMNS},
                limit=_number(row["limit"]),
                basis_moisture_wb=_number(row["basis_moisture_wb"]),
                sample_n=int(row["sample_n"]) if row["sample_n"] else None,
                sample_c=int(row["sample_c"]) if row["sample_c"] else None,
                effective_from=_date(row["effective_from"]),
                evidence=Evidence(row["evidence"]),
            )
        )
    return tuple(found)


@cache
def markets() -> tuple[Market, ...]:
    """Every market a lot can be released to."""
    return tuple(
        Market(row["id"], row["name"], tuple(row["answers_to"].split()), row["note"])
        for row in _rows("markets")
    )


def market(name: str) -> Market:
    """Find a market by its id or name, in any case.

    Raises
    ------
    BadInput
        For an unknown market; the message lists the known ones.
    """
    for one in markets():
        if name.strip().lower() in (one.id.lower(), one.name.lower()):
            return one
    known = ", ".join(f"{m.id} ({m.name})" for m in markets())
    raise BadInput("market", name, f"market is {name!r}; known markets are {known}.")


def matches(applies_to: str, tags: Iterable[str]) -> bool:
    """Whether a row speaks to a lot with these tags.

    Parameters
    ----------
    applies_to : str
        Words: ``a`` must be there, ``a|b`` one of them, ``-a`` must not.
    tags : iterable of str
        Of the lot.
    """
    have = set(tags)
    for word in applies_to.split():
        if word.startswith("-"):
            if word[1:] in have:
                return False
        elif not have.intersection(word.split("|")):
            return False
    return bool(applies_to)


def limits_for(market_id: str, tags: Iterable[str], on_date: date) -> tuple[Limit, ...]:
    """Lot limits that speak to a lot in a market on a day, in table order.

    Parameters
    ----------
    market_id : str
        See `market`.
    tags : iterable of str
        Of the lot, see `wareleaf.release.lots`.
    on_date : date
        The day of release.

    Raises
    ------
    BadInput
        For an unknown market.
    """
    bodies = market(market_id).answers_to
    have = set(tags)
    return tuple(
        limit
        for limit in all_limits()
        if limit.use == "lot"
        and limit.market in bodies
        and matches(limit.applies_to, have)
        and (limit.effective_from is None or limit.effective_from <= on_date)
    )
