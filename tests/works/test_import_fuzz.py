"""Whatever stands in a sheet, the answer is a table, a value or one sentence; never a crash."""

import zipfile
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wareleaf.measure import BadInput
from wareleaf.works.sheets.cells import BadCell, Style, number, read_cell, read_time
from wareleaf.works.sheets.mapping import SheetMap
from wareleaf.works.sheets.tables import read_table

STYLE = Style(".", "%Y-%m-%d %H:%M", ZoneInfo("Atlantic/Azores"), datetime(2026, 5, 1, tzinfo=UTC))
SHEET = {"job": "reading", "columns": {"lot": "L", "at": "T", "value": "V", "meter": "M"}}
QUICK = settings(
    deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@QUICK
@given(st.binary(max_size=400))
def test_any_bytes_as_csv(tmp_path, content):
    (tmp_path / "a.csv").write_bytes(content)
    try:
        read_table(tmp_path, SheetMap.model_validate({**SHEET, "file": "a.csv"}))
    except BadInput as error:
        assert "a.csv" in str(error)


@QUICK
@given(st.text(alphabet='LTVM;,"\n\r\t 1x\x00', max_size=80))
def test_any_text_under_good_headings(tmp_path, text):
    (tmp_path / "a.csv").write_bytes(b"L;T;V;M\n" + text.encode())
    try:
        found = read_table(tmp_path, SheetMap.model_validate({**SHEET, "file": "a.csv"}))
    except BadInput as error:
        assert "a.csv" in str(error)
    else:
        assert [line for line, _ in found.rows] == sorted({line for line, _ in found.rows})


@QUICK
@given(st.binary(max_size=200), st.sampled_from(["xl/workbook.xml", "[Content_Types].xml", "x"]))
def test_any_bytes_as_a_workbook(tmp_path, content, part):
    sheet = SheetMap.model_validate({**SHEET, "file": "a.xlsx"})
    (tmp_path / "a.xlsx").write_bytes(content)
    with pytest.raises(BadInput):
        read_table(tmp_path, sheet)
    with zipfile.ZipFile(tmp_path / "a.xlsx", "w") as packed:
        packed.writestr(part, content)
    with pytest.raises(BadInput):
        read_table(tmp_path, sheet)


CELL = st.one_of(
    st.text(max_size=12),
    st.text(alphabet="0123456789.,-+eE %kgC", max_size=12),
    st.floats(),
    st.integers(),
    st.datetimes(),
    st.times(),
    st.booleans(),
)


@QUICK
@given(CELL, st.sampled_from([".", ","]))
def test_any_cell_as_a_number(cell, decimal):
    try:
        found = number(cell, Style(decimal, "", STYLE.zone, STYLE.now))
    except BadCell:
        return
    assert abs(found) <= 1e12


@QUICK
@given(CELL, st.sampled_from(["mass", "percent", "warmth", "shown", "list", "text"]))
def test_any_cell_as_any_kind(cell, kind):
    try:
        read_cell(kind, [cell], "", STYLE)
    except BadCell:
        return


@QUICK
@given(st.one_of(st.datetimes().map(lambda t: [t]), st.lists(CELL, min_size=1, max_size=2)))
def test_any_cells_as_a_time(cells):
    try:
        found = read_time(cells, STYLE)
    except BadCell:
        return
    assert found <= STYLE.now
    assert found.astimezone(UTC).astimezone(STYLE.zone) == found
