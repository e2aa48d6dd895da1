"""A full disk, a locked or read-only file: nothing half-written, one sentence that says so."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import tempfile
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.book.book_makers import NOW, intake
from tests.store.small_disk import DISKS, MemoryDisk

from wareleaf import store
from wareleaf.cli.main import cli
from wareleaf.measure import BadInput
from wareleaf.store import engine as engines
from wareleaf.store import last_seen
from wareleaf.works import demo
from wareleaf.works.house import create_works

SETTINGS = Path(demo.__file__).parent / "works.toml"


@pytest.fixture(params=DISKS, ids=lambda d: d.__name__)
def disk(request, tmp_path):
    made = request.param(tmp_path / "disk")
    yield made
    made.close()


def test_an_append_that_does_not_fit_says_it_was_not_saved(disk):
    path = disk.folder / "book.db"
    with store.open_book(path) as opened:
        opened.append(intake("i", "K"), now=NOW)
        with disk.full():
            for many in (1, 500):
                with pytest.raises(store.BookUnavailable) as caught:
                    opened.append_many([intake(f"x{n}", f"X{n}") for n in range(many)], now=NOW)
                words = str(caught.value)
                assert "nothing of this was recorded" in words and "disk" in words
                assert "\n" not in words
            with pytest.raises(store.BookUnavailable, match="nothing of this was recorded"):
                opened.settings_put("big", "x" * 100_000)
            with pytest.raises(store.BookUnavailable), opened.draft() as draft:
                draft.append_many([intake(f"d{n}", f"D{n}") for n in range(200)], now=NOW)
            assert [r.event.event_id for r in opened.events()] == ["i"], "it can still be read"
        opened.append(intake("j", "L"), now=NOW)
        assert [r.event.event_id for r in opened.events()] == ["i", "j"]
        assert opened.verify().ok
    with store.open_book(path, create=False) as again:
        assert (again.verify().ok, again.verify().events) == (True, 2)


def test_a_full_disk_when_the_process_is_killed_at_once(disk):
    """What was acknowledged before is there; nothing of the refused entry is."""
    path = disk.folder / "book.db"
    child = os.fork()
    if child == 0:
        opened = store.open_book(path)
        for n in range(20):
            opened.append(intake(f"i{n}", f"K{n}"), now=NOW)
        try:
            with disk.full():
                opened.append_many([intake(f"x{n}", f"X{n}") for n in range(500)], now=NOW)
        except store.BookUnavailable:
            os.kill(os.getpid(), 9)
        os._exit(1)
    assert os.WTERMSIG(os.waitpid(child, 0)[1]) == 9
    with store.open_book(path, create=False) as again:
        assert again.verify().ok
        assert len(again.events()) == 20


def test_a_backup_onto_a_full_disk_leaves_nothing_that_looks_like_one(disk, tmp_path):
    works = create_works(tmp_path / "works", SETTINGS)
    works.book.append_many([intake(f"x{n}", f"X{n}") for n in range(300)], now=NOW)
    target = disk.folder / "backup"
    argv = ["backup", str(target), "--works", str(tmp_path / "works")]
    refused(disk, argv, target)
    done = CliRunner().invoke(cli, argv)
    works.book.close()
    assert done.exit_code == 0, done.output
    assert sorted(p.name for p in target.iterdir()) == ["book.db", "works.toml"]
    back, saved = disk.folder / "back", disk.folder / "saved"
    refused(disk, ["restore", str(target), str(back)], back)
    refused(disk, ["salvage", str(tmp_path / "works"), str(saved)], saved)


def refused(disk, argv, target):
    with disk.full():
        done = CliRunner().invoke(cli, argv)
    assert isinstance(done.exception, SystemExit), done.exception
    assert done.exit_code in (1, 2)
    assert any(w in done.output for w in ("disk", "No space left", "too large")), done.output
    said = ("not made", "no copy was made", "cannot be made", "cannot be opened")
    assert any(words in done.output for words in said), done.output
    assert not target.exists() or not list(target.iterdir())


def test_a_new_works_on_a_full_disk_leaves_none_behind(disk):
    with disk.full(), pytest.raises((BadInput, OSError)) as caught:
        create_works(disk.folder / "works", SETTINGS)
    assert "disk" in str(caught.value) or isinstance(caught.value, OSError)
    assert not (disk.folder / "works" / "works.toml").exists()
    create_works(disk.folder / "works", SETTINGS).book.close()


if MemoryDisk in DISKS:

    @pytest.mark.postgres
    def test_a_full_disk_of_the_server(postgres, tmp_path):
        """The tables of the book lie on a small disk of their own (a tablespace)."""
        import psycopg

        disk = MemoryDisk(postgres.folder / "small", 4)
        try:
            space = disk.folder / "space"
            space.mkdir()
            subprocess.run(["chown", "-R", "postgres", str(disk.folder)], check=True, timeout=20)
            url = postgres.new_database()
            with psycopg.connect(url.partition("?")[0], autocommit=True) as connection:
                connection.execute(f"CREATE TABLESPACE small LOCATION '{space}'")
            with store.open_book(f"{url}%20-cdefault_tablespace%3Dsmall") as opened:
                opened.append(intake("i", "K"), now=NOW)
                with disk.full(), pytest.raises(store.BookUnavailable) as caught:
                    for part in range(20):
                        many = [intake(f"x{part}-{n}", f"X{part}-{n}") for n in range(500)]
                        opened.append_many(many, now=NOW)
                assert "nothing of this was recorded: the disk is full" in str(caught.value)
                opened.append(intake("j", "L"), now=NOW)
                report = opened.verify()
                assert report.ok, report.message
                assert (report.events - 2) % 500 == 0, "all or nothing"
            with psycopg.connect(url.partition("?")[0], autocommit=True) as connection:
                schema = url.rpartition("%3D")[2]
                connection.execute(f"DROP SCHEMA {schema} CASCADE")
                connection.execute("DROP TABLESPACE small")
        finally:
            disk.close()


def test_a_file_locked_for_long(tmp_path, monkeypatch):
    path = tmp_path / "book.db"
    monkeypatch.setattr(engines, "BUSY_MS", 200)
    with store.open_book(path) as opened:
        opened.append(intake("i", "K"), now=NOW)
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(store.BookUnavailable, match="another program has kept it locked"):
                opened.append(intake("j", "L"), now=NOW)
            assert len(opened.events()) == 1, "reading goes on"
            other.execute("ROLLBACK")
        opened.append(intake("j", "L"), now=NOW)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode=EXCLUSIVE").fetchall()
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(BadInput, match="cannot be opened: another program has kept it locked"):
            store.open_book(path)


@pytest.mark.parametrize("folder_mode", [0o777, 0o555])
def test_a_book_that_may_only_be_read(folder_mode):
    """Root may write everything, so a child that is nobody tries."""
    folder = Path(tempfile.mkdtemp())
    try:
        path = folder / "book.db"
        with store.open_book(path) as opened:
            opened.append(intake("i", "K"), now=NOW)
        path.chmod(0o444)
        last_seen.beside(path).chmod(0o444)
        folder.chmod(folder_mode)
        read, out = os.pipe()
        child = os.fork()
        if child == 0:
            words = "it was written"
            try:
                if os.geteuid() == 0:
                    os.setgid(65534)
                    os.setuid(65534)
                with store.open_book(path, create=False) as opened:
                    assert opened.lot("K").mass_g == 1_000_000
                    opened.append(intake("j", "L"), now=NOW)
            except BaseException as error:
                words = f"{type(error).__name__}: {error}"
            finally:
                os.write(out, words.encode())
                os._exit(0)
        os.close(out)
        with os.fdopen(read) as pipe:
            words = pipe.read()
        os.waitpid(child, 0)
        if folder_mode == 0o777:
            assert words.startswith("BookUnavailable: The book could not be written; nothing of")
            assert "it may only be read here; give the account that runs Wareleaf" in words
        else:
            assert words.startswith("BadInput: The book at ")
            assert "the account that runs Wareleaf" in words and "write" in words
    finally:
        folder.chmod(0o700)
        shutil.rmtree(folder)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda p: p.mkdir(), "is a folder; name the file of the book"),
        (lambda p: p.write_bytes(b"%PDF-1.7 " * 400), "it is another kind of file"),
        (lambda p: p.write_bytes(b"\0" * 8192), "it is another kind of file"),
        (lambda p: sqlite3.connect(p).execute("CREATE TABLE t (a)"), "There is no book in"),
    ],
)
def test_what_is_no_book_is_said(tmp_path, make, words):
    make(tmp_path / "book.db")
    with pytest.raises(BadInput) as caught:
        store.open_book(tmp_path / "book.db", create=False)
    assert words in str(caught.value)


def test_a_works_without_its_book_is_not_begun_anew(tmp_path):
    works = create_works(tmp_path / "works", SETTINGS)
    works.book.append(intake("i", "K"), now=NOW)
    works.book.close()
    (tmp_path / "works" / "book.db").unlink()
    for left in ("book.db-head", "none"):
        done = CliRunner().invoke(cli, ["day", "--works", str(tmp_path / "works")])
        assert done.exit_code == 2
        assert "book.db" in done.output and "Traceback" not in done.output
        assert not (tmp_path / "works" / "book.db").exists()
        (tmp_path / "works" / left).unlink(missing_ok=True)
