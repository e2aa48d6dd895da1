"""A recall on paper and in sheets: the numbers are the book's, and text never becomes a formula."""

import csv
import io
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

import wareleaf.works.demo
from wareleaf.measure import BadInput
from wareleaf.reports.recall_files import csv_text, xlsx_bytes
from wareleaf.reports.recall_pdf import recall_pdf
from wareleaf.reports.recall_tables import NAMES, Table, table_of, tables, time_taken
from wareleaf.works.house import create_works
from wareleaf.works.import_sheets import import_sheets
from wareleaf.works.recall import recall
from wareleaf.works.recall_fault import Fault

DEMO = Path(wareleaf.works.demo.__file__).parent
NOW = datetime(2026, 4, 2, 12, 0, tzinfo=UTC)
BAD = ("=1+1", "+1", "-1", "@SUM(A1)", "\t=1", " =1+1", '=HYPERLINK("http://x")')


@pytest.fixture(scope="module")
def works(tmp_path_factory):
    made = create_works(tmp_path_factory.mktemp("recall") / "works", DEMO / "works.toml")
    ready = replace(made, clock=lambda: NOW)
    import_sheets(ready, "ilsa", DEMO / "sheets", DEMO / "sheets" / "mapping.toml")
    yield ready
    made.book.close()


@pytest.fixture(scope="module")
def found(works):
    return recall(works, Fault("source", "line-11"))


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages).split())


def test_the_paper_has_the_numbers_of_the_book(works, found):
    assert found.received
    said = text_of(recall_pdf(works, found))
    assert "Recall report" in said
    assert "Drill" not in said
    last = found.last
    for number in (
        f"{last.accounted * 100:.2f} %",
        f"{last.total_g / 1000:,.3f}",
        f"{last.in_stock_g / 1000:,.3f}",
        f"{last.shipped_g / 1000:,.3f}",
        f"{last.unexplained_g / 1000:,.3f}",
    ):
        assert number in said
    for row in found.received:
        for fact in (row.customer, row.phone, row.mail, row.lot_id, row.document):
            assert fact in said
    assert all(a.lot.lot_id in said for a in found.lots)
    for part in ("Mass balance", "What is unexplained", "Key data elements", "Cautions"):
        assert part in said
    assert "recall rules of your local authority come first" in said


def test_a_drill_says_so_on_every_page_with_the_time_taken(works, found):
    pdf = recall_pdf(works, found, drill=True, began=NOW - timedelta(minutes=75))
    pages = PdfReader(io.BytesIO(pdf)).pages
    assert all("Nothing is wrong with this leaf" in page.extract_text() for page in pages)
    assert "1 h 15 min" in text_of(pdf)


def test_a_lot_is_at_a_site_and_not_only_in_a_store(works, found):
    """Both works of the demo have a place of the name "store"."""
    assert any(a.lot.place == "store" for a in found.here)
    assert "Varrowmouth kelp works, store" in text_of(recall_pdf(works, found))


def test_a_long_word_is_broken_before_it_prints_over_its_neighbour(works, found):
    """60 letters do not fit a column of a seventh of A4; every letter is still there."""
    first, *others = found.received
    long = replace(first, document="X" * 60, mail="Y" * 60, customer="Z" * 60)
    said = recall_pdf(works, replace(found, received=(long, *others)))
    text = PdfReader(io.BytesIO(said)).pages[0].extract_text()
    for letter in "XYZ":
        pieces = [p for p in re.findall(f"{letter}+", text) if len(p) > 1]
        assert sum(map(len, pieces)) in (59, 60)  # the last letter may stand alone
        assert max(map(len, pieces)) < 30


def test_text_from_the_book_is_no_markup(works, found):
    rude = replace(found, fault_words='#strong[x] $a$ *b* "q" \\ <l>', notes=("#panic()",))
    said = text_of(recall_pdf(works, rude))
    assert "#strong[x] $a$ *b*" in said
    assert "#panic()" in said


def test_the_sheets_add_up_and_are_sortable(works, found):
    book = load_workbook(io.BytesIO(xlsx_bytes(tables(works, found), works.settings.zone)))
    assert len(book.sheetnames) == len(NAMES)
    for sheet in book:
        assert sheet.freeze_panes == "A2"
        assert sheet.max_row == 1 or sheet.auto_filter.ref == sheet.dimensions
    rows = {r[0]: r[1:] for r in book["Mass balance"].iter_rows(min_row=2, values_only=True)}
    entered, share = rows.pop("Entered with the fault"), rows.pop("Accounted for, %")
    for column in (0, 1):
        assert sum(r[column] for r in rows.values()) == pytest.approx(entered[column], abs=1e-9)
    assert share[1] == pytest.approx(found.last.accounted * 100.0, abs=1e-3)
    lots = book["Affected lots"]
    assert lots.max_row - 1 == len(found.lots)
    made = [c.value for c in lots["K"][1:]]
    assert all(isinstance(at, datetime) for at in made)
    assert "missing" in {c.value for row in book["Cooling"].iter_rows(min_row=2) for c in row}


@pytest.mark.parametrize("text", BAD)
def test_no_text_becomes_a_formula(works, text):
    table = Table("lots", "Rude", "", ("=A1", "Number"), ((text, -2.5),))
    zone = works.settings.zone
    sheet = load_workbook(io.BytesIO(xlsx_bytes([table], zone)))["Rude"]
    assert (sheet["A2"].data_type, sheet["A2"].value) == ("s", text)
    assert sheet["A1"].data_type == "s"
    assert sheet["A2"].quotePrefix == (not text.startswith(" "))
    assert (sheet["B2"].data_type, sheet["B2"].value) == ("n", -2.5)
    head, row = csv.reader(io.StringIO(csv_text(table, zone)))
    assert head[0] == "'=A1"
    assert row == [f"'{text}", "-2.5"]


def test_a_text_that_no_sheet_can_hold_is_cut_down_and_not_refused(works):
    table = Table("lots", "Long", "", ("What",), (("a\x07b" + "x" * 40_000,),))
    sheet = load_workbook(io.BytesIO(xlsx_bytes([table], works.settings.zone)))["Long"]
    assert sheet["A2"].value.startswith("abx")
    assert len(sheet["A2"].value) == 32_767  # the most a cell holds in the open workbook format


def test_one_table_by_name(works, found):
    rows = list(
        csv.reader(io.StringIO(csv_text(table_of(works, found, "received"), works.settings.zone)))
    )
    assert [r[5] for r in rows[1:]] == [r.lot_id for r in found.received]
    assert datetime.fromisoformat(rows[1][7]) == found.received[0].shipped_at
    for name in NAMES:
        assert table_of(works, found, name).name == name
    with pytest.raises(BadInput, match="table is 'all'"):
        table_of(works, found, "all")


@pytest.mark.parametrize(
    ("seconds", "words"), [(0.2, "0 min 00 s"), (59.6, "1 min 00 s"), (7261.0, "2 h 01 min")]
)
def test_time_as_people_say_it(seconds, words):
    assert time_taken(seconds) == words
