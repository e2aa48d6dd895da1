"""Tables. The event table is the book; every other table of lots is derived from it."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)

metadata = MetaData()
_Big = BigInteger().with_variant(Integer(), "sqlite")

event = Table(
    "event",
    metadata,
    Column("sequence", _Big, primary_key=True, autoincrement=False),
    Column("event_id", Text, nullable=False, unique=True),
    Column("kind", Text, nullable=False),
    Column("root_id", Text, nullable=False),  # the event first recorded; its own id mostly
    Column("root_kind", Text, nullable=False),
    Column("corrects", Text, unique=True),  # null unless a correction
    Column("void", Integer, nullable=False),
    Column("site", Text, nullable=False),
    Column("happened_us", _Big, nullable=False),  # microseconds since 1970, UTC
    Column("recorded_us", _Big, nullable=False),
    Column("body", Text, nullable=False),  # canonical JSON; what is hashed
    Column("prev_hash", Text, nullable=False),
    Column("hash", Text, nullable=False),
    Index("event_by_kind", "kind", "sequence"),
    Index("event_by_time", "happened_us"),
    Index("event_by_site", "site", "happened_us"),
    Index("event_by_record", "recorded_us"),
    Index("event_by_root", "root_id"),
)

lot = Table(
    "lot",
    metadata,
    Column("lot_id", Text, primary_key=True),
    Column("leaf", Text, nullable=False),
    Column("form", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("site", Text, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("made_at", Text, nullable=False),  # with its offset
    Column("made_us", _Big, nullable=False),
    Column("mass_g", _Big, nullable=False),
    Column("dry_g", _Big, nullable=False),
    Column("mass_sd_g", Float, nullable=False),
    Column("dry_sd_g", Float, nullable=False),
    Column("drawn_mass_g", _Big, nullable=False),
    Column("drawn_dry_g", _Big, nullable=False),
    Column("shipped_mass_g", _Big, nullable=False),
    Column("shipped_dry_g", _Big, nullable=False),
    Column("last_drawn_by", Text, nullable=False),
    Column("held_because", Text, nullable=False),
    Column("released_for", Text, nullable=False),
    Column("on_runs", Text, nullable=False),
    Column("label", Text, nullable=False),
    Column("attributes", Text, nullable=False),
    Column("status", Text, nullable=False),
    Column("in_stock", Integer, nullable=False),
    Column("away", Text, nullable=False, server_default="{}"),
    Column("pallets", Text, nullable=False, server_default="{}"),
    Index("lot_by_site", "site", "status"),
    Index("lot_by_status", "status"),
    Index("lot_by_form", "form", "in_stock"),
    Index("lot_by_place", "place"),
)

touch = Table(
    "touch",
    metadata,
    Column("lot_id", Text, primary_key=True),
    Column("sequence", _Big, ForeignKey("event.sequence"), primary_key=True),
    sqlite_with_rowid=False,
)

edge = Table(
    "edge",
    metadata,
    Column("child", Text, ForeignKey("lot.lot_id"), primary_key=True),
    Column("parent", Text, ForeignKey("lot.lot_id"), primary_key=True),
    Column("event_id", Text, nullable=False),
    Column("share", Float, nullable=False),
    Column("dry_g", Float, nullable=False),
    Column("drawn_dry_g", _Big, nullable=False),
    Column("drawn_share", Float, nullable=False),
    Index("edge_down", "parent", "child"),
    sqlite_with_rowid=False,
)

lineage = Table(  # what the lots of the events up to a sequence were made of, as arrays
    "lineage",
    metadata,
    Column("sequence", _Big, primary_key=True, autoincrement=False),
    Column("lots", Text, nullable=False),  # JSON: the children, then their other parents
    Column("made_by", Text, nullable=False),  # JSON: event of each child
    Column("counts", LargeBinary, nullable=False),  # int32: parents of each child
    Column("parents", LargeBinary, nullable=False),  # int32: places in lots
    Column("shares", LargeBinary, nullable=False),  # float64
    Column("dry_g", LargeBinary, nullable=False),  # float64
)

run = Table(
    "run",
    metadata,
    Column("run_id", Text, primary_key=True),
    Column("stage", Text, nullable=False),
    Column("equipment", Text, nullable=False),
    Column("site", Text, nullable=False),
    Column("lots", Text, nullable=False),
    Column("settings", Text, nullable=False),
    Column("started_at", Text, nullable=False),
    Column("started_by", Text, nullable=False),
    Column("finished_at", Text),
    Column("finished_by", Text, nullable=False),
    Index("run_by_site", "site", "finished_at"),
)

setting = Table(
    "setting",
    metadata,
    Column("key", Text, primary_key=True),
    Column("value", Text, nullable=False),
)

person = Table(
    "person",
    metadata,
    Column("person_id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("pin_hash", Text, nullable=False),
    Column("active", Integer, nullable=False),
)

counter = Table(
    "counter",
    metadata,
    Column("key", Text, primary_key=True),
    Column("last", Integer, nullable=False),
)
