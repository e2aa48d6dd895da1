"""Numbers with their pedigree: value, unit, valid range, source and how well it is known.

Each room keeps its published numbers in ``data/*.csv`` beside its code and the works they come
from in ``data/sources.toml``. A row names its source by key; a test holds that the key exists.
"""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import resources

from wareleaf.measure.errors import require


class Evidence(StrEnum):
    """How well a number is known, best first."""

    READ = "read"  # read in the source itself
    SECONDARY = "secondary"  # an abstract or a copy
    DERIVED = "derived"  # calculated here from figures of the named source
    MEMORY = "memory"  # recalled, to be verified before use
    PRACTICE = "practice"  # common practice, no source
    DEMO = "demo"  # invented for the demo


@dataclass(frozen=True)
class Source:
    """A work that a number was taken from."""

    key: str
    author: str
    year: str
    title: str
    identifier: str

    def cite(self) -> str:
        """One line that a reader can look up."""
        parts = [f"{self.author} ({self.year})" if self.year else self.author, self.title]
        if self.identifier:
            parts.append(self.identifier)
        return ". ".join(p for p in parts if p)


@dataclass(frozen=True)
class Figure:
    """One published number.

    Parameters
    ----------
    subject : str
        What it belongs to, for example a leaf profile id.
    quantity : str
        Name with unit, for example ``moisture_wb_fresh``.
    value : float
        In the unit of the name.
    unit, basis, valid_range : str
        For people; ``basis`` is wet, dry or empty.
    source : str
        Key into the room's ``sources.toml``.
    place : str
        Where in the source.
    evidence : Evidence
        How well it is known.
    note : str
        Anything a user of the number should know.
    """

    subject: str
    quantity: str
    value: float
    unit: str
    basis: str
    valid_range: str
    source: str
    place: str
    evidence: Evidence
    note: str


@cache
def read_sources(package: str) -> dict[str, Source]:
    """Read ``data/sources.toml`` of a room, by key."""
    text = resources.files(package).joinpath("data/sources.toml").read_text("utf-8")
    table = tomllib.loads(text)
    return {
        key: Source(
            key=key,
            author=row["author"],
            year=str(row.get("year", "")),
            title=row["title"],
            identifier=row.get("identifier", ""),
        )
        for key, row in table.items()
    }


@cache
def read_figures(package: str, name: str) -> tuple[Figure, ...]:
    """Read a table of figures, ``data/NAME.csv`` of a room, in file order.

    Columns: subject, quantity, value, unit, basis, valid_range, source, place, evidence, note.
    """
    sources = read_sources(package)
    text = resources.files(package).joinpath(f"data/{name}.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    figures = []
    for row in rows:
        require(
            row["source"] in sources,
            "source",
            row["source"],
            f"{package}/data/{name}.csv names the source {row['source']!r}, "
            "which sources.toml lacks.",
        )
        figures.append(
            Figure(
                subject=row["subject"],
                quantity=row["quantity"],
                value=float(row["value"]),
                unit=row["unit"],
                basis=row["basis"],
                valid_range=row["valid_range"],
                source=row["source"],
                place=row["place"],
                evidence=Evidence(row["evidence"]),
                note=row["note"],
            )
        )
    return tuple(figures)
