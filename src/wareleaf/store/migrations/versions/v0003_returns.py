"""What each customer still has of a lot, and what of it stands on which pallet."""

from __future__ import annotations

import json

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

_IN_FORCE = """
SELECT body FROM event AS e WHERE e.root_kind = 'ship' AND e.void = 0
AND NOT EXISTS (SELECT 1 FROM event AS n WHERE n.corrects = e.event_id)
"""


def upgrade() -> None:
    for name in ("away", "pallets"):
        op.add_column("lot", sa.Column(name, sa.Text, nullable=False, server_default="{}"))
    connection = op.get_bind()
    away: dict[str, dict[str, list[int]]] = {}
    for body in connection.execute(sa.text(_IN_FORCE)).scalars():
        event = json.loads(body)
        for drawn in event["inputs"]:
            has = away.setdefault(drawn["lot_id"], {})
            mass_g, dry_g = has.get(event["facts"]["customer"], (0, 0))
            has[event["facts"]["customer"]] = [mass_g + drawn["mass_g"], dry_g + drawn["dry_g"]]
    update = sa.text("UPDATE lot SET away = :away WHERE lot_id = :lot_id")
    for lot_id, has in away.items():
        text = json.dumps(has, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        connection.execute(update, {"lot_id": lot_id, "away": text})
