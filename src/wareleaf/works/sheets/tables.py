"""Read a CSV or XLSX sheet into rows of raw cells with their line numbers."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wareleaf.measure.errors import BadInput
from wareleaf.works.sheets.mapping import SheetMap

MOST_MB = 50
MOST_UNPACKED_MB = 300
MOST_ROWS = 100_000
_DELIMITERS = ";,\t|"
_NAMES = {";": "semicolon", ",": "comma", "\t": "tab", "|": "bar"}


@dataclass(frozen=True)
class Table:
    """A sheet as it is written.

    Parameters
    ----------
    name : str
        File name, with the worksheet's when there is one.
    heading : tuple of str
        Names of the columns.
    rows : tuple of (int, mapping)
        Line number in the file and cells by heading; blank lines are left out.
    """

    name: str
    heading: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, Any]], ...]


def read_table(folder: Path, sheet: SheetMap) -> Table:
    """Read one sheet of a folder.

    Raises
    ------
    BadInput
        For a file that is missing, empty, too large, of the wrong encoding, not a sheet, or that
        lacks a heading the mapping names.
    """
    path = folder / sheet.file
    if Path(sheet.file).name != sheet.file:
        raise _bad(sheet.file, "is not a plain file name; sheets lie in the folder itself")
    try:
        size = path.stat().st_size
    except OSError as error:
        raise _bad(sheet.file, f"is not in {folder}") from error
    if not path.is_file():
        raise _bad(sheet.file, "is not a file")
    if size > MOST_MB * 1_000_000:
        raise _bad(
            sheet.file,
            f"has {size / 1e6:.0f} MB; a sheet may have at most {MOST_MB} MB, so split it",
        )
    if size == 0:
        raise _bad(sheet.file, "is empty; it must hold a line of headings and a line for each row")
    suffix = path.suffix.lower()
    if suffix not in (".csv", ".txt", ".tsv", ".xlsx", ".xlsm"):
        raise _bad(sheet.file, f"is a {suffix or 'file without ending'}; give CSV or XLSX")
    excel = suffix in (".xlsx", ".xlsm")
    name = f"{sheet.file} ({sheet.worksheet})" if sheet.worksheet else sheet.file
    lines = _excel_lines(path, sheet) if excel else _text_lines(path, sheet)
    return _table(name, lines, sheet)


def _bad(file: str, reason: str) -> BadInput:
    return BadInput("file", file, f"{file} {reason}.")


def _table(name: str, lines: Iterator[tuple[int, list[Any]]], sheet: SheetMap) -> Table:
    first = next(((n, cells) for n, cells in lines if not _blank(cells)), None)
    if first is None:
        raise _bad(name, "is empty; it must hold a line of headings and a line for each row")
    heading = tuple(str(c).strip() if c is not None else "" for c in first[1])
    _check_heading(name, first[0], heading, sheet)
    rows: list[tuple[int, dict[str, Any]]] = []
    for number, cells in lines:
        if _blank(cells):
            continue
        if len(cells) > len(heading) and not _blank(cells[len(heading) :]):
            raise _bad(
                f"{name}, line {number}",
                f"has {len(cells)} cells where the headings have {len(heading)}; is a comma in a "
                "number or text, without quotes around it?",
            )
        if len(rows) == MOST_ROWS:
            raise _bad(name, f"has more than {MOST_ROWS} rows; split it")
        rows.append((number, dict(zip(heading, cells, strict=False))))
    return Table(name, heading, tuple(rows))


def _blank(cells: list[Any]) -> bool:
    return all(c is None or (isinstance(c, str) and not c.strip()) for c in cells)


def _check_heading(name: str, line: int, heading: tuple[str, ...], sheet: SheetMap) -> None:
    wanted = [c for column in sheet.columns.values() for c in column.names]
    for column in dict.fromkeys(wanted):
        if column not in heading:
            there = ", ".join(h for h in heading if h)
            raise _bad(f"{name}, line {line}", f"has no column {column!r}; it has: {there}")
        if heading.count(column) > 1:
            raise _bad(f"{name}, line {line}", f"has the column {column!r} twice; rename one")


def _text_lines(path: Path, sheet: SheetMap) -> Iterator[tuple[int, list[Any]]]:
    text = _decoded(path, sheet.encoding)
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise _bad(sheet.file, f"is not text (line {line} has a zero byte); save it as CSV")
    delimiter = sheet.delimiter or _delimiter(sheet.file, text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        begins = 1
        for cells in reader:
            yield begins, list(cells)
            begins = reader.line_num + 1
    except csv.Error as error:
        raise _bad(f"{sheet.file}, line {reader.line_num}", f"cannot be read: {error}") from error


def _decoded(path: Path, encoding: str) -> str:
    raw = path.read_bytes()
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff") and encoding.startswith("utf-8"):
        raise _bad(path.name, 'is in UTF-16; save it as UTF-8, or say encoding = "utf-16"')
    try:
        return raw.decode("utf-8-sig" if encoding in ("utf-8", "utf-8-sig") else encoding)
    except LookupError as error:
        raise _bad(path.name, f"is mapped with encoding {encoding!r}, which is unknown") from error
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise _bad(
            path.name,
            f"is not {encoding.upper()} text: line {line} has the byte "
            f"0x{raw[error.start]:02x}; save it as UTF-8, or say its encoding in the mapping, such "
            'as encoding = "cp1252"',
        ) from error


def _delimiter(name: str, text: str) -> str:
    """The one that parts the headings; a tie goes to the semicolon, then the comma."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    best = max(_DELIMITERS, key=first.count)
    if first.count(best) == 0 and len(first) > 40:
        known = ", ".join(_NAMES.values())
        raise _bad(name, f"has no {known} between its headings; say delimiter in the mapping")
    return best


