"""Verifying on a real PostgreSQL compares indexes with tables; on both, every derived table."""

from __future__ import annotations

from contextlib import contextmanager

import pytest
import sqlalchemy as sa
from tests.book.book_makers import NOW, correction, event, hold, intake, made, start

from wareleaf import store
from wareleaf.store import index_check, schema

EVENTS = [
    intake("i1", "K1", 1000, 100, minute=0),
    intake("i2", "K2", 1000, 100, minute=0),
    start("s", "R", ["K1"], 1),
    event("x", "combine", 5, inputs=[("K1", 10, 1), ("K2", 10, 1)], outputs=[made("X", 20, 2)]),
    hold("h", "X", "sand", 7),
    correction("c", "h", 9, happened=7, facts={"lot_id": "K2", "event_reason": "sand"}),
]
LATER = [intake("i3", "K3", 1000, 100, minute=10), hold("h2", "K3", "oil", 11)]


@pytest.fixture
def served(postgres):
    with store.open_book(postgres.new_database()) as opened:
        opened.append_many(EVENTS, now=NOW)
        yield opened


@contextmanager
def not_kept_up(opened, index, table):
    """The server leaves out an index while rows are written, as after a crash without syncing."""

    def say(word):
        with opened.engine.begin() as connection:
            connection.exec_driver_sql(
                f"UPDATE pg_index SET indisready = {word}, indislive = {word} "
                f"WHERE indexrelid = '{index}'::regclass"
            )
            connection.exec_driver_sql(f"ALTER TABLE {table} SET (fillfactor = 100)")  # look again

    say("false")
    yield
    say("true")


@pytest.mark.postgres
def test_every_index_of_every_table_is_read_in_its_own_order(served):
    """The plan names the index itself, so that it is compared and not another."""
    with served.engine.connect() as connection:
        found = index_check.indexes(connection)
        assert {i.table for i in found} >= {t.name for t in schema.metadata.sorted_tables}
        assert {i.name for i in found} >= {x.name for t in schema.metadata.sorted_tables
                                           for x in t.indexes}  # fmt: skip
        for index in found:
            assert index_check.plan_of(connection, index) == index.name.split(".")[-1]
        assert list(index_check.index_troubles(connection)) == []
    assert served.verify().ok


@pytest.mark.postgres
@pytest.mark.parametrize(
    ("index", "table", "counts"),
    [
        ("event_by_kind", "event", "6 rows in it, 8 in the table"),
        ("lot_by_status", "lot", "in it, 4 in the table"),
        ("touch_pkey", "touch", "rows in it"),
    ],
)
def test_an_index_that_lacks_rows_is_named(served, index, table, counts):
    with not_kept_up(served, index, table):
        served.append_many(LATER, now=NOW)
    report = served.verify()
    assert not report.ok
    assert f"The index {index} does not hold what the table {table} holds" in report.message
    assert counts in report.message
    assert f"REINDEX INDEX {index}" in report.message
    assert report.first_bad_sequence is None
    with served.engine.begin() as connection:
        connection.exec_driver_sql(f"REINDEX INDEX {index}")
    assert served.verify().ok


@pytest.mark.postgres
def test_an_index_in_another_order_is_named(served):
    """As after a system's rules of sorting changed: the same rows, but K1 stands where it stood."""
    with served.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE lot SET place = lower(lot_id)")
    with not_kept_up(served, "lot_by_place", "lot"), served.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE lot SET place = 'z' WHERE lot_id = 'K1'")
    with served.engine.connect() as connection:
        (told,) = index_check.index_troubles(connection)
    assert "lot_by_place of the table lot is not in the order that the server sorts by" in told


@pytest.mark.postgres
def test_an_index_that_was_not_built_to_its_end_is_named(served):
    with served.engine.begin() as connection:
        connection.exec_driver_sql(
            "UPDATE pg_index SET indisvalid = false WHERE indexrelid = 'edge_down'::regclass"
        )
    assert "The index edge_down was never built to its end" in served.verify().message


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("DELETE FROM touch WHERE lot_id = 'K2' AND sequence = 4", "see event 4 and K2"),
        ("DELETE FROM touch WHERE lot_id = 'X' AND sequence = 5", "see event 5 and X"),
        ("INSERT INTO touch (lot_id, sequence) VALUES ('X', 1)", "see event 1 and X"),
        ("UPDATE lot SET pallets = '{\"1\":5}' WHERE lot_id = 'X'", "table of lots"),
        ("UPDATE lot SET away = '{\"c\":[1,1]}' WHERE lot_id = 'X'", "table of lots"),
        ("UPDATE edge SET share = 0.4 WHERE parent = 'K1'", "table of edges"),
        ("DELETE FROM edge WHERE parent = 'K1'", "table of edges"),
        ("UPDATE run SET equipment = 'other'", "table of runs"),
        ("DELETE FROM run", "table of runs"),
    ],
)
def test_each_derived_table_is_compared_with_the_events(kept, change, words):
    kept.append_many(EVENTS, now=NOW)
    assert kept.verify().ok
    with kept.engine.begin() as connection:
        connection.execute(sa.text(change.replace(":", "\\:")))
    report = kept.verify()
    assert (report.ok, report.lots_match) == (False, False)
    assert words in report.message


def test_a_book_that_lacks_what_a_correction_put_in_place_still_verifies(kept):
    """Older books noted a correction only in the histories of the lots that it names itself."""
    kept.append_many(
        [*EVENTS[:3], correction("c", "s", 30, happened=1, facts=start("", "R", ["K2"]).facts)],
        now=NOW,
    )
    with kept.engine.begin() as connection:
        gone = connection.execute(sa.text("DELETE FROM touch WHERE sequence = 4 AND lot_id = 'K2'"))
        assert gone.rowcount == 1
    assert kept.verify().ok
