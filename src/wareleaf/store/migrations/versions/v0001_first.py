"""The first shape of the book. Frozen: later changes are later migrations."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_Big = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _text(name: str, *, unique: bool = False) -> sa.Column:
    return sa.Column(name, sa.Text, nullable=False, unique=unique or None)


def _big(name: str) -> sa.Column:
    return sa.Column(name, _Big, nullable=False)


def upgrade() -> None:
    _events()
    _lots()
    op.create_table("setting", sa.Column("key", sa.Text, primary_key=True), _text("value"))
    op.create_table(
        "person",
        sa.Column("person_id", sa.Text, primary_key=True),
        _text("name"),
        _text("role"),
        _text("pin_hash"),
        sa.Column("active", sa.Integer, nullable=False),
    )
    op.create_table(
        "counter",
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("last", sa.Integer, nullable=False),
    )
    _append_only()


def _events() -> None:
    op.create_table(
        "event",
        sa.Column("sequence", _Big, primary_key=True, autoincrement=False),
        _text("event_id", unique=True),
        _text("kind"),
        _text("root_id"),
        _text("root_kind"),
        sa.Column("corrects", sa.Text, unique=True),
        sa.Column("void", sa.Integer, nullable=False),
        _text("site"),
        _big("happened_us"),
        _big("recorded_us"),
        _text("body"),
        _text("prev_hash"),
        _text("hash"),
    )
    op.create_index("event_by_kind", "event", ["kind", "sequence"])
    op.create_index("event_by_time", "event", ["happened_us"])
    op.create_index("event_by_site", "event", ["site", "happened_us"])
    op.create_index("event_by_record", "event", ["recorded_us"])
    op.create_index("event_by_root", "event", ["root_id"])
    op.create_table(
        "touch",
        sa.Column("lot_id", sa.Text, primary_key=True),
        sa.Column("sequence", _Big, sa.ForeignKey("event.sequence"), primary_key=True),
        sqlite_with_rowid=False,
    )


def _lots() -> None:
    op.create_table(
        "lot",
        sa.Column("lot_id", sa.Text, primary_key=True),
        *(_text(n) for n in ("leaf", "form", "place", "site", "made_by", "made_at")),
        *(_big(n) for n in ("made_us", "mass_g", "dry_g")),
        sa.Column("mass_sd_g", sa.Float, nullable=False),
        sa.Column("dry_sd_g", sa.Float, nullable=False),
        *(_big(n) for n in ("drawn_mass_g", "drawn_dry_g", "shipped_mass_g", "shipped_dry_g")),
        *(_text(n) for n in ("last_drawn_by", "held_because", "released_for", "on_runs")),
        *(_text(n) for n in ("label", "attributes", "status")),
        sa.Column("in_stock", sa.Integer, nullable=False),
    )
    op.create_index("lot_by_site", "lot", ["site", "status"])
    op.create_index("lot_by_status", "lot", ["status"])
    op.create_index("lot_by_form", "lot", ["form", "in_stock"])
    op.create_index("lot_by_place", "lot", ["place"])
    op.create_table(
        "edge",
        sa.Column("child", sa.Text, sa.ForeignKey("lot.lot_id"), primary_key=True),
        sa.Column("parent", sa.Text, sa.ForeignKey("lot.lot_id"), primary_key=True),
        _text("event_id"),
        sa.Column("share", sa.Float, nullable=False),
        sa.Column("dry_g", sa.Float, nullable=False),
        _big("drawn_dry_g"),
        sa.Column("drawn_share", sa.Float, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_index("edge_down", "edge", ["parent", "child"])
    op.create_table(
        "run",
        sa.Column("run_id", sa.Text, primary_key=True),
        *(_text(n) for n in ("stage", "equipment", "site", "lots", "settings")),
        *(_text(n) for n in ("started_at", "started_by")),
        sa.Column("finished_at", sa.Text),
        _text("finished_by"),
    )
    op.create_index("run_by_site", "run", ["site", "finished_at"])


def _append_only() -> None:
    """Let nobody change or delete an event by accident; not a lock against a determined hand."""
    if op.get_bind().dialect.name == "sqlite":
        for what in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER event_no_{what.lower()} BEFORE {what} ON event "
                "BEGIN SELECT RAISE(ABORT, 'events are never changed; record a correction'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION event_is_fixed() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION 'events are never changed; record a correction'; END $$"
    )
    op.execute(
        "CREATE TRIGGER event_no_change BEFORE UPDATE OR DELETE ON event "
        "FOR EACH ROW EXECUTE FUNCTION event_is_fixed()"
    )
    op.execute(
        "CREATE TRIGGER event_no_truncate BEFORE TRUNCATE ON event "
        "FOR EACH STATEMENT EXECUTE FUNCTION event_is_fixed()"
    )
