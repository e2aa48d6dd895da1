"""The genealogy that is kept in memory and in parts says at any time what the events say."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
import sqlalchemy as sa
from tests.book.book_makers import NOW, correction, event, intake, made

from wareleaf import book, store
from wareleaf.measure import BadInput
from wareleaf.store import genealogy, schema


def source(n):
    return intake(f"i{n}", f"K{n}", 1000, 100 + n, n)


def blend(n, *parents):
    """Ten grams of dry matter from each of some lots."""
    return event(
        f"x{n}", "combine", 100 + n,
        inputs=[(p, 50, 10) for p in parents],
        outputs=[made(f"X{n}", 50 * len(parents), 10 * len(parents))],
    )  # fmt: skip


@pytest.fixture
def small_parts(monkeypatch):
    monkeypatch.setattr(genealogy, "PART_EVENTS", 4)


def parts(opened):
    with opened.engine.connect() as connection:
        return connection.execute(
            sa.select(schema.lineage.c.sequence).order_by(schema.lineage.c.sequence)
        ).scalars().all()  # fmt: skip


def above(trace):
    return {n.lot_id: pytest.approx(n.share) for n in trace.nodes}


@pytest.mark.usefixtures("small_parts")
def test_another_process_sees_what_was_recorded_since(where):
    with store.open_book(where) as one, store.open_book(where) as other:
        one.append_many([source(1), source(2), blend(1, "K1", "K2")], now=NOW)
        assert above(other.trace_back("X1")) == {"X1": 1, "K1": 0.5, "K2": 0.5}
        one.append_many([source(3), blend(2, "X1", "K3"), blend(3, "X2")], now=NOW)
        assert above(other.trace_back("X3")) == {
            "X3": 1, "X2": 1, "X1": 0.5, "K3": 0.5, "K1": 0.25, "K2": 0.25
        }  # fmt: skip
        assert {n.lot_id for n in other.trace_forward("K1").nodes} == {"K1", "X1", "X2", "X3"}
        assert parts(one) == [6]


@pytest.mark.usefixtures("small_parts")
def test_a_correction_says_anew_what_a_lot_was_made_of(where):
    with store.open_book(where) as opened:
        opened.append_many(
            [source(1), source(2), source(3), blend(1, "K1", "K2"), blend(2, "X1")], now=NOW
        )
        assert above(opened.trace_back("X2")) == {"X2": 1, "X1": 1, "K1": 0.5, "K2": 0.5}
        opened.append(
            correction(
                "c1",
                "x1",
                minute=300,
                happened=101,
                inputs=[("K1", 50, 10), ("K3", 50, 30)],
                outputs=[made("X1", 100, 20)],
            ),
            now=NOW,
        )
        right = {"X2": 1, "X1": 1, "K1": 0.25, "K3": 0.75}
        assert above(opened.trace_back("X2")) == right
        assert [n.lot_id for n in opened.trace_forward("K2").nodes] == ["K2"]
        opened.append_many([source(n) for n in range(4, 9)], now=NOW)  # a part with the correction
        assert parts(opened) == [5, 11]
        opened.append(correction("c2", "x2", minute=301, happened=0, void=True), now=NOW)
        assert opened.verify().ok
    with store.open_book(where) as again:
        assert above(again.trace_back("X1")) == {"X1": 1, "K1": 0.25, "K3": 0.75}
        assert [n.lot_id for n in again.trace_forward("X1").nodes] == ["X1"]
        with pytest.raises(BadInput, match="no lot X2"):
            again.shares(["X2"])
        assert again.verify().ok


@pytest.mark.usefixtures("small_parts")
def test_a_draft_that_is_given_up_leaves_nothing_behind(where):
    with store.open_book(where) as opened:
        opened.append_many([source(1), source(2), blend(1, "K1")], now=NOW)
        opened.trace_back("X1")
        with pytest.raises(RuntimeError, match="given up"), opened.draft() as draft:
            draft.append(blend(2, "X1", "K2"), now=NOW)
            assert above(draft.trace_back("X2")) == {"X2": 1, "X1": 0.5, "K1": 0.5, "K2": 0.5}
            raise RuntimeError("given up")
        assert opened.lots_below("K1") == ["X1"]
        opened.append(blend(3, "K2"), now=NOW)  # takes the sequence that the draft had
        assert opened.lots_below("K2") == ["X3"]
        assert opened.lots_above("X3") == ["K2"]


def test_another_book_in_the_place_of_the_first_is_noticed(where):
    """What is kept is known by the hash of its last event, not by its number alone."""
    with store.open_book(where) as opened:
        opened.append_many([source(1), source(2), blend(1, "K1"), blend(2, "X1")], now=NOW)
        stranger = book.Lineage.of_edges([book.Edge("K2", "X1", "x1", 1.0, 10.0, 10, 1.0)])
        for sequence in (3, 4, 99):
            opened._keeper.kept = genealogy.Kept(sequence, "0" * 64, stranger)
            assert opened.lots_above("X1") == ["K1"]


@pytest.mark.usefixtures("small_parts")
def test_threads_that_trace_while_one_records(where):
    with store.open_book(where) as opened:
        opened.append_many([source(0), blend(0, "K0")], now=NOW)

        def write():
            for n in range(1, 40):
                opened.append_many([source(n), blend(n, f"X{n - 1}", f"K{n}")], now=NOW)

        def ask(_):
            newest = next(k.lot_id for k in reversed(opened.lots()) if k.lot_id[0] == "X")
            trace = opened.trace_back(newest)
            return int(newest[1:]), len(trace.nodes), sum(n.share for n in trace.ends)

        with ThreadPoolExecutor(5) as pool:
            writing = pool.submit(write)
            found = list(pool.map(ask, range(60)))
            writing.result()
        for n, lots, whole in found:
            assert lots == 2 * (n + 1)
            assert whole == pytest.approx(1.0)
        assert opened.verify().ok


def test_shares_from_the_store(where):
    with store.open_book(where) as opened:
        opened.append_many(
            [*map(source, range(1, 5)), blend(1, "K1", "K2"), blend(2, "X1", "K3")], now=NOW
        )
        found = opened.shares(["K1", "K3", "K4"], ["X2", "X1"])
        assert found.part.tolist() == [[0.25, 0.5, 0.0], [0.5, 0.0, 0.0]]
        assert opened.shares(["K4", "K1"]).lots == ("K4", "X2")
        assert opened.share_together(["K1", "X1", "K4"]) == {
            "K1": 1.0, "X1": 1.0, "K4": 1.0, "X2": 0.5
        }  # fmt: skip
        with pytest.raises(BadInput, match="no lot K9"):
            opened.shares(["K1"], ["K9"])


@pytest.mark.usefixtures("small_parts")
def test_a_changed_part_is_found(where):
    with store.open_book(where) as opened:
        opened.append_many([source(1), source(2), blend(1, "K1", "K2"), blend(2, "X1")], now=NOW)
        assert opened.verify().ok
        with opened.engine.begin() as connection:
            connection.execute(sa.update(schema.lineage).values(shares=b"\0" * 24))
        assert "genealogy do not say" in opened.verify().message
        for harm in ({"shares": b"\0" * 21}, {"shares": b"\0" * 16}, {"lots": "["}):
            with opened.engine.begin() as connection:
                connection.execute(sa.update(schema.lineage).values(**harm))
            assert "where leaf came from cannot be read" in opened.verify().message
    with (
        store.open_book(where) as again,
        pytest.raises(store.BookUnavailable, match="where leaf came from cannot be read"),
    ):
        again.lots_above("X1")


def test_an_older_book_gets_its_parts_as_it_goes_on(where, monkeypatch):
    with store.open_book(where) as opened:
        opened.append_many([source(1), source(2), blend(1, "K1", "K2")], now=NOW)
        assert parts(opened) == []
        assert opened.lots_above("X1") == ["K1", "K2"]
        monkeypatch.setattr(genealogy, "PART_EVENTS", 4)
        opened.append(blend(2, "X1"), now=NOW)
        assert parts(opened) == [4]
    with store.open_book(where) as again:
        assert again.lots_above("X2") == ["X1", "K1", "K2"]
        assert again.verify().ok
