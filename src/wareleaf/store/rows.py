"""Between frozen dataclasses and table rows."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any, TypeVar

import sqlalchemy as sa

from wareleaf.book import Edge, Event, LotState, RunState, canonical, event_from_json, lots_touched
from wareleaf.measure.errors import require
from wareleaf.store.troubles import readable

T = TypeVar("T")

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)

_LOT_PLAIN = (
    "lot_id",
    "leaf",
    "form",
    "place",
    "site",
    "made_by",
    "mass_g",
    "dry_g",
    "mass_sd_g",
    "dry_sd_g",
    "drawn_mass_g",
    "drawn_dry_g",
    "shipped_mass_g",
    "shipped_dry_g",
    "last_drawn_by",
    "held_because",
    "label",
)


def microseconds(moment: datetime) -> int:
    """Whole microseconds since 1970 UTC; exact."""
    return (moment - _EPOCH) // _MICROSECOND


def moment(us: int) -> datetime:
    """The other way, in UTC."""
    return _EPOCH + timedelta(microseconds=us)


def require_zone(when: datetime) -> None:
    """Refuse a time that says nothing of its zone."""
    require(
        when.tzinfo is not None and when.utcoffset() is not None,
        "now",
        when.isoformat(),
        f"The time {when.isoformat()} has no time zone; give the offset too.",
    )


def lot_row(lot: LotState) -> dict[str, Any]:
    row = {name: getattr(lot, name) for name in _LOT_PLAIN}
    row["made_at"] = lot.made_at.isoformat()
    row["made_us"] = microseconds(lot.made_at)
    row["released_for"] = json.dumps(lot.released_for)
    row["on_runs"] = json.dumps(lot.on_runs)
    row["attributes"] = canonical(lot.attributes).decode()
    row["away"] = canonical({k: list(v) for k, v in lot.away.items()}).decode()
    row["pallets"] = canonical(lot.pallets).decode()
    row["status"] = lot.status
    row["in_stock"] = int(lot.remaining_mass_g > 0)
    return row


def lot_of(row: Any) -> LotState:
    with readable(f"lot {row['lot_id']}"):
        plain = {name: row[name] for name in _LOT_PLAIN}
        for name in _LOT_PLAIN:
            if name.endswith("_g") and not isinstance(plain[name], int | float):
                raise ValueError(f"{name} is {plain[name]!r}")
        return LotState(
            **plain,
            made_at=datetime.fromisoformat(row["made_at"]),
            released_for=tuple(json.loads(row["released_for"])),
            on_runs=tuple(json.loads(row["on_runs"])),
            attributes=json.loads(row["attributes"]),
            away={k: (v[0], v[1]) for k, v in json.loads(row["away"]).items()},
            pallets=json.loads(row["pallets"]),
        )


def event_of(body: str) -> Event:
    """An event from its stored body."""
    with readable(f"the event that begins {body[:60]!r}"):
        return event_from_json(json.loads(body))


def run_row(run: RunState) -> dict[str, Any]:
    return {
        "run_id": run.run_id,
        "stage": run.stage,
        "equipment": run.equipment,
        "site": run.site,
        "lots": json.dumps(run.lots),
        "settings": canonical(run.settings).decode(),
        "started_at": run.started_at.isoformat(),
        "started_by": run.started_by,
        "finished_at": run.finished_at.isoformat() if run.finished_at else None,
        "finished_by": run.finished_by,
    }


def run_of(row: Any) -> RunState:
    with readable(f"run {row['run_id']}"):
        done = row["finished_at"]
        return RunState(
            run_id=row["run_id"],
            stage=row["stage"],
            equipment=row["equipment"],
            site=row["site"],
            lots=tuple(json.loads(row["lots"])),
            settings=json.loads(row["settings"]),
            started_at=datetime.fromisoformat(row["started_at"]),
            started_by=row["started_by"],
            finished_at=datetime.fromisoformat(done) if done else None,
            finished_by=row["finished_by"],
        )


def edge_row(edge: Edge) -> dict[str, Any]:
    return edge._asdict()


def event_row(
    event: Event, body: str, sequence: int, hashes: tuple[str, str], root: tuple[str, str]
) -> dict[str, Any]:
    return {
        "sequence": sequence,
        "event_id": event.event_id,
        "kind": event.kind,
        "root_id": root[0],
        "root_kind": root[1],
        "corrects": event.corrects or None,
        "void": int(event.kind == "correction" and bool(event.facts.get("void", False))),
        "site": event.site,
        "happened_us": microseconds(event.happened_at),
        "recorded_us": microseconds(event.recorded_at),
        "body": body,
        "prev_hash": hashes[0],
        "hash": hashes[1],
    }


def touch_rows(event: Event, in_place: Event | None, sequence: int) -> list[dict[str, Any]]:
    """The lots in whose history an event stands; a correction also in those of what it puts there.

    ``in_place`` is what a correction puts in place; none for a void or any other event.
    """
    lots = (*lots_touched(event), *(lots_touched(in_place) if in_place else ()))
    return [{"lot_id": i, "sequence": sequence} for i in dict.fromkeys(lots)]


def in_parts(items: Sequence[T], size: int = 500) -> Iterator[Sequence[T]]:
    """Items a part at a time: a question to a database takes only so many names."""
    return (items[i : i + size] for i in range(0, len(items), size))


def upsert(connection: sa.Connection, table: sa.Table, rows: list[dict[str, Any]]) -> None:
    """Insert rows, replacing those with the same primary key."""
    if rows:
        connection.execute(_upserting(connection.dialect.name, table), rows)


@cache
def _upserting(dialect: str, table: sa.Table) -> sa.Executable:
    if dialect == "postgresql":
        from sqlalchemy.dialects.postgresql import insert
    else:
        from sqlalchemy.dialects.sqlite import insert  # type: ignore[assignment]
    statement = insert(table)
    keys = [c.name for c in table.primary_key.columns]
    rest = {c.name: statement.excluded[c.name] for c in table.columns if c.name not in keys}
    return statement.on_conflict_do_update(index_elements=keys, set_=rest)
