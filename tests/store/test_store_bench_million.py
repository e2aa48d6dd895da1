"""The bench of a million edges on PostgreSQL, on a small book: loaded by COPY, or skipped."""

import pytest

from bench import bench_trace_million as million
from bench import bench_trace_million_postgres as served
from wareleaf import store


@pytest.fixture
def small(monkeypatch):
    """Twelve layers of 60 lots."""
    for name, value in (
        ("WIDTH", 60),
        ("LOTS", 720),
        ("EDGES", 2300),
        ("LAST", "L11-00030"),
        ("FIRST", "L00-00030"),
        ("SOURCES", [f"L00-{n:05d}" for n in range(0, 60, 3)]),
    ):
        monkeypatch.setattr(million, name, value)


@pytest.mark.postgres
def test_a_book_loaded_by_copy_is_the_one_that_was_written_on_sqlite(small, postgres, tmp_path):
    place, file = postgres.new_database(), str(tmp_path / "book.db")
    million.write(place, None, served._copy)
    served._settle(place)
    million.write(file, None, million._insert)
    with store.open_book(place) as one, store.open_book(file) as other:
        assert one.trace_back(million.LAST).nodes == other.trace_back(million.LAST).nodes
    rows = {r.name: r for r in million._traces(place, "worst", "connection", lambda: None)}
    assert rows["worst: difference in shares"].ours <= 1e-9
    assert rows["worst: back, cold connection, processor time"].ours > 0.0


def test_without_a_server_the_bench_says_so_and_gives_no_rows(monkeypatch, capsys):
    def none_here(**_):
        raise AssertionError("The PostgreSQL tests need initdb")

    monkeypatch.setattr(served, "Server", none_here)
    assert served.run() == []
    assert "skipped trace_million_postgres: The PostgreSQL tests need initdb" in (
        capsys.readouterr().err
    )
