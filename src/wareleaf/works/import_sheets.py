"""Import a folder of sheets into the book: look at it first, then all of it or nothing.

Every row goes through the use case that the floor uses, in the order in which things happened,
inside one draft of the book. A preview does the same and then throws the draft away.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.store import BookStore
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.sheets import Row, SheetsMap, read_mapping, read_rows
from wareleaf.works.sheets.book_row import hold_the_rest, write
from wareleaf.works.sheets.pen import MAKE_LOTS, Pen, open_pen
from wareleaf.works.sheets.rows import refuse


@dataclass(frozen=True)
class SheetCount:
    """What one sheet brings.

    Parameters
    ----------
    file, job : str
        From the mapping.
    rows, events : int
        Rows read, and what they become in the book.
    first_at, last_at : datetime or None
        None for a sheet without rows.
    mass_kg : float
        Sum of the weights of what came in, came off or left.
    """

    file: str
    job: str
    rows: int
    events: int
    first_at: datetime | None
    last_at: datetime | None
    mass_kg: float


@dataclass(frozen=True)
class Line:
    """What one row, or the rows of one run, would become."""

    place: str
    at: datetime
    sentence: str


@dataclass(frozen=True)
class ImportReport:
    """What an import did, or would do.

    Parameters
    ----------
    recorded : bool
        False for a preview.
    sheets : tuple of SheetCount
        In the order of the mapping.
    events, lots : int
        New in the book.
    lines : tuple of Line
        In order of happening.
    warnings : tuple of str
        What someone should look at; none of it stands in the way.
    """

    recorded: bool
    sheets: tuple[SheetCount, ...]
    events: int
    lots: int
    lines: tuple[Line, ...]
    warnings: tuple[str, ...]


class _Thrown(Exception):
    """Ends a draft that shall not stand."""


def import_sheets(
    works: Works,
    who: str,
    folder: Path,
    mapping: Path | SheetsMap,
    *,
    preview: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> ImportReport:
    """Import the sheets of a folder.

    Parameters
    ----------
    works : Works
        Whose book it goes into.
    who : str
        Who imports; rows are booked under whom their sheet names.
    folder : Path
        Where the sheets lie.
    mapping : Path or SheetsMap
        Which sheet is which job.
    preview : bool
        Do everything and keep nothing.
    progress : callable, optional
        Told rows done and rows in all.

    Raises
    ------
    BadInput
        With every refused row by sheet, line, column, value and reason; nothing is written then.
    """
    acting(works, who, "import sheets")
    plan = read_mapping(mapping) if isinstance(mapping, Path) else mapping
    rows = read_rows(works, folder, plan)
    before = len(works.book.lots())
    report: ImportReport | None = None
    try:
        with works.book.draft() as draft:
            pen = open_pen(replace(works, book=draft), who, rows)
            start = _size(draft)
            lines, per_sheet = _write_all(pen, rows, progress)
            hold_the_rest(pen)
            report = ImportReport(
                recorded=not preview,
                sheets=_counts(plan, rows, per_sheet),
                events=_size(draft) - start,
                lots=len(draft.lots()) - before,
                lines=tuple(lines),
                warnings=(*pen.warnings, *_imbalances(pen.works, rows, start)),
            )
            if preview:
                raise _Thrown
    except _Thrown:
        pass
    assert report is not None
    return report


def _groups(rows: Sequence[Row]) -> list[list[Row]]:
    """Rows that belong together: what came off one run; every other row alone."""
    found: list[list[Row]] = []
    runs: dict[tuple[int, str, datetime], list[Row]] = {}
    for row in rows:
        key = (row.order[0], str(row.get("equipment")), row.at)
        if row.sheet.job == "stage" and key in runs:
            runs[key].append(row)
            continue
        found.append([row])
        if row.sheet.job == "stage":
            runs[key] = found[-1]
    return found


def _write_all(
    pen: Pen, rows: Sequence[Row], progress: Callable[[int, int], None] | None
) -> tuple[list[Line], dict[int, int]]:
    """Write every row; go on after a refused one to tell all of them, but keep quiet about rows
    that only fail because their lot was refused before.
    """
    lines: list[Line] = []
    problems: list[Problem] = []
    lost: set[str] = set()
    events: dict[int, int] = {}
    done = 0
    for group in _groups(rows):
        first = group[0]
        wants = {*(first.get("lots") or ()), first.get("lot")} - {None}
        made = {row.get("lot") for row in group if row.sheet.job in MAKE_LOTS}
        if (wants - made) & lost:
            lost |= made
            continue
        size = _size(pen.works.book)
        try:
            with pen.works.book.draft() as step:
                sentence = write(replace(pen, works=replace(pen.works, book=step)), group)
        except BadInput as error:
            problems.extend(first.problem(p.field, p.value, p.message) for p in error.problems)
            lost |= {name for name in made if name not in pen.numbers}
            continue
        lines.append(Line(first.place, first.at, sentence))
        grown = _size(pen.works.book) - size
        events[first.order[0]] = events.get(first.order[0], 0) + grown
        done += len(group)
        if progress is not None:
            progress(done, len(rows))
    refuse(problems)
    return lines, events


def _counts(plan: SheetsMap, rows: Sequence[Row], events: dict[int, int]) -> tuple[SheetCount, ...]:
    found = []
    for position, sheet in enumerate(plan.sheet):
        own = [row for row in rows if row.order[0] == position]
        times = [row.at for row in own]
        net = (
            row.get("gross_kg") - row.get("tare_kg", 0.0) - row.get("surface_water_kg", 0.0)
            if sheet.job == "intake"
            else row.get("mass_kg", 0.0)
            for row in own
        )
        found.append(
            SheetCount(
                file=sheet.file,
                job=sheet.job,
                rows=len(own),
                events=events.get(position, 0),
                first_at=min(times, default=None),
                last_at=max(times, default=None),
                mass_kg=sum(net),
            )
        )
    return tuple(found)


def _size(book: BookStore) -> int:
    """How many events a book has."""
    last = book.events(limit=1, newest_first=True)
    return last[0].sequence if last else 0


def _imbalances(works: Works, rows: Sequence[Row], after: int) -> list[str]:
    """Runs of the sheets whose dry matter does not add up."""
    if not rows:
        return []
    first = min(row.at for row in rows)
    new = {r.event.event_id for r in works.book.events(since=first) if r.sequence > after}
    return [x.sentence for x in works.book.unbalanced(start=first) if x.event_id in new]
