"""PostgreSQL: compare every index with its table, and with the order that the server sorts by.

SQLite compares indexes with tables by itself. Here each table is read twice, once in the order of
an index and once from end to end, and both must give the same rows. So it takes no extension and
no rights beyond those of a reader. The usual cause of a difference is a system whose rules of
sorting changed under a text index; the rows are whole then, and the index is built anew.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from wareleaf.store import schema

_INDEXES = sa.text(
    "SELECT i.indexrelid::regclass::text AS name, c.relname AS table_name, i.indisvalid AS valid, "
    "ARRAY(SELECT pg_get_indexdef(i.indexrelid, k, true) "
    "FROM generate_series(1, i.indnkeyatts) AS k) AS columns "
    "FROM pg_index AS i JOIN pg_class AS c ON c.oid = i.indrelid "
    "WHERE c.relname = ANY(:tables) AND pg_table_is_visible(c.oid) "
    "ORDER BY c.relname, name"
)
_BY_INDEX = ("seqscan", "bitmapscan", "indexonlyscan", "sort", "incremental_sort", "hashagg")
_BY_TABLE = ("indexscan", "bitmapscan", "indexonlyscan")
_WAYS = tuple(dict.fromkeys((*_BY_INDEX, *_BY_TABLE)))


@dataclass(frozen=True, slots=True)
class Index:
    """An index of one of our tables and the columns that it sorts by."""

    name: str
    table: str
    columns: tuple[str, ...]
    valid: bool


def index_troubles(connection: sa.Connection) -> Iterator[str]:
    """What is wrong with the indexes, each in a sentence; nothing when all hold."""
    for index in indexes(connection):
        if not index.valid:
            yield f"The index {index.name} was never built to its end; {_again(index)}."
            continue
        by_index, out_of_order = _read(connection, index, _BY_INDEX)
        by_table, _ = _read(connection, index, _BY_TABLE)
        if by_index != by_table:
            yield (
                f"The index {index.name} does not hold what the table {index.table} holds: "
                f"{by_index[0]} rows in it, {by_table[0]} in the table; {_again(index)}."
            )
        elif out_of_order:
            yield (
                f"The index {index.name} of the table {index.table} is not in the order that the "
                f"server sorts by now; {_again(index)}."
            )


def indexes(connection: sa.Connection) -> list[Index]:
    """Indexes of our tables in the place where the book lies."""
    names = sorted(schema.metadata.tables)
    return [
        Index(row.name, row.table_name, tuple(row.columns), row.valid)
        for row in connection.execute(_INDEXES, {"tables": names})
    ]


def plan_of(connection: sa.Connection, index: Index) -> str:
    """Names of the indexes that the server takes to read a table in an index's order."""
    with _Only(connection, _BY_INDEX):
        plan = connection.exec_driver_sql(f"EXPLAIN (FORMAT JSON) {_question(index, True)}")
        found = plan.scalar_one()
    return " ".join(sorted(_named(found if isinstance(found, list) else json.loads(found))))


def _again(index: Index) -> str:
    return f"the entries are whole; build it anew with REINDEX INDEX {index.name}"


def _read(
    connection: sa.Connection, index: Index, without: tuple[str, ...]
) -> tuple[tuple[int, Any], int]:
    """Count and sum of all rows' keys and places, and how many are out of order."""
    with _Only(connection, without):
        row = connection.exec_driver_sql(_question(index, without is _BY_INDEX)).one()
    return (row[0], row[1]), row[2]


def _question(index: Index, in_order: bool) -> str:
    """Columns and names come from the server's own catalogue, quoted by it."""
    keys = ", ".join(index.columns)
    rows = f"SELECT ctid::text || (ROW({keys}))::text AS said, {{less}} AS less FROM {index.table}"
    if in_order:
        before = ", ".join(f"lag({c}) OVER way" for c in index.columns)
        rows = rows.format(less=f"ROW({keys}) < ROW({before})")
        rows += f" WINDOW way AS (ORDER BY {keys})"
    else:
        rows = rows.format(less="false")
    return (
        "SELECT count(*), coalesce(sum(hashtextextended(said, 0)::numeric), 0), "
        f"count(*) FILTER (WHERE less) FROM ({rows}) AS found"
    )


class _Only:
    """Keeps the server from some ways of reading inside a ``with``."""

    def __init__(self, connection: sa.Connection, without: tuple[str, ...]):
        self._connection = connection
        self._without = without

    def __enter__(self) -> None:
        for way in _WAYS:
            value = "off" if way in self._without else "on"
            self._connection.exec_driver_sql(f"SET LOCAL enable_{way} = {value}")

    def __exit__(self, *_: object) -> None:
        for way in _WAYS:
            self._connection.exec_driver_sql(f"SET LOCAL enable_{way} TO DEFAULT")


def _named(node: Any) -> set[str]:
    """Every index that a plan names."""
    if isinstance(node, list):
        return {name for each in node for name in _named(each)}
    if not isinstance(node, dict):
        return set()
    own = {str(node["Index Name"])} if "Index Name" in node else set()
    return own.union(*(_named(each) for each in node.values()))
