"""The key data elements of a recall, by critical tracking event, as the United States' rule names
them (21 CFR part 1 subpart S).

Sections 1.1330 (items 1 to 10), 1.1340 and 1.1345 were read; 1.1325, 1.1350 and the rest of 1.1330
are from memory, and the sheets say so. Tea and seaweed were not on that rule's list when this was
written (from memory); the lists serve as a template of what investigators ask for. An element that
the book does not have is `MISSING`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from wareleaf.works.recall import Recall
from wareleaf.works.recall_history import History, Row
from wareleaf.works.sight import Sight

MISSING = "missing"
Cell = str | float | datetime

_LOAD = (
    "Commodity and variety",
    "Quantity",
    "Unit of measure",
    "Location of the farm",
    "Name of the field or growing area",
    "Harvest date",
)
_PAPER = ("Reference document type", "Reference document number")
_TLC, _TLC_SOURCE = "Traceability lot code", "Traceability lot code source"


@dataclass(frozen=True)
class Sheet:
    """Lines of one critical tracking event.

    Parameters
    ----------
    name : str
        Of the event.
    section : str
        Of the rule, with how well it is known.
    head : tuple of str
        Element names; the first two are the works' own: the lot, and whether it carries the fault.
    rows : tuple
        Of the same length each.
    """

    name: str
    section: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]

    @property
    def missing(self) -> int:
        """How many elements are missing."""
        return sum(cell == MISSING for row in self.rows for cell in row)


def elements(seen: Sight, found: Recall) -> tuple[Sheet, ...]:
    """The six sheets: loads behind the affected lots, what was made of them, what was shipped."""
    history = History(seen, found)
    return (
        _sheet(
            "Harvest",
            "21 CFR 1.1325, from memory",
            ("Location of the immediate subsequent recipient", *_LOAD, *_PAPER),
            history.harvest,
        ),
        _sheet(
            "Cooling",
            "21 CFR 1.1325, from memory",
            (
                "Location of the immediate subsequent recipient",
                *_LOAD[:3],
                "Location of cooling",
                "Date of cooling",
                *_LOAD[3:],
                *_PAPER,
            ),
            history.cooling,
        ),
        _sheet(
            "Initial packing",
            "21 CFR 1.1330, items 1 to 10 read, the rest from memory",
            (
                _LOAD[0],
                "Date received",
                "Quantity received",
                "Unit of measure received",
                *_LOAD[3:5],
                "Harvester name",
                "Harvester phone",
                "Harvest date",
                "Location of cooling",
                "Date of cooling",
                _TLC,
                "Product description of the packed food",
                "Quantity packed",
                "Unit of measure packed",
                f"Location of initial packing ({_TLC_SOURCE.lower()})",
                "Date of initial packing",
                *_PAPER,
            ),
            history.packing,
        ),
        _sheet(
            "Receiving",
            "21 CFR 1.1345, read",
            (
                _TLC,
                *_LOAD[1:3],
                "Product description",
                "Location of the immediate previous source",
                "Location where received",
                "Date received",
                _TLC_SOURCE,
                *_PAPER,
            ),
            history.receiving,
        ),
        _sheet(
            "Transformation",
            "21 CFR 1.1350, from memory",
            (
                "Used or new",
                _TLC,
                "Product description",
                *_LOAD[1:3],
                f"Location of transformation ({_TLC_SOURCE.lower()})",
                "Date transformation was completed",
                *_PAPER,
            ),
            history.transformation,
        ),
        _sheet(
            "Shipping",
            "21 CFR 1.1340, read",
            (
                _TLC,
                *_LOAD[1:3],
                "Product description",
                "Location of the immediate subsequent recipient",
                "Location shipped from",
                "Date shipped",
                _TLC_SOURCE,
                *_PAPER,
            ),
            history.shipping,
        ),
    )


def _sheet(
    name: str, section: str, head: tuple[str, ...], rows: Callable[[], Iterable[Row]]
) -> Sheet:
    """One sheet; what is empty in its rows is missing."""
    told = tuple(tuple(MISSING if cell in ("", None) else cell for cell in r) for r in rows())
    return Sheet(name, section, ("Lot", "Reached by the fault", *head), told)
