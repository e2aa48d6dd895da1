"""Files as works keep them: other encodings and delimiters, workbooks, and files that are none."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import openpyxl
import pytest

from wareleaf.measure import BadInput
from wareleaf.works.sheets import read_mapping
from wareleaf.works.sheets.cells import BadCell, Style, number, read_cell, read_time
from wareleaf.works.sheets.mapping import SheetMap
from wareleaf.works.sheets.tables import read_table

STYLE = Style(".", "%Y-%m-%d %H:%M", ZoneInfo("Atlantic/Azores"), datetime(2026, 5, 1, tzinfo=UTC))
SHEET = {
    "file": "a.csv",
    "job": "reading",
    "columns": {"lot": "Lot", "at": "When", "value": "Water", "meter": "Meter"},
}


def sheet(**more) -> SheetMap:
    return SheetMap.model_validate({**SHEET, **more})


def table(tmp_path, content: bytes, **more):
    (tmp_path / "a.csv").write_bytes(content)
    return read_table(tmp_path, sheet(**more))


def says(tmp_path, content: bytes, **more) -> str:
    with pytest.raises(BadInput) as caught:
        table(tmp_path, content, **more)
    return str(caught.value)


@pytest.mark.parametrize("delimiter", [";", ",", "\t", "|"])
def test_the_delimiter_is_told_from_the_headings(tmp_path, delimiter):
    text = delimiter.join(["Lot", "When", "Water", "Meter"]) + "\n"
    text += delimiter.join(["7", "2026-04-01 10:00", "10.4", "m"]) + "\n\n"
    found = table(tmp_path, text.encode())
    assert found.rows == (
        (2, {"Lot": "7", "When": "2026-04-01 10:00", "Water": "10.4", "Meter": "m"}),
    )


def test_a_byte_order_mark_and_blank_lines_do_not_count(tmp_path):
    found = table(tmp_path, "\ufeff\n\nLot;When;Water;Meter\n\n7;x;1;m\n".encode())
    assert found.heading == ("Lot", "When", "Water", "Meter")
    assert found.rows[0][0] == 5


def test_a_quoted_line_break_keeps_the_line_numbers_right(tmp_path):
    found = table(tmp_path, b'Lot;When;Water;Meter\n"a\nb";x;1;m\n8;x;1;m\n')
    assert [line for line, _ in found.rows] == [2, 4]


def test_another_encoding_is_told_by_line_and_byte_and_can_be_named(tmp_path):
    content = "Lot;When;Water;Meter\nBrücke;x;1;m\n".encode("cp1252")
    assert "line 2 has the byte 0xfc" in says(tmp_path, content)
    assert table(tmp_path, content, encoding="cp1252").rows[0][1]["Lot"] == "Brücke"
    assert "UTF-16" in says(tmp_path, "Lot;When;Water;Meter\n".encode("utf-16"))
    assert "is unknown" in says(tmp_path, content, encoding="klingon")


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "a.csv is empty; it must hold a line of headings"),
        (b" \n\n", "a.csv is empty"),
        (b"Lot;When;Water\x00;Meter\n", "zero byte"),
        (b"Lot;When;Water;Meter;Water\n", "has the column 'Water' twice"),
        (b'Lot;When;Water;Meter\n"7;x;1;m\n', "cannot be read"),
    ],
)
def test_what_is_no_sheet_says_so(tmp_path, content, sentence):
    assert sentence in says(tmp_path, content)


def test_a_file_of_200_mb_is_refused_unread(tmp_path):
    with (tmp_path / "a.csv").open("wb") as file:
        file.truncate(200_000_000)  # a hole: takes no room on disk
    with pytest.raises(BadInput, match="has 200 MB; a sheet may have at most 50 MB"):
        read_table(tmp_path, sheet())


def test_a_sheet_outside_the_folder_is_refused(tmp_path):
    with pytest.raises(BadInput, match="plain file name"):
        read_table(tmp_path, sheet(file="../secret.csv"))
    with pytest.raises(BadInput, match="is not in"):
        read_table(tmp_path, sheet(file="none.csv"))


def workbook(path, rows, name="Sheet"):
    book = openpyxl.Workbook()
    book.active.title = name
    for row in rows:
        book.active.append(row)
    book.save(path)


HEAD = ["Lot", "When", "Water", "Meter"]


def test_a_workbook_is_read_with_its_own_types(tmp_path):
    at = datetime(2026, 4, 1, 10, 0)
    workbook(tmp_path / "a.xlsx", [HEAD, [4131, at, 10.4, "m"], [None] * 4], "April")
    found = read_table(tmp_path, sheet(file="a.xlsx", worksheet="April"))
    assert found.rows == ((2, {"Lot": 4131, "When": at, "Water": 10.4, "Meter": "m"}),)
    assert read_time([at], STYLE).isoformat() == "2026-04-01T10:00:00+00:00"
    assert read_cell("text", [4131.0], "", STYLE) == "4131"


def test_a_formula_that_was_never_calculated_is_refused(tmp_path):
    workbook(tmp_path / "a.xlsx", [HEAD, [7, "x", "=1+1", "m"]])
    with pytest.raises(BadInput, match="line 2 has a formula in column 3 with no value"):
        read_table(tmp_path, sheet(file="a.xlsx"))


def test_a_workbook_that_unpacks_to_too_much_is_refused(tmp_path, monkeypatch):
    workbook(tmp_path / "a.xlsx", [HEAD, [7, "x", 1, "m"]])
    monkeypatch.setattr("wareleaf.works.sheets.tables.MOST_UNPACKED_MB", 0.001)
    with pytest.raises(BadInput, match="unpacks to"):
        read_table(tmp_path, sheet(file="a.xlsx"))


def test_what_is_no_workbook_says_so(tmp_path):
    (tmp_path / "a.xlsx").write_bytes(b"Lot;When\n")
    with pytest.raises(BadInput, match="is not an XLSX workbook"):
        read_table(tmp_path, sheet(file="a.xlsx"))
    workbook(tmp_path / "b.xlsx", [HEAD], "April")
    with pytest.raises(BadInput, match="has no worksheet 'May'; it has: April"):
        read_table(tmp_path, sheet(file="b.xlsx", worksheet="May"))


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("12.5", ".", 12.5),
        ("12,5", ",", 12.5),
        ("1,012.5", ".", 1012.5),
        ("1.012,5", ",", 1012.5),
        ("1 012.5", ".", 1012.5),
        ("-3", ".", -3.0),
    ],
)
def test_numbers_as_they_are_written(text, decimal, value):
    assert number(text, Style(decimal, "", STYLE.zone, STYLE.now)) == value


@pytest.mark.parametrize("text", ["12,5", "1.2.3", "nan", "inf", "12 kg", "", "=2", "1e"])
def test_what_is_no_number_is_refused(text):
    with pytest.raises(BadCell):
        number(text, STYLE)


@pytest.mark.parametrize(
    ("kind", "cell", "unit", "value"),
    [
        ("mass", "40", "lb", 18.1436948),  # 1 lb = 0.45359237 kg by definition
        ("mass", "500 g", "kg", 0.5),
        ("percent", "12.5 %", "", 0.125),
        ("percent", "0.125", "fraction", 0.125),
        ("warmth", "176", "F", 80.0),
        ("warmth", "80 °C", "F", 80.0),
    ],
)
def test_units_of_a_column_and_of_a_cell(kind, cell, unit, value):
    assert read_cell(kind, [cell], unit, STYLE) == pytest.approx(value)


def mapping_says(tmp_path, text: str) -> str:
    path = tmp_path / "mapping.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(BadInput) as caught:
        read_mapping(path)
    return " ".join(p.message for p in caught.value.problems)


GOOD = """[[sheet]]
file = "a.csv"
job = "reading"
[sheet.columns]
at = "When"
value = { column = "Water", unit = "%" }
meter = "Meter"
"""


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('"reading"', '"leafing"', "sheet.0.job"),
        ('at = "When"', "", "at is missing (when it was read)"),
        ('meter = "Meter"', 'metre = "Meter"', "reading has no field metre"),
        ('unit = "%"', 'unit = "stone"', "unit is 'stone'; for value it must be kg or g"),
        ("[[sheet]]", "[[sheet]]\nwhoo = 1", "is not known here"),
        ("[[sheet]]", "[sheet", "is not TOML"),
    ],
)
def test_a_wrong_mapping_is_told_by_line_and_field(tmp_path, old, new, sentence):
    said = mapping_says(tmp_path, GOOD.replace(old, new))
    assert sentence in said
    assert "mapping.toml" in said


def test_an_unknown_field_points_at_its_line(tmp_path):
    text = GOOD + 'hue = "Colour"\n'
    assert "line 8, sheet.0" in mapping_says(tmp_path, text)
