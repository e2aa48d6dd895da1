"""What went wrong in the database, as one sentence that says what to do."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

HOW_TO_REPAIR = (
    "Stop the app, keep the damaged files as they are, and make a new works of what holds with: "
    "wareleaf salvage DAMAGED_FOLDER NEW_FOLDER --backup BACKUP"
)

_DISK_FULL = "the disk is full; make room on it, then try again"
_DAMAGED = f"its file is damaged: {{said}}. {HOW_TO_REPAIR}"
_READ_ONLY = (
    "it may only be read here; give the account that runs Wareleaf the right to write the file "
    "and its folder"
)
_DISK_FAULT = (
    "the disk gave an error ({said}); see that it is there, has room and is sound, then try again"
)
_AWAY = "the database server does not answer ({said}); start it or wait, then try again"
_LOCKED = "another program has kept it locked too long; close that program, then try again"

_SQLITE = {
    sqlite3.SQLITE_FULL: _DISK_FULL,
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_NOTADB: (
        "{said}; it is another kind of file, or a book whose beginning is damaged. "
        f"{HOW_TO_REPAIR}"
    ),
    sqlite3.SQLITE_BUSY: _LOCKED,
    sqlite3.SQLITE_LOCKED: _LOCKED,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_IOERR: _DISK_FAULT,
    sqlite3.SQLITE_CANTOPEN: (
        "its file cannot be opened ({said}); see that file and folder are there and that the "
        "account that runs Wareleaf may write both"
    ),
}
# PostgreSQL 15 manual, appendix A, error codes: a whole code or its class of two letters.
_POSTGRES = {
    "53100": _DISK_FULL,
    "25006": _READ_ONLY,
    "55P03": _LOCKED,
    "58030": _DISK_FAULT,
    "08": _AWAY,
    "57": _AWAY,
    "XX": _DAMAGED.replace("its file is", "the files of the server are"),
}


class BookUnavailable(RuntimeError):
    """The database cannot be read or written now; one sentence says why and what to do."""


def reason(error: BaseException | None) -> str:
    """Why a database refused, as the second half of a sentence.

    Parameters
    ----------
    error : Exception
        As the driver raised it.
    """
    said = " ".join(str(error).split()).rstrip(".") or type(error).__name__
    if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
        return _DISK_FULL
    code = getattr(error, "sqlite_errorcode", None)
    words = _SQLITE.get(code & 0xFF) if isinstance(code, int) else None
    state = getattr(error, "sqlstate", None)
    if words is None and isinstance(state, str):
        words = _POSTGRES.get(state) or _POSTGRES.get(state[:2])
    elif words is None and type(error).__module__.startswith("psycopg"):
        words = _AWAY  # no code: the connection was lost before the server could say anything
    return (words or "{said}").format(said=said)


@contextmanager
def readable(what: str) -> Iterator[None]:
    """Say which row is damaged when what it holds cannot be understood."""
    try:
        yield
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise BookUnavailable(
            f"What the book keeps of {what} cannot be read ({error}): its file is damaged. "
            f"{HOW_TO_REPAIR}"
        ) from error
