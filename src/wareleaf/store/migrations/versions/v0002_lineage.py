"""Parts of the genealogy as arrays. The first part of an older book is cut by a later append."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "lineage",
        sa.Column(
            "sequence",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            primary_key=True,
            autoincrement=False,
        ),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("lots", "made_by")),
        *(
            sa.Column(name, sa.LargeBinary, nullable=False)
            for name in ("counts", "parents", "shares", "dry_g")
        ),
    )
