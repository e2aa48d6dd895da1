"""The last event acknowledged into a SQLite book, noted in a small file beside it.

SQLite trusts its write-ahead log only up to the first frame whose checksum fails. When that log is
damaged or deleted, the events after that point vanish without an error, and the chain that is left
is whole. So each acknowledged event is also noted in ``book.db-head``, and a book that ends before
it is not opened. The note is not synced to disk: after a power failure it may be old, never ahead.
"""

from __future__ import annotations

import os
from pathlib import Path

import sqlalchemy as sa

from wareleaf.store import schema
from wareleaf.store.troubles import HOW_TO_REPAIR

SUFFIX = "-head"
_LENGTH = 20 + 1 + 64 + 1


def beside(path: Path) -> Path:
    """Where the note of a book stands."""
    return path.with_name(path.name + SUFFIX)


def path_of(engine: sa.Engine) -> Path | None:
    """The file of a SQLite book; none on a server, which looks after its own log."""
    if engine.dialect.name != "sqlite":
        return None
    return Path(str(engine.url.database))


def note(engine: sa.Engine, sequence: int, digest: str) -> None:
    """Note an acknowledged event; a disk that does not take the note loses only the note."""
    path = path_of(engine)
    if path is None:
        return
    try:
        handle = os.open(beside(path), os.O_WRONLY | os.O_CREAT, 0o644)
        try:
            os.pwrite(handle, f"{sequence:020d} {digest}\n".encode(), 0)
        finally:
            os.close(handle)
    except OSError:
        return


def read(path: Path) -> tuple[int, str] | None:
    """Sequence and hash of the last event noted, or nothing when there is no whole note."""
    try:
        text = beside(path).read_bytes()
    except OSError:
        return None
    try:
        sequence, digest = text.decode("ascii").split()
        return (int(sequence), digest) if len(text) == _LENGTH and int(sequence) > 0 else None
    except ValueError:
        return None


def missing(connection: sa.Connection) -> str:
    """What a book lacks against its note, in one sentence; empty when it holds all."""
    path = path_of(connection.engine)
    noted = None if path is None else read(path)
    if path is None or noted is None:
        return ""
    sequence, digest = noted
    table = schema.event.c
    query = sa.select(table.hash).where(table.sequence == sequence)
    found = connection.execute(query).scalar()
    if found == digest:
        return ""
    last = connection.execute(sa.select(sa.func.max(table.sequence))).scalar() or 0
    what = (
        f"it ends at event {last}, but event {sequence} was acknowledged: the last "
        f"{sequence - last} are lost, or this is an older copy"
        if last < sequence
        else f"its event {sequence} is not the one that was acknowledged: this is another book"
    )
    return (
        f"The book at {path} is not the one last written: {what}. {HOW_TO_REPAIR}. If you put this "
        f"copy there on purpose, delete {beside(path).name}"
    )


def gone(path: Path) -> str:
    """A sentence when there was a book here whose file is gone; else empty."""
    noted = read(path)
    if noted is None:
        return ""
    return (
        f"The file {path} is gone or empty, but a book of {noted[0]} events was written there; see "
        "that its disk is mounted, or bring the last backup back with: wareleaf salvage "
        "DAMAGED_FOLDER NEW_FOLDER --backup BACKUP (to begin an empty book here on purpose, "
        f"delete {beside(path).name})."
    )
