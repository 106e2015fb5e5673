"""Where the line of a block's vines ends; empty where they stand in one place."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("blocks") as blocks:
        blocks.add_column(sa.Column("x2_m", sa.Double(), nullable=True))
        blocks.add_column(sa.Column("y2_m", sa.Double(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("blocks") as blocks:
        blocks.drop_column("y2_m")
        blocks.drop_column("x2_m")
