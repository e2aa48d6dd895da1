"""Out of a damaged book, and a backup if there is one, every event whose chain still holds.

An event is taken when it follows the one before it: its stored hash is that of the hash before and
its own text, so it does not matter which of the files gave it. At the first event that no file can
give, the chain ends. What can still be read after that cannot be tied to the rest; it is told, not
taken over.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from wareleaf.book import GENESIS, Edge, Event, edges_of, fold, in_force
from wareleaf.book.chain import body_hash
from wareleaf.measure.errors import require
from wareleaf.store import engine as engines
from wareleaf.store import last_seen, rows, schema
from wareleaf.store.backing import checked, finished, require_free
from wareleaf.store.troubles import BookUnavailable, reason
from wareleaf.store.verifying import VerifyReport

_SIDE = ("setting", "person", "counter")
_LEAST_BYTES = 64  # no event takes so few; a larger number than fits the file is damage
_GIVE_UP = 20_000
"""So many events after a gap are looked for at most."""


@dataclass(frozen=True)
class Salvaged:
    """What was saved of a damaged book, and what was not.

    Parameters
    ----------
    report : VerifyReport
        Of the new book.
    from_damaged, from_backup : int
        Events taken from each.
    first_lost : int or None
        The first event that no file could give; none when nothing is known to be missing.
    last_known : int
        The last event that is known to have been recorded.
    beyond : tuple of (int, str)
        Events after the gap that can be read: place and text. They are not in the new book.
    side_lost : tuple of str
        Of settings, people and counters, what could not be read in any file.
    """

    report: VerifyReport
    from_damaged: int
    from_backup: int
    first_lost: int | None
    last_known: int
    beyond: tuple[tuple[int, str], ...]
    side_lost: tuple[str, ...]


def salvage(where: str | Path, target: Path, backup: Path | None = None) -> Salvaged:
    """Make a new, checked book of what can still be read.

    Parameters
    ----------
    where : str or Path
        The damaged SQLite book; file and write-ahead log are only read.
    target : Path
        The file to make; it must not exist.
    backup : Path or None
        A backup of the same book.

    Raises
    ------
    BadInput
        When a file is missing, the target exists, or not one event can be read.
    BookUnavailable
        When the new file cannot be written.
    """
    damaged = _file_of(where)
    for path in filter(None, (damaged, backup)):
        require(path.is_file(), "path", str(path), f"There is no file {path}.")
    require_free(target)
    with _opened([damaged, *([backup] if backup else [])]) as sources:
        taken, history, gap = _follow(sources)
        last = _last_known(damaged, sources)
        require(
            bool(history),
            "path",
            str(damaged),
            f"Not one event of {damaged} can be read; give the last backup with --backup.",
        )
        with finished(target) as part:
            side_lost = _write(part, history, sources)
            report = checked(part, target)
        beyond = tuple(_beyond(sources, gap, last))
    first_lost = gap if gap <= last else None
    counts = (taken.count(0), taken.count(1))
    return Salvaged(report, *counts, first_lost, max(last, gap - 1), beyond, side_lost)


@contextmanager
def _opened(paths: Sequence[Path]) -> Iterator[list[sqlite3.Connection]]:
    """Copies of the files, opened: even a read can write to a log, and originals are evidence."""
    with tempfile.TemporaryDirectory(prefix="wareleaf-salvage-") as folder:
        found: list[sqlite3.Connection] = []
        try:
            for n, path in enumerate(paths):
                copy = Path(folder) / f"{n}.db"
                _copy(path, copy)
                connection = sqlite3.connect(copy, isolation_level=None)
                connection.row_factory = sqlite3.Row
                connection.text_factory = _text
                found.append(connection)
            yield found
        finally:
            for connection in found:
                connection.close()


def _copy(path: Path, copy: Path) -> None:
    """A file and its log, to work on."""
    try:
        shutil.copyfile(path, copy)
        log = path.with_name(path.name + "-wal")
        if log.exists():
            shutil.copyfile(log, f"{copy}-wal")
    except OSError as error:
        raise BookUnavailable(
            f"{path} could not be copied to {copy.parent} to be read there, so the new book was "
            f"not made: {reason(error)}."
        ) from error


def _text(raw: bytes) -> str | bytes:
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return raw


def _ask(source: sqlite3.Connection, query: str, *values: Any) -> Iterator[dict[str, Any]]:
    """Rows up to the first that cannot be read."""
    try:
        with closing(source.execute(query, values)) as cursor:
            for row in cursor:
                yield dict(row)
    except sqlite3.DatabaseError:
        return


def _event(source: sqlite3.Connection, sequence: int) -> dict[str, Any] | None:
    return next(_ask(source, "SELECT * FROM event WHERE sequence = ?", sequence), None)


def _follow(sources: list[sqlite3.Connection]) -> tuple[list[int], list[tuple[Event, str]], int]:
    """Go along the chain, each event from the first file that gives it whole."""
    taken: list[int] = []
    history: list[tuple[Event, str]] = []
    before = GENESIS
    while True:
        for n, source in enumerate(sources):
            row = _event(source, len(history) + 1)
            event = None if row is None else _whole(row, before)
            if row is not None and event is not None:
                taken.append(n)
                history.append((event, row["body"]))
                before = row["hash"]
                break
        else:
            return taken, history, len(history) + 1


def _whole(row: dict[str, Any], before: str) -> Event | None:
    """The event of a row when it follows the hash before, else nothing."""
    body = row.get("body")
    if not isinstance(body, str) or row.get("hash") != body_hash(before, body.encode()):
        return None
    try:
        return rows.event_of(body)
    except BookUnavailable:
        return None


def _last_known(damaged: Path, sources: list[sqlite3.Connection]) -> int:
    """The last event that any file speaks of, in the table, an index or the note beside it."""
    noted = last_seen.read(damaged)
    found = [noted[0] if noted else 0]
    for source in sources:
        for table in ("event", "touch"):
            for row in _ask(source, f"SELECT max(sequence) AS n FROM {table}"):
                found.append(row["n"] if isinstance(row["n"], int) else 0)
    most = sum(p.stat().st_size for p in damaged.parent.glob(f"{damaged.name}*")) // _LEAST_BYTES
    return max(n for n in found if n <= most or n == found[0])


def _beyond(sources: list[sqlite3.Connection], gap: int, last: int) -> Iterator[tuple[int, str]]:
    """Events after the gap whose text fits their own hash."""
    for sequence in range(gap + 1, min(last, gap + _GIVE_UP) + 1):
        for source in sources:
            row = _event(source, sequence)
            before = row.get("prev_hash") if row else None
            if row and _is_hash(before) and _whole(row, str(before)) is not None:
                yield sequence, row["body"]
                break


def _is_hash(text: Any) -> bool:
    return isinstance(text, str) and len(text) == 64 and not set(text) - set("0123456789abcdef")


def _write(
    part: Path, history: list[tuple[Event, str]], sources: list[sqlite3.Connection]
) -> tuple[str, ...]:
    """Events as they were, everything derived anew, settings and people as far as readable."""
    made = engines.connect(part, create=True)
    try:
        with engines.writing(made) as connection:
            _write_events(connection, history)
            _write_derived(connection, [event for event, _ in history])
            return tuple(name for name in _SIDE if not _write_side(connection, name, sources))
    finally:
        made.dispose()


def _write_events(connection: sa.Connection, history: list[tuple[Event, str]]) -> None:
    originals: dict[str, Event] = {}
    before = GENESIS
    events: list[dict[str, Any]] = []
    touches: list[dict[str, Any]] = []
    for sequence, (event, body) in enumerate(history, 1):
        corrects = event.kind == "correction"
        original = originals[event.corrects] if corrects else event
        originals[event.event_id] = original
        replaces = corrects and not event.facts.get("void", False)
        in_place = in_force(event, original) if replaces else None
        digest = body_hash(before, body.encode())
        root = (original.event_id, original.kind)
        events.append(rows.event_row(event, body, sequence, (before, digest), root))
        touches += rows.touch_rows(event, in_place, sequence)
        before = digest
    _insert(connection, schema.event, events)
    _insert(connection, schema.touch, touches)


def _write_derived(connection: sa.Connection, history: list[Event]) -> None:
    edges: list[Edge] = []
    book = fold(history, lambda e, _changed: edges.extend(edges_of(e)))
    _insert(connection, schema.lot, [rows.lot_row(v) for v in book.lots.values()])
    _insert(connection, schema.edge, [rows.edge_row(e) for e in edges])
    _insert(connection, schema.run, [rows.run_row(r) for r in book.runs.values()])


def _insert(connection: sa.Connection, table: sa.Table, many: list[dict[str, Any]]) -> None:
    for part in rows.in_parts(many):
        connection.execute(sa.insert(table), list(part))


def _write_side(connection: sa.Connection, name: str, sources: list[sqlite3.Connection]) -> bool:
    """Copy a small table, the damaged book's rows before the backup's; false when none is whole."""
    table = schema.metadata.tables[name]
    keys = [c.name for c in table.primary_key.columns]
    kept: dict[Any, dict[str, Any]] = {}
    whole = False
    for source in sources:
        try:
            found = [dict(r) for r in source.execute(f"SELECT * FROM {name}")]
            whole = True
        except sqlite3.DatabaseError:
            found = list(_ask(source, f"SELECT * FROM {name}"))
        for row in found:
            if set(row) == {c.name for c in table.columns} and not _has_bytes(row):
                kept.setdefault(tuple(row[k] for k in keys), row)
    _insert(connection, table, list(kept.values()))
    return whole


def _has_bytes(row: dict[str, Any]) -> bool:
    return any(isinstance(v, bytes) for v in row.values())


def _file_of(where: str | Path) -> Path:
    url = engines.url_of(where)
    require(
        url.get_backend_name() == "sqlite",
        "works",
        url.render_as_string(),
        "This book is on a database server; mend it with the server's own tools, or bring the last "
        "backup back with: wareleaf restore BACKUP NEW_FOLDER --book-url ADDRESS",
    )
    return Path(str(url.database))
