"""Backup of a book to one SQLite file, and back. Taken while others read and write."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import sqlalchemy as sa

from wareleaf.measure.errors import BadInput, require
from wareleaf.store import engine as engines
from wareleaf.store import last_seen, schema
from wareleaf.store.troubles import BookUnavailable, reason
from wareleaf.store.verifying import VerifyReport, verify

_COPIED = ("event", "lot", "touch", "edge", "lineage", "run", "setting", "person", "counter")
_BATCH = 2000


def backup(where: str | Path, path: str | Path) -> VerifyReport:
    """Write a whole, checked copy of a book to a new file.

    Parameters
    ----------
    where : str or Path
        The book, a path or a URL.
    path : str or Path
        The file to write; it must not exist yet.

    Returns
    -------
    VerifyReport
        Of the copy. A copy that does not verify is removed and refused.

    Raises
    ------
    BookUnavailable
        When the disk is full or cannot be written; no half file is left.
    """
    target = Path(path)
    require(
        not target.exists(),
        "path",
        str(target),
        f"{target} exists already; a backup never overwrites, choose a new name.",
    )
    source = engines.connect(where, create=False)
    try:
        with finished(target) as part:
            if source.dialect.name == "sqlite":
                _copy_file(Path(str(source.url.database)), part)
            else:
                _copy_tables(source, part)
            return checked(part, target)
    finally:
        source.dispose()


def restore(path: str | Path, where: str | Path) -> VerifyReport:
    """Bring a backup back as a book, into a place where there is none.

    Parameters
    ----------
    path : str or Path
        The backup.
    where : str or Path
        Path or URL of the book to make; it must be empty.
    """
    source = engines.connect(path, create=False)
    try:
        url = engines.url_of(where)
        if url.get_backend_name() == "sqlite":
            target = Path(str(url.database))
            require_free(target)
            with finished(target) as part:
                _copy_file(Path(str(source.url.database)), part)
                return checked(part, target)
        return _restore_tables(source, where)
    finally:
        source.dispose()


def require_free(target: Path) -> None:
    """Refuse a place where a book lies, or a log that SQLite would take for the new book's own."""
    require(
        not target.exists(),
        "path",
        str(target),
        f"{target} exists already; restore to a new name, then swap the files.",
    )
    for name in ("-wal", "-shm", "-journal"):
        left = Path(f"{target}{name}")
        require(
            not left.exists(),
            "path",
            str(left),
            f"{left} was left by another book; move it away first, or choose a new folder.",
        )


@contextmanager
def finished(target: Path) -> Iterator[Path]:
    """A neighbour file that becomes the target only when all went well and it is on disk.

    Raises
    ------
    BookUnavailable
        When the disk does not take it, or the source cannot be read; nothing is left behind.
    """
    part = target.with_name(target.name + ".part")
    try:
        part.unlink(missing_ok=True)
        yield part
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        last_seen.beside(target).unlink(missing_ok=True)
        part.replace(target)
    except BookUnavailable as error:
        raise BookUnavailable(f"{target} was not made. {error}") from error
    except (sqlite3.Error, sa.exc.DBAPIError, OSError) as error:
        why = reason(error.orig if isinstance(error, sa.exc.DBAPIError) else error)
        raise BookUnavailable(f"{target} could not be written; no copy was made: {why}.") from error
    finally:
        for leftover in (part, Path(f"{part}-wal"), Path(f"{part}-shm")):
            leftover.unlink(missing_ok=True)


def _copy_file(source: Path, target: Path) -> None:
    with closing(sqlite3.connect(source)) as a, closing(sqlite3.connect(target)) as b:
        try:
            a.backup(b)
        except sqlite3.DatabaseError as error:
            if error.sqlite_errorcode & 0xFF not in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
                raise
            raise BookUnavailable(f"{source} cannot be copied: {reason(error)}.") from error
        b.execute("PRAGMA journal_mode=DELETE")  # one file, no side files


def checked(part: Path, target: Path) -> VerifyReport:
    """Verify a copy before it gets its name.

    Raises
    ------
    BadInput
        When it does not verify.
    """
    copy = engines.connect(part, create=False)
    try:
        with engines.reading(copy) as connection:
            report = verify(connection)
    finally:
        copy.dispose()
    with closing(sqlite3.connect(part)) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")
    if not report.ok:
        raise BadInput("path", str(target), f"The copy does not verify: {report.message}")
    return report


def _copy_tables(source: sa.Engine, target: Path) -> None:
    copy = engines.connect(target, create=True)
    try:
        with engines.reading(source) as a, engines.writing(copy) as b:
            _pour(a, b)
    finally:
        copy.dispose()


def _restore_tables(source: sa.Engine, where: str | Path) -> VerifyReport:
    target = engines.connect(where, create=True)
    try:
        with engines.reading(source) as a, engines.writing(target) as b:
            held = b.execute(sa.select(sa.func.count()).select_from(schema.event)).scalar_one()
            require(
                held == 0,
                "url",
                target.url.render_as_string(),
                f"The book there has {held} events already; restore into an empty one.",
            )
            _pour(a, b)
            report = verify(b)
            if not report.ok:
                raise BadInput("path", "", f"The backup does not verify: {report.message}")
            return report
    finally:
        target.dispose()


def _pour(a: sa.Connection, b: sa.Connection) -> None:
    for name in _COPIED:
        table = schema.metadata.tables[name]
        for part in a.execute(sa.select(table)).mappings().partitions(_BATCH):
            b.execute(sa.insert(table), [dict(r) for r in part])
