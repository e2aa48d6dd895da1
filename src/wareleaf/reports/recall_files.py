"""Recall tables as XLSX and CSV. A text from the book stays a text: never a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from wareleaf.reports.recall_tables import Table
from wareleaf.works.recall_elements import MISSING, Cell

# A sheet program takes a text that begins like this for a formula (common practice, no source).
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_WIDEST = 46


def csv_text(table: Table, zone: ZoneInfo) -> str:
    """A table as CSV, times on the works' clock with their offset.

    A text that a sheet program could take for a formula gets an apostrophe in front.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    for row in (table.head, *table.rows):
        writer.writerow([_csv_cell(cell, zone) for cell in row])
    return out.getvalue()


def _csv_cell(cell: Cell, zone: ZoneInfo) -> str | float:
    if isinstance(cell, datetime):
        return cell.astimezone(zone).isoformat(timespec="seconds")
    if isinstance(cell, str):
        return f"'{cell}" if cell.lstrip(" \n").startswith(_FORMULA) else cell
    return cell


def xlsx_bytes(tables: Iterable[Table], zone: ZoneInfo) -> bytes:
    """A workbook with a sortable sheet for each table."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.worksheets[0])
    for table in tables:
        _fill(book.create_sheet(table.title), table, zone)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _fill(sheet: Any, table: Table, zone: ZoneInfo) -> None:
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    for at, row in enumerate((table.head, *table.rows), start=1):
        for column, value in enumerate(row, start=1):
            _put(sheet.cell(at, column), value, zone)
    for cell in sheet[1]:
        cell.font, cell.alignment = Font(bold=True), Alignment(wrap_text=True, vertical="top")
    for column, name in enumerate(table.head, start=1):
        widths = [len(_shown(row[column - 1])) for row in table.rows[:200]]
        width = max([min(len(name), 22), *widths]) + 2
        sheet.column_dimensions[get_column_letter(column)].width = min(width, _WIDEST)
    sheet.freeze_panes = "A2"
    if table.rows:
        sheet.auto_filter.ref = sheet.dimensions


def _put(cell: Any, value: Cell, zone: ZoneInfo) -> None:
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import Font

    if isinstance(value, datetime):
        # a sheet knows no offset; all times are on the works' clock
        cell.value = value.astimezone(zone).replace(tzinfo=None, microsecond=0)
        cell.number_format = "yyyy-mm-dd hh:mm"
    elif isinstance(value, str):
        cell.value = ILLEGAL_CHARACTERS_RE.sub("", value)[:32_767]
        cell.data_type = "s"
        cell.quotePrefix = value.startswith(_FORMULA)
        if value == MISSING:
            cell.font = Font(italic=True, color="9A3412")
    else:
        cell.value = value


def _shown(value: Cell) -> str:
    return "2026-05-08 10:40" if isinstance(value, datetime) else str(value)
