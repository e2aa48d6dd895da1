"""Bad input at the store: one clear sentence, nothing written."""

from __future__ import annotations

from datetime import datetime

import pytest
from tests.book import test_book_rules as rules
from tests.book.book_makers import NOW, correction, intake, made, split

from wareleaf import book, store
from wareleaf.measure import BadInput


@pytest.fixture(scope="module")
def full(shared):
    shared.append_many(rules.BASE, now=NOW)
    return shared


def assert_refused(opened, bad, words, now=NOW):
    before = (opened.events(), opened.lots(), opened.runs())
    with pytest.raises(BadInput) as caught:
        opened.append(bad, now=now)
    assert words in str(caught.value)
    assert (opened.events(), opened.lots(), opened.runs()) == before


@pytest.mark.parametrize("name", rules.REFUSED)
def test_nothing_is_written(full, name):
    bad, _, words = rules.REFUSED[name]
    assert_refused(full, bad, words)


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (correction("x", "e2", void=True), "the split e3 would no longer hold"),
        (correction("x", "e99", void=True), "There is no event e99 to correct"),
        (
            correction("x", "e2", happened=10, outputs=[made("K2", 10, 1)]),
            "Lot K2 would be used twice over",
        ),
        (
            correction(
                "x", "e3", happened=10, inputs=[("K2b", 10, 1)], outputs=[made("K2b", 9, 1)]
            ),
            "made out of itself",
        ),
        (
            intake("x", "N", facts={"moisture": float("inf")}, minute=400),
            "give a finite number",
        ),
        (intake("x", "N", facts={"count": 2**60}, minute=400), "beyond 2**53"),
        (intake("x", "N", facts={"note": "\ud800"}, minute=400), "cannot be written as UTF-8"),
        (intake("x", "N\x00", minute=400), "without control characters"),
        (intake("x", "N" * 81, minute=400), "at most 80"),
    ],
)
def test_nothing_is_written_by_a_bad_correction_or_odd_data(full, bad, words):
    assert_refused(full, bad, words)


def test_a_correction_that_makes_a_cycle_is_refused(kept):
    kept.append_many(rules.BASE, now=NOW)
    kept.append(split("e7", "K2a", {"Q": (1000, 100)}, minute=400), now=NOW)
    ring = correction(
        "x",
        "e3",
        happened=400,
        inputs=[("Q", 1000, 100)],
        outputs=[made("K2a", 400_000, 40_000), made("K2b", 600_000, 60_000)],
    )
    assert_refused(kept, ring, "would be among its own ancestors")


def test_the_writers_own_clock_needs_a_zone(full):
    assert_refused(full, intake("x", "N"), "no time zone", now=datetime(2026, 6, 1))


def test_the_cheap_lots_still_match_after_many_refusals(full):
    for bad, _, _ in rules.REFUSED.values():
        with pytest.raises(BadInput):
            full.append(bad, now=NOW)
    assert full.verify().ok
    assert {x.lot_id: x for x in full.lots()} == book.fold(rules.BASE).lots


@pytest.mark.parametrize(
    ("where", "words"),
    [
        ("none/here/book.db", "folder none/here is missing"),
        ("mysql://x/y", "cannot hold a book"),
        ("sqlite://", "cannot hold a book"),
        (":// ", "is not a database URL"),
    ],
)
def test_a_place_that_cannot_hold_a_book(where, words):
    with pytest.raises(BadInput, match=words):
        store.open_book(where)


def test_a_file_that_is_no_book(tmp_path):
    with pytest.raises(BadInput, match="There is no book at"):
        store.open_book(tmp_path / "none.db", create=False)
    with pytest.raises(BadInput, match="is a folder"):
        store.open_book(tmp_path)
    path = tmp_path / "poem.db"
    path.write_text("Not a database, but a poem about kelp. " * 50)
    with pytest.raises(BadInput, match="cannot be opened: file is not a database"):
        store.open_book(path)
    assert path.read_text().startswith("Not a database"), "left as it was"


@pytest.mark.postgres
def test_a_server_that_is_not_there():
    with pytest.raises(BadInput, match="cannot be opened"):
        store.open_book("postgresql://nobody@127.0.0.1:1/none")
