"""The book of 1,000,000 edges of `trace_million` on PostgreSQL: the same rows, the same targets.

A server of the bench's own is started in a temporary folder and loaded by COPY. Cold means a new
connection of a newly opened book: everything is asked of the server, which may have its pages in
memory, as a server that serves a works does. Processor time is that of this process; the server's
work shows by the clock. Where no PostgreSQL can be started, the bench says so and gives no rows.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from contextlib import ExitStack
from typing import Any

from tests.store.postgres_server import Server

from bench import Row
from bench.bench_trace_million import KINDS, LAST, measure, peak_mb, write
from wareleaf import store


def run() -> list[Row]:
    with ExitStack() as stack:
        try:
            server = stack.enter_context(Server(durable=True))
        except (AssertionError, KeyError, OSError) as error:  # none here, or not for this person
            print(f"skipped trace_million_postgres: {error}", file=sys.stderr)
            return []
        return [row for name, near in KINDS for row in _rows(server, name, near)]


def _rows(server: Server, name: str, near: int | None) -> list[Row]:
    place = server.new_database()
    write(place, near, _copy)
    _settle(place)
    return [*measure(place, name, "connection", lambda: None), _server_memory(place, name)]


def _copy(raw: Any, table: str, names: tuple[str, ...], many: Iterable[tuple[Any, ...]]) -> None:
    with (
        raw.cursor() as cursor,
        cursor.copy(f"COPY {table} ({', '.join(names)}) FROM STDIN") as copy,
    ):
        for row in many:
            copy.write_row(row)


def _settle(place: str) -> None:
    """Let the server count its rows, as it does by itself soon after a load."""
    with store.open_book(place, create=False) as opened:
        connection = opened.engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        with connection:
            connection.exec_driver_sql("VACUUM ANALYZE lot, edge, lineage")


def _server_memory(place: str, name: str) -> Row:
    """Peak of the server's process of one connection, the shared pages that it touched included."""
    with store.open_book(place, create=False) as opened, opened.engine.connect() as connection:
        pid = connection.exec_driver_sql("SELECT pg_backend_pid()").scalar_one()
        opened.trace_back(LAST)
        connection.exec_driver_sql("SELECT count(*), sum(length(shares)) FROM lineage").one()
        peak = peak_mb(pid)
    return Row(f"{name}: peak memory, the server's process", peak, None, None, "MB")
