"""Read one cell by its kind: a mass, a percentage, a warmth, a time, a number, a text."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from wareleaf.measure.errors import BadInput
from wareleaf.measure.units import LARGEST, parse_mass_kg, parse_temperature_c
from wareleaf.works.sheets import fields as f

EARLIEST = 1990
_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?([eE][-+]?\d+)?")


@dataclass(frozen=True)
class Style:
    """How numbers and times are written in a sheet, and the works' clock."""

    decimal: str
    time_format: str
    zone: ZoneInfo
    now: datetime


class BadCell(ValueError):
    """Says what is wrong with a cell; the row adds its place."""


def is_blank(cell: Any) -> bool:
    """Whether nothing stands in a cell."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def read_cell(kind: str, cells: Sequence[Any], unit: str, style: Style) -> Any:
    """The value of one field.

    Raises
    ------
    BadCell
        When it cannot be read as its kind.
    """
    cell = cells[0]
    if kind == f.TIME:
        return read_time(cells, style)
    if kind == f.TEXT:
        return _text(cell)
    if kind == f.LIST:
        return [part.strip() for part in re.split(r"[+;,]", _text(cell)) if part.strip()]
    if kind == f.NUMBER:
        return number(cell, style)
    cell, unit = _unit_in_cell(cell, unit, f.UNITS[kind])
    if kind == f.SHOWN:
        return number(cell, style), unit
    return converted(number(cell, style), unit or f.UNITS[kind][0])


def _unit_in_cell(cell: Any, unit: str, allowed: Sequence[str]) -> tuple[Any, str]:
    """A unit that is written in the cell itself counts before the column's."""
    if isinstance(cell, str):
        for each in sorted(allowed, key=len, reverse=True):
            for written in (f"°{each}", each):
                if cell.strip().endswith(written):
                    return cell.strip().removesuffix(written), each
    return cell, unit


def converted(value: float, unit: str) -> float:
    """A number in a unit of `fields.UNITS` as kg, degC or a fraction."""
    if unit == "%":
        return value / 100.0
    if unit == "fraction":
        return value
    try:
        if unit in ("C", "F"):
            return parse_temperature_c(f"{value!r} {unit}")
        return parse_mass_kg(f"{value!r} {unit}")
    except BadInput as error:
        raise BadCell(str(error)) from error


def number(cell: Any, style: Style) -> float:
    """A number, with the sheet's decimal sign and thousands marks."""
    if isinstance(cell, bool | datetime | date | time):
        raise BadCell("is not a number")
    if isinstance(cell, int | float):
        return _meant(float(cell))
    text = re.sub(r"[\s  ']", "", _text(cell))
    other = "," if style.decimal == "." else "."
    if other in text:
        if not re.fullmatch(rf"[-+]?\d{{1,3}}(\{other}\d{{3}})+(\{style.decimal}\d+)?", text):
            raise BadCell(
                f"is not a number with {style.decimal!r} before the decimals; say decimal in the "
                "mapping if the sheet writes them otherwise"
            )
        text = text.replace(other, "")
    text = text.replace(style.decimal, ".")
    if not _NUMBER.fullmatch(text):
        raise BadCell("is not a number")
    return _meant(float(text))


def _meant(value: float) -> float:
    if not abs(value) <= LARGEST:
        raise BadCell("is too large to be meant")
    return value


def below_or_at(cell: Any, style: Style) -> tuple[float, bool]:
    """A result and whether it was reported as less than that."""
    text = "" if isinstance(cell, int | float) else _text(cell)
    if text.startswith("<"):
        return number(text[1:], style), True
    return number(cell, style), False


def read_time(cells: Sequence[Any], style: Style) -> datetime:
    """A time on the works' clock, from one cell or from a date and a time.

    Raises
    ------
    BadCell
        For what is no time, lies in the future, or is skipped when summer time begins.
    """
    local = _local_time(cells, style)
    if local.year < EARLIEST:
        raise BadCell(f"is in the year {local.year}; look at the format of the date")
    at = local.replace(tzinfo=style.zone)
    if local.year > style.now.year + 1 or at > style.now:
        raise BadCell(f"is in the future; it is {style.now:%Y-%m-%d %H:%M} now")
    if at.astimezone(UTC).astimezone(style.zone).replace(tzinfo=None) != local:
        raise BadCell("does not exist on the works' clock: summer time begins then")
    return at


def _local_time(cells: Sequence[Any], style: Style) -> datetime:
    if isinstance(cells[0], datetime):
        found = cells[0].replace(tzinfo=None, microsecond=0)
        if len(cells) > 1 and isinstance(cells[1], time | datetime):
            part = cells[1] if isinstance(cells[1], time) else cells[1].time()
            return datetime.combine(found.date(), part.replace(tzinfo=None, microsecond=0))
        if len(cells) == 1:
            return found
        cells = [found.strftime(style.time_format.split(" ")[0]), *cells[1:]]
    text = " ".join(_shown(c) for c in cells)
    try:
        return datetime.strptime(text, style.time_format).replace(tzinfo=None)
    except ValueError as error:
        raise BadCell(f"is not a time written as {style.time_format!r}") from error


def _shown(cell: Any) -> str:
    if isinstance(cell, time):
        return cell.strftime("%H:%M")
    return _text(cell)


def _text(cell: Any) -> str:
    """Text of a cell; a whole number that a spreadsheet kept as a float loses its decimals."""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell).strip()
