"""Backup and restore, between files and servers."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from tests.book.book_makers import NOW, intake
from tests.store.test_store_book import DAY, tamper

from wareleaf import store
from wareleaf.measure import BadInput


def filled(where):
    opened = store.open_book(where)
    opened.append_many(DAY, now=NOW)
    opened.set_person("ada", "Ada Skerry", "manager")
    opened.settings_put("sites", ["skerry", "glen"])
    return opened


def everything(opened):
    return (opened.events(), opened.lots(), opened.runs(), opened.people(), opened.tree_root())


def test_a_backup_is_one_file_with_everything(where, tmp_path):
    with filled(where) as opened:
        report = store.backup(where, tmp_path / "copy.db")
        assert (report.ok, report.events) == (True, 8)
        assert sorted(p.name for p in tmp_path.glob("copy*")) == ["copy.db"]
        with store.open_book(tmp_path / "copy.db", create=False) as copy:
            assert everything(copy) == everything(opened)
            assert copy.settings_get("sites") == ["skerry", "glen"]


def test_a_backup_is_taken_while_the_book_is_written(tmp_path):
    path = tmp_path / "book.db"
    with filled(path) as opened:
        opened.append(intake("late", "LATE", minute=450), now=NOW)  # still in the write-ahead log
        assert store.backup(path, tmp_path / "copy.db").events == 9


def test_a_backup_comes_back(where, tmp_path):
    source = tmp_path / "source.db"
    with filled(source) as opened:
        store.backup(source, tmp_path / "copy.db")
        target = where + ".back" if "://" not in where else where
        assert store.restore(tmp_path / "copy.db", target).ok
        with store.open_book(target, create=False) as back:
            assert everything(back) == everything(opened)
            back.append(intake("next", "NEXT", minute=450), now=NOW)
            assert back.verify().ok


def test_neither_overwrites(where, tmp_path):
    source = tmp_path / "source.db"
    filled(source).close()
    store.backup(source, tmp_path / "copy.db")
    with pytest.raises(BadInput, match="a backup never overwrites"):
        store.backup(source, tmp_path / "copy.db")
    filled(where).close()
    with pytest.raises(BadInput, match=r"exists already|has 8 events already"):
        store.restore(tmp_path / "copy.db", where)


def test_a_damaged_book_makes_no_backup(tmp_path):
    source = tmp_path / "source.db"
    with filled(source) as opened:
        tamper(opened, "UPDATE event SET body = replace(body, '54000', '53000') WHERE sequence = 7")
        with pytest.raises(BadInput, match=r"does not verify: Event 7 \(e7\) was changed"):
            store.backup(source, tmp_path / "copy.db")
    assert not (tmp_path / "copy.db").exists()
    with pytest.raises(BadInput, match="There is no book"):
        store.backup(tmp_path / "none.db", tmp_path / "copy.db")


def test_a_corrupted_page_is_said(tmp_path):
    source = tmp_path / "source.db"
    with filled(source) as opened, opened.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    data = bytearray(source.read_bytes())
    place = data.find(b'"document"')
    assert place > 0
    data[place : place + 10] = b'"dacument"'
    source.write_bytes(data)
    with store.open_book(source, create=False) as opened:
        report = opened.verify()
        assert not report.ok
        assert report.first_bad_sequence is not None
        assert isinstance(opened.engine, sa.Engine)
