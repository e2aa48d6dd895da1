"""The page benchmark measures real pages of a works with leaf on its machines."""

import tempfile
from pathlib import Path

import pytest

from bench import __main__, bench_pages


def test_the_bench_lists_what_the_project_promises_to_measure():
    assert {"humid_air", "dryer", "trace", "pages"} <= set(__main__.names())


@pytest.mark.slow
def test_each_page_is_answered_and_timed(monkeypatch):
    monkeypatch.setattr(bench_pages, "REPEATS", 2)
    monkeypatch.setattr(bench_pages, "LOADS", 1)
    rows = bench_pages.run()
    assert [r.name for r in rows] == [f"page {n}" for n in ("day", "floor", "lots", "lot", "trace")]
    for row in rows:
        assert row.reference is not None
        assert 0.0 < row.reference < 1000.0
        assert 0.0 < row.ours < 5000.0


@pytest.mark.slow
def test_the_works_that_is_timed_has_leaf_on_two_machines_and_leaf_that_waits(monkeypatch):
    monkeypatch.setattr(bench_pages, "LOADS", 1)
    with tempfile.TemporaryDirectory() as folder:
        works, lot = bench_pages._small_works(Path(folder) / "works")
        assert {r.equipment for r in works.book.runs(open_only=True)} == {"bath-1", "belt-2"}
        assert works.book.lots(form="fresh", in_stock_only=True)
        assert works.book.lot(lot).form == "dried"
        works.book.close()
