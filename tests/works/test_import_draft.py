"""A draft: jobs inside it see what it recorded, and it stands or falls as a whole."""

from datetime import UTC, datetime

import pytest

from wareleaf.book import Event, Made
from wareleaf.store import open_book

NOW = datetime(2026, 4, 12, 12, 0, tzinfo=UTC)


def intake(lot_id: str) -> Event:
    made = Made(lot_id, "sugar_kelp_raw", "fresh", "landing", 1000, 140, 2.0, 1.0)
    return Event("", "intake", NOW, NOW, "kelp", outputs=(made,))


def test_a_draft_stands_when_it_ends_well(tmp_path):
    with open_book(tmp_path / "book.db") as book:
        with book.draft() as draft:
            draft.append(intake("K-1"), now=NOW)
            assert draft.lot("K-1").mass_g == 1000
            draft.append(intake("K-2"), now=NOW)
            assert not book.lots()  # nobody else sees it yet
        assert {lot.lot_id for lot in book.lots()} == {"K-1", "K-2"}
        assert book.verify().ok


def test_a_draft_that_fails_leaves_nothing(tmp_path):
    with open_book(tmp_path / "book.db") as book:
        first = book.next_id("K", NOW.date())
        with pytest.raises(RuntimeError), book.draft() as draft:
            draft.append(intake("K-1"), now=NOW)
            second = draft.next_id("K", NOW.date())
            raise RuntimeError
        assert book.events() == []
        assert first != second
        assert book.next_id("K", NOW.date()) == second  # its numbers are free again
        assert book.verify().ok


def test_a_refused_event_leaves_the_rest_of_the_draft(tmp_path):
    with open_book(tmp_path / "book.db") as book:
        with book.draft() as draft:
            draft.append(intake("K-1"), now=NOW)
            with pytest.raises(ValueError, match="already used"):
                draft.append(intake("K-1"), now=NOW)
            draft.append(intake("K-2"), now=NOW)
        assert len(book.events()) == 2
        assert book.verify().ok
