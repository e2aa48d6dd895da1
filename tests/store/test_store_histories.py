"""The stored tables equal a fresh fold after any history, corrections among them."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from tests.book.book_makers import NOW, at
from tests.book.test_book_conservation import STEPS, history

from wareleaf import book, store


def compare(place, events, state):
    with store.open_book(place) as opened:
        for e in events:
            opened.append(e, now=NOW)
        assert opened.verify().ok
        assert {x.lot_id: x for x in opened.lots()} == state.lots
        assert sorted(opened.events_in_force(), key=lambda e: e.event_id) == sorted(
            state.events, key=lambda e: e.event_id
        )
        start, end = at(-2), NOW
        assert opened.balance(start, end) == book.balance(events, state.lots, start, end)
        assert opened.unbalanced() == book.unbalanced(events, state.lots)
        edges = [x for e in state.events for x in book.edges_of(e)]
        for lot in list(state.lots.values())[-3:]:
            assert opened.trace_back(lot.lot_id).ends == (
                book.trace_back(edges, lot.lot_id, lot.dry_g).ends
            )


@pytest.mark.slow
@settings(deadline=None, max_examples=25, suppress_health_check=list(HealthCheck))
@given(STEPS)
def test_any_history_on_sqlite(steps):
    events, state = history(steps)
    with tempfile.TemporaryDirectory() as folder:
        compare(Path(folder) / "book.db", events, state)


@pytest.mark.slow
@pytest.mark.postgres
@settings(deadline=None, max_examples=8, suppress_health_check=list(HealthCheck))
@given(STEPS)
def test_any_history_on_postgres(postgres, steps):
    events, state = history(steps)
    compare(postgres.new_database(), events, state)
