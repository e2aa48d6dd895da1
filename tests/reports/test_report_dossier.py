"""The dossier on paper: the same book gives the same bytes, and text stays text."""

import io
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pypdf import PdfReader

import wareleaf.works.demo
from wareleaf.measure import BadInput
from wareleaf.reports.dossier import dossier_pages, dossier_pdf
from wareleaf.works.handle_lot import hold
from wareleaf.works.house import create_works
from wareleaf.works.import_sheets import import_sheets
from wareleaf.works.take_in import Load, take_in

DEMO = Path(wareleaf.works.demo.__file__).parent
NOW = datetime(2026, 4, 2, 12, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def works(tmp_path_factory):
    made = create_works(tmp_path_factory.mktemp("paper") / "works", DEMO / "works.toml")
    ready = replace(made, clock=lambda: NOW)
    import_sheets(ready, "ilsa", DEMO / "sheets", DEMO / "sheets" / "mapping.toml")
    yield ready
    made.book.close()


def lot(works, own: str) -> str:
    return next(x.lot_id for x in works.book.lots() if x.attributes.get("own_number") == own)


def text_of(pdf: bytes) -> str:
    pages = PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(p.extract_text() for p in pages).split())


def test_it_has_every_part(works):
    said = text_of(dossier_pdf(works, lot(works, "4133")))
    for part in (
        "Where it came from",
        "What was done",
        "What was measured",
        "What was decided",
        "Balance and whereabouts",
        "What it rests on",
        "Cautions",
        "Seal of the book",
    ):
        assert part in said
    for fact in ("Holm Bight line 11", "QR-12", "Bex Orlay", "ICP-MS", "Southrim Pantry", "LR-771"):
        assert fact in said
    assert works.book.verify().head_hash in said.replace(" ", "")


def test_the_same_book_gives_the_same_bytes_and_bears_its_date(works):
    first = dossier_pdf(works, lot(works, "4131"))
    assert first == dossier_pdf(works, lot(works, "4131"))
    about = PdfReader(io.BytesIO(first)).metadata
    assert about.title == f"Dossier of lot {lot(works, '4131')}"
    head = works.book.events(limit=1, newest_first=True)[0].event.recorded_at
    assert about.creation_date == head.astimezone(UTC).replace(microsecond=0)


def test_markup_in_the_book_stays_text(works):
    nasty = '#panic("x") *bold* $y$ \\ ] } " <b> #include "/etc/passwd" @ref // rest'
    load = Load("line-01", 100.0, 0.0, "quay-scale", document=nasty, own_number=nasty[:40])
    _, made = take_in(works, "ilsa", load)
    hold(works, "ilsa", made.lot_id, nasty)
    said = text_of(dossier_pdf(works, made.lot_id)).replace(" ", "")
    assert nasty.replace(" ", "") in said


def test_a_fresh_lot_has_a_dossier_too(works):
    _, made = take_in(works, "ilsa", Load("line-02", 100.0, 0.0, "quay-scale"))
    said = text_of(dossier_pdf(works, made.lot_id))
    assert "Nothing yet: the lot is as it came" in said
    assert "No release and no hold has been signed" in said


def test_pages_come_as_pictures_too(works):
    pages = dossier_pages(works, lot(works, "5303"), ppi=40)
    assert len(pages) >= 3
    assert all(p.startswith(b"\x89PNG") for p in pages)


def test_an_unknown_lot_is_refused(works):
    with pytest.raises(BadInput, match="There is no lot"):
        dossier_pdf(works, "K-0")
