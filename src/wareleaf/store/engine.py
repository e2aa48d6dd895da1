"""Opening a database: SQLite by path, PostgreSQL by URL; one writer at a time in both.

SQLite runs in WAL mode with foreign keys and full sync, so that what was acknowledged survives a
killed process and a lost mains. A write transaction takes the write lock at once (``BEGIN
IMMEDIATE``); a deferred one would fail when two read before they write. PostgreSQL takes an
advisory lock for the same order of events.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from wareleaf.measure.errors import BadInput
from wareleaf.store import last_seen
from wareleaf.store.troubles import BookUnavailable, reason

__all__ = ["HEAD", "BookUnavailable", "connect", "reading", "url_of", "writing"]

HEAD = "0003"
"""The newest migration; a test holds that it is."""

BUSY_MS = 60_000
_LEAST_SQLITE_BYTES = 512  # SQLite takes a shorter file for an empty one and writes over it
_LOCK_KEY = 0x77617265  # any constant of our own
_LOCK = sa.text("SELECT pg_advisory_xact_lock(:key)")
_WRITE = {"wareleaf_write": True}


def url_of(where: str | Path) -> sa.URL:
    """The database URL of a path or a URL.

    Raises
    ------
    BadInput
        For another kind of database.
    """
    text = str(where)
    if "://" not in text:
        return sa.URL.create("sqlite", database=text)
    try:
        url = sa.make_url(text)
    except (sa.exc.ArgumentError, ValueError) as error:
        raise BadInput("url", text, f"{text} is not a database URL: {error}.") from error
    name = url.get_backend_name()
    if name == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    if name == "sqlite" and url.database:
        return url
    raise BadInput(
        "url", text, f"{text} cannot hold a book; give a file path or a postgresql:// URL."
    )


def connect(where: str | Path, *, create: bool) -> sa.Engine:
    """An engine on a database whose tables are up to date.

    Raises
    ------
    BadInput
        When there is none and it may not be created, when it cannot be read, or when it is newer
        than this program.
    """
    url = url_of(where)
    sqlite = url.get_backend_name() == "sqlite"
    if sqlite:
        _check_file(Path(str(url.database)), create)
    engine = _sqlite_engine(url) if sqlite else sa.create_engine(url, pool_pre_ping=True)
    shown = str(url.database) if sqlite else url.render_as_string()
    try:
        with _told(f"The book at {shown} cannot be opened"):
            _bring_up_to_date(engine, create)
            if sqlite:
                _check_not_cut(engine)
    except BookUnavailable as error:
        engine.dispose()
        raise BadInput("url", shown, str(error)) from error
    except BadInput:
        engine.dispose()
        raise
    return engine


@contextmanager
def _told(what: str) -> Iterator[None]:
    """Turn what the driver raises into one sentence: what cannot be done, and the reason."""
    try:
        yield
    except sa.exc.DBAPIError as error:
        raise BookUnavailable(f"{what}: {reason(error.orig)}.") from error


def _check_not_cut(engine: sa.Engine) -> None:
    """Refuse a file that ends before the last event that was acknowledged into it."""
    with engine.connect() as connection:
        missing = last_seen.missing(connection)
    if missing:
        raise BookUnavailable(missing)


def _check_file(path: Path, create: bool) -> None:
    size = path.stat().st_size if path.is_file() else 0
    if size < _LEAST_SQLITE_BYTES and not path.is_dir():
        wrong = last_seen.gone(path)
        if size and not wrong:
            wrong = f"{path} holds {size} bytes, too few for a book; name another file."
        if wrong:
            raise BadInput("path", str(path), wrong)
    if not path.exists() and not create:
        raise BadInput("path", str(path), f"There is no book at {path}; name an existing file.")
    if path.is_dir():
        raise BadInput("path", str(path), f"{path} is a folder; name the file of the book.")
    if not path.parent.is_dir():
        raise BadInput("path", str(path), f"The folder {path.parent} is missing; make it first.")


def _sqlite_engine(url: sa.URL) -> sa.Engine:
    engine = sa.create_engine(url, connect_args={"timeout": BUSY_MS / 1000})

    @sa.event.listens_for(engine, "connect")
    def _set_up(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # we say BEGIN ourselves
        cursor = connection.cursor()
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
            cursor.execute(f"PRAGMA {pragma}").fetchall()
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        write = connection.get_execution_options().get("wareleaf_write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine


@contextmanager
def reading(engine: sa.Engine | sa.Connection) -> Iterator[sa.Connection]:
    """A read transaction: one moment of the book. A draft reads in its own transaction.

    Raises
    ------
    BookUnavailable
        When the database cannot be read: file damaged, server gone.
    """
    if isinstance(engine, sa.Connection):
        yield engine
        return
    with _told("The book could not be read"), engine.connect() as connection:
        if engine.dialect.name == "postgresql":
            connection.execution_options(isolation_level="REPEATABLE READ")
        yield connection


@contextmanager
def writing(engine: sa.Engine | sa.Connection) -> Iterator[sa.Connection]:
    """A write transaction: alone from the first statement on, all or nothing.

    Inside a draft it is a savepoint of the draft's transaction.

    Raises
    ------
    BookUnavailable
        When the database cannot write: disk full, file damaged, server gone, too long locked.
    """
    if isinstance(engine, sa.Connection):
        with engine.begin_nested():
            yield engine
        return
    with (
        _told("The book could not be written; nothing of this was recorded"),
        engine.connect().execution_options(**_WRITE) as connection,
    ):
        transaction = connection.begin()
        try:
            if engine.dialect.name == "postgresql":
                connection.execute(_LOCK, {"key": _LOCK_KEY})
            yield connection
        except BaseException:
            if transaction.is_active or connection.in_transaction():
                transaction.rollback()
            raise
        _commit(transaction)


def _commit(transaction: sa.RootTransaction) -> None:
    """Commit; a server that goes away just then leaves open whether it has."""
    try:
        transaction.commit()
    except sa.exc.DBAPIError as error:
        if not error.connection_invalidated:
            raise
        raise BookUnavailable(
            "The database server went away at the moment of recording, so this may be in the book "
            "or not; when it is back, look before you enter it again."
        ) from error


def _version(connection: sa.Connection) -> str:
    if not sa.inspect(connection).has_table("alembic_version"):
        return ""
    return connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar() or ""


def _bring_up_to_date(engine: sa.Engine, create: bool) -> None:
    with engine.connect() as connection:
        version = _version(connection)
    if version == HEAD:
        return
    if version > HEAD:
        raise BadInput(
            "version",
            version,
            f"The book has version {version}, newer than this program's {HEAD}; "
            "use a newer Wareleaf.",
        )
    if not version and not create:
        raise BadInput("url", str(engine.url), f"There is no book in {engine.url}.")
    with writing(engine) as connection:
        if _version(connection) != HEAD:  # another process may have been faster
            _migrate(connection)


def _migrate(connection: sa.Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
