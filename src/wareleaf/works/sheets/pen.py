"""What the writing of sheets has to remember: own numbers of lots, runs on machines, papers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works
from wareleaf.works.settings import Equipment
from wareleaf.works.sheets.rows import Row

MAKE_LOTS = ("intake", "stage")
Span = tuple[datetime, datetime | None, str, str]
"""Start, end, run id and place in the sheets of a run on a machine."""


@dataclass
class Pen:
    """What the writing of rows has to remember.

    Parameters
    ----------
    works : Works
        Whose book is a draft.
    importer : str
        Who imports, where a sheet names nobody.
    coming : frozenset of str
        Own numbers of all lots that the sheets make.
    numbers : dict
        Lot ids by the works' own numbers.
    runs : dict
        Runs by machine.
    released : dict
        Lots released on paper, with the paper.
    warnings : list of str
        What someone should look at.
    """

    works: Works
    importer: str
    coming: frozenset[str] = frozenset()
    numbers: dict[str, list[str]] = field(default_factory=dict)
    runs: dict[str, list[Span]] = field(default_factory=dict)
    released: dict[str, str] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)

    def lot(self, name: str, field: str = "lot") -> str:
        """The book's number of a lot named by either number."""
        found = self.numbers.get(name, [])
        if len(found) > 1:
            raise BadInput(
                field,
                name,
                f"lot {name} could be {' or '.join(found)}; write the book's own number.",
            )
        if found:
            return found[0]
        if not self.works.book.lots(ids=[name]):
            if name in self.coming:
                raise BadInput(field, name, f"lot {name} was not there yet at that time.")
            raise BadInput(field, name, f"there is no lot {name} in the sheets or the book.")
        return name

    def name(self, own: str, lot_id: str) -> None:
        """Remember the works' own number of a new lot."""
        self.numbers.setdefault(own, []).append(lot_id)

    def free(self, own: str) -> None:
        """Refuse an own number that is taken.

        Raises
        ------
        BadInput
            Naming the lot that has it.
        """
        taken = self.numbers.get(own) or [x.lot_id for x in self.works.book.lots(ids=[own])]
        if taken:
            raise BadInput(
                "lot", own, f"lot {own} is there already (as {taken[0]}); each lot has its own."
            )

    def occupy(self, machine: Equipment, span: Span) -> None:
        """Refuse a run on a machine that has another at the time.

        Raises
        ------
        BadInput
            Naming the other.
        """
        start, end = span[0], span[1]
        for began, ended, _, place in self.runs.get(machine.id, []):
            if (ended is None or start < ended) and (end is None or began < end):
                raise BadInput(
                    "equipment",
                    machine.id,
                    f"{machine.name} was busy with the run in {place} at that time.",
                )

    def run_at(self, machine: Equipment, at: datetime) -> str:
        """The run that was on a machine at a time."""
        for start, end, run_id, _ in self.runs.get(machine.id, []):
            if start <= at and (end is None or at <= end):
                return run_id
        raise BadInput("equipment", machine.id, f"{machine.name} had no run at that time.")

    def who(self, row: Row) -> str:
        """Who did what a row says."""
        return str(row.get("who") or row.sheet.who or self.importer)


def open_pen(works: Works, importer: str, rows: Sequence[Row]) -> Pen:
    """A pen that knows the own numbers and the runs the book has already."""
    made = (row.get("lot") for row in rows if row.sheet.job in MAKE_LOTS)
    pen = Pen(works, importer, frozenset(made))
    for lot in works.book.lots():
        own = lot.attributes.get("own_number")
        if own:
            pen.name(str(own), lot.lot_id)
    for run in works.book.runs():
        span = (run.started_at, run.finished_at, run.run_id, "the book")
        pen.runs.setdefault(run.equipment, []).append(span)
    return pen
