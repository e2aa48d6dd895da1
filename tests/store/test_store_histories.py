"""The stored tables equal a fresh fold after any history, corrections among them."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from tests.book.book_makers import NOW, at
from tests.book.test_book_conservation import STEPS, history

from wareleaf import book, store
from wareleaf.store import genealogy


@pytest.fixture(autouse=True)
def small_parts(monkeypatch):
    """So that short histories fill many parts of the genealogy."""
    monkeypatch.setattr(genealogy, "PART_EVENTS", 3)


def compare(place, events, state):
    with store.open_book(place) as opened:
        for e in events:
            opened.append(e, now=NOW)
            if e.outputs:
                opened.trace_back(e.outputs[0].lot_id)  # keeps the genealogy up all the while
        assert opened.verify().ok
        assert {x.lot_id: x for x in opened.lots()} == state.lots
        assert sorted(opened.events_in_force(), key=lambda e: e.event_id) == sorted(
            state.events, key=lambda e: e.event_id
        )
        start, end = at(-2), NOW
        assert opened.balance(start, end) == book.balance(events, state.lots, start, end)
        assert opened.unbalanced() == book.unbalanced(events, state.lots)
        same_traces(opened, state)
    with store.open_book(place) as again:  # from the parts alone
        same_traces(again, state)


def same_traces(opened, state):
    edges = [x for e in state.events for x in book.edges_of(e)]
    for lot in list(state.lots.values())[-3:]:
        ours = opened.trace_back(lot.lot_id)
        plain = book.trace_back(edges, lot.lot_id, lot.dry_g)
        assert [(n.lot_id, n.level, n.end) for n in ours.nodes] == [
            (n.lot_id, n.level, n.end) for n in plain.nodes
        ]
        assert [n.dry_g for n in ours.nodes] == pytest.approx([n.dry_g for n in plain.nodes])
        ends = {n.lot_id: n.share for n in plain.ends}
        assert {n.lot_id: n.share for n in ours.ends} == pytest.approx(ends)


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
