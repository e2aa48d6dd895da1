"""Rows of a sheet as typed fields, each problem told by sheet, line, column and value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.works.house import Works
from wareleaf.works.sheets import cells as c
from wareleaf.works.sheets.fields import NUMBER, TEXT, TIME, Field, field_of
from wareleaf.works.sheets.mapping import Column, SheetMap, SheetsMap
from wareleaf.works.sheets.tables import read_table

MOST_PROBLEMS = 50
# Fields as the use cases call them, and what a sheet calls the same.
_ALSO = {
    "meter": ("scale", "moisture_meter"),
    "lot_id": ("lot", "lots"),
    "mass_g": ("mass_kg", "lots", "lot"),
    "dry_g": ("moisture_wb", "mass_kg"),
    "happened_at": ("at", "arrived_at", "end_at"),
    "market": ("customer",),
    "person": ("released_by", "who"),
    "who": ("released_by",),
    "sample_id": ("sample",),
    "standard_uncertainty": ("uncertainty", "expanded_uncertainty"),
}
_WHEN = {"intake": "arrived_at", "stage": "start_at"}


@dataclass(frozen=True)
class Row:
    """One row, read.

    Parameters
    ----------
    sheet : SheetMap
        What it is mapped by.
    place : str
        Sheet and line, for people.
    order : tuple of int
        Position of the sheet in the mapping, and line.
    at : datetime
        When it happened; a run's start.
    values : mapping
        Fields that the row says.
    """

    sheet: SheetMap
    place: str
    order: tuple[int, int]
    at: datetime
    values: Mapping[str, Any]

    def get(self, name: str, default: Any = None) -> Any:
        """A field, or the default."""
        return self.values.get(name, default)

    def problem(self, field: str, value: Any, message: str) -> Problem:
        """A problem at this row; names the column that the field stands in, when there is one."""
        field = field.removeprefix("facts.")
        message = message.removeprefix("facts.")
        name = next((n for n in (field, *_ALSO.get(field, ())) if n in self.sheet.columns), "")
        where = f", {_heading(self.sheet.columns[name])}" if name else ""
        return Problem(f"{self.place}, {field}", value, f"{self.place}{where}: {message}")


def read_rows(works: Works, folder: Path, mapping: SheetsMap) -> list[Row]:
    """All rows of all sheets, in the order in which they happened.

    Raises
    ------
    BadInput
        With every cell that cannot be read, at most fifty.
    """
    if not folder.is_dir():
        raise BadInput("folder", str(folder), f"{folder} is not a folder of sheets.")
    rows: list[Row] = []
    problems: list[Problem] = []
    for position, sheet in enumerate(mapping.sheet):
        try:
            table = read_table(folder, sheet)
        except BadInput as error:
            problems.extend(error.problems)
            continue
        style = c.Style(sheet.decimal, sheet.time_format, works.settings.zone, works.now())
        for line, cells in table.rows:
            only = sheet.columns.get(sheet.only_with)
            if only is not None and all(c.is_blank(cells.get(n)) for n in only.names):
                continue
            place = f"{table.name}, line {line}"
            values, wrong = _values(sheet, cells, style, place)
            problems.extend(wrong)
            if not wrong:
                at = values[_WHEN.get(sheet.job, "at")]
                rows.append(Row(sheet, place, (position, line), at, values))
    refuse(problems)
    return sorted(rows, key=lambda row: (row.at, row.order))


def refuse(problems: list[Problem]) -> None:
    """Raise for problems, if any; the last sentence says how many more there are."""
    if not problems:
        return
    shown = problems[:MOST_PROBLEMS]
    more = len(problems) - len(shown)
    if more:
        shown.append(Problem("rows", more, f"{more} more rows are refused; nothing was imported."))
    raise BadInput.of(shown)


def _values(
    sheet: SheetMap, cells: Mapping[str, Any], style: c.Style, place: str
) -> tuple[dict[str, Any], list[Problem]]:
    values: dict[str, Any] = {}
    wrong = []
    columns: dict[str, Column | None] = {**sheet.columns, **dict.fromkeys(sheet.same)}
    for name, column in columns.items():
        field = field_of(sheet.job, name)
        assert field is not None  # the mapping was checked
        raw = [sheet.same[name]] if column is None else [cells.get(n) for n in column.names]
        try:
            found = _one(sheet, name, field, column, raw, style)
        except c.BadCell as error:
            wrong.append(_problem(place, name, column, raw, str(error)))
            continue
        if found is not None:
            values[name] = found
        elif field.needed:
            wrong.append(_problem(place, name, column, raw, f"is blank; {name} is needed"))
    return values, wrong


def _one(
    sheet: SheetMap,
    name: str,
    field: Field,
    column: Column | None,
    raw: list[Any],
    style: c.Style,
) -> Any:
    if all(c.is_blank(cell) for cell in raw):
        return None
    if field.kind == TIME and column is not None and column.format:
        style = c.Style(style.decimal, column.format, style.zone, style.now)
    if column is None and isinstance(raw[0], str) and field.kind != TEXT:
        style = c.Style(".", style.time_format, style.zone, style.now)
    if sheet.job == "result" and name == "value" and field.kind == NUMBER:
        return c.below_or_at(raw[0], style)
    found = c.read_cell(field.kind, raw, column.unit if column else "", style)
    words = sheet.words.get(name)
    if words and isinstance(found, str):
        return words.get(found, found)
    if words and isinstance(found, list):
        return [words.get(one, one) for one in found]
    return found


def _problem(place: str, name: str, column: Column | None, raw: list[Any], reason: str) -> Problem:
    where = _heading(column) if column else f"same {name}"
    shown = " ".join("" if cell is None else str(cell) for cell in raw).strip()
    value = f" {shown!r}" if shown else ""
    return Problem(f"{place}, {name}", shown, f"{place}, {where}:{value} {reason}.")


def _heading(column: Column) -> str:
    return f"column {' and '.join(repr(n) for n in column.names)}"
