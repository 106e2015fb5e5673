"""Keys, and the growers whom each lets in to."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        "keys",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=True),
        sa.Column("made_by", sa.String(), nullable=True),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("expires_at", MOMENT, nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_keys")),
        sa.UniqueConstraint("digest", name=op.f("uq_keys_digest")),
    )
    op.create_table(
        "key_growers",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["grower"], ["growers.key"], name=op.f("fk_key_growers_growers")),
        sa.ForeignKeyConstraint(["key"], ["keys.id"], name=op.f("fk_key_growers_keys")),
        sa.PrimaryKeyConstraint("grower", "key", name=op.f("pk_key_growers")),
    )


def downgrade() -> None:
    op.drop_table("key_growers")
    op.drop_table("keys")
