"""Counts of clusters on canes."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "crop_counts",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("block", sa.String(), nullable=False),
        sa.Column("cane", sa.String(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("clusters", sa.Integer(), nullable=False),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard", "block"],
            ["blocks.grower", "blocks.vineyard", "blocks.key"],
            name=op.f("fk_crop_counts_blocks"),
        ),
        sa.PrimaryKeyConstraint("grower", "vineyard", "date", "block", "cane", name=op.f("pk_crop_counts")),
    )


def downgrade() -> None:
    op.drop_table("crop_counts")
