"""Browsers that have signed in, each with a token of its own."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "sessions",
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["key"], ["keys.id"], name=op.f("fk_sessions_keys"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("digest", name=op.f("pk_sessions")),
    )


def downgrade() -> None:
    op.drop_table("sessions")