def _excel_lines(path: Path, sheet: SheetMap) -> Iterator[tuple[int, list[Any]]]:
    """Rows of a workbook. Whatever its reader trips over in a damaged file is the file's fault."""
    try:
        yield from _workbook_lines(path, sheet)
    except BadInput:
        raise
    except Exception as error:
        raise _bad(sheet.file, "is not an XLSX workbook; save it as XLSX or CSV") from error


def _workbook_lines(path: Path, sheet: SheetMap) -> Iterator[tuple[int, list[Any]]]:
    from openpyxl import load_workbook

    with zipfile.ZipFile(path) as packed:
        unpacked = sum(info.file_size for info in packed.infolist())
    if unpacked > MOST_UNPACKED_MB * 1_000_000:
        raise _bad(sheet.file, f"unpacks to {unpacked / 1e6:.0f} MB; split it")
    with (
        closing(load_workbook(path, read_only=True, data_only=True)) as values,
        closing(load_workbook(path, read_only=True, data_only=False)) as formulas,
    ):
        name = sheet.worksheet or values.sheetnames[0]
        if name not in values.sheetnames:
            there = ", ".join(values.sheetnames)
            raise _bad(sheet.file, f"has no worksheet {name!r}; it has: {there}")
        pairs = zip(
            values[name].iter_rows(values_only=True),
            formulas[name].iter_rows(values_only=True),
            strict=True,
        )
        for number, (cells, written) in enumerate(pairs, 1):
            _check_formulas(sheet.file, number, cells, written)
            yield number, list(cells)


def _check_formulas(
    name: str, number: int, cells: tuple[Any, ...], written: tuple[Any, ...]
) -> None:
    """A formula that was never calculated has no value; one in error is text such as #REF!."""
    for at, (value, source) in enumerate(zip(cells, written, strict=True), 1):
        formula = isinstance(source, str) and source.startswith("=")
        if formula and (value is None or (isinstance(value, str) and value.startswith("#"))):
            shown = "no value" if value is None else value
            raise _bad(
                f"{name}, line {number}",
                f"has a formula in column {at} with {shown}; open and save it in a spreadsheet "
                "program, or paste values",
            )
