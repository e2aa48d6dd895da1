"""A draft: jobs inside it see what it recorded, and it stands or falls as a whole."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

import wareleaf.works.demo
from wareleaf.book import Event, Made
from wareleaf.store import open_book
from wareleaf.works.house import create_works
from wareleaf.works.import_sheets import import_sheets

DEMO = Path(wareleaf.works.demo.__file__).parent
NOW = datetime(2026, 4, 12, 12, 0, tzinfo=UTC)


def intake(lot_id: str) -> Event:
    made = Made(lot_id, "sugar_kelp_raw", "fresh", "landing", 1000, 140, 2.0, 1.0)
    return Event("", "intake", NOW, NOW, "kelp", outputs=(made,))


def test_a_draft_stands_when_it_ends_well(where):
    with open_book(where) as book:
        with book.draft() as draft:
            draft.append(intake("K-1"), now=NOW)
            assert draft.lot("K-1").mass_g == 1000
            draft.append(intake("K-2"), now=NOW)
            assert not book.lots()  # nobody else sees it yet
        assert {lot.lot_id for lot in book.lots()} == {"K-1", "K-2"}
        assert book.verify().ok


def test_a_draft_that_fails_leaves_nothing(where):
    with open_book(where) as book:
        first = book.next_id("K", NOW.date())
        with pytest.raises(RuntimeError), book.draft() as draft:
            draft.append(intake("K-1"), now=NOW)
            second = draft.next_id("K", NOW.date())
            raise RuntimeError
        assert book.events() == []
        assert first != second
        assert book.next_id("K", NOW.date()) == second  # its numbers are free again
        assert book.verify().ok


def test_a_refused_event_leaves_the_rest_of_the_draft(where):
    with open_book(where) as book:
        with book.draft() as draft:
            draft.append(intake("K-1"), now=NOW)
            with pytest.raises(ValueError, match="already used"):
                draft.append(intake("K-1"), now=NOW)
            draft.append(intake("K-2"), now=NOW)
        assert len(book.events()) == 2
        assert book.verify().ok


def test_a_draft_inside_a_draft_falls_alone(where):
    with open_book(where) as book:
        with book.draft() as draft:
            draft.append(intake("K-1"), now=NOW)
            with pytest.raises(RuntimeError), draft.draft() as step:
                step.append(intake("K-2"), now=NOW)
                raise RuntimeError
            draft.append(intake("K-3"), now=NOW)
        assert {lot.lot_id for lot in book.lots()} == {"K-1", "K-3"}
        assert [row.sequence for row in book.events()] == [1, 2]
        assert book.verify().ok


def test_the_example_sheets_go_into_either_database(where, tmp_path):
    made = create_works(tmp_path / "works", DEMO / "works.toml", where if "://" in where else "")
    works = replace(made, clock=lambda: NOW)
    shown = import_sheets(
        works, "ilsa", DEMO / "sheets", DEMO / "sheets/mapping.toml", preview=True
    )
    assert made.book.events() == []
    done = import_sheets(works, "ilsa", DEMO / "sheets", DEMO / "sheets/mapping.toml")
    assert (done.events, done.lots) == (shown.events, shown.lots) == (37, 14)
    assert made.book.verify().ok
    made.book.close()
