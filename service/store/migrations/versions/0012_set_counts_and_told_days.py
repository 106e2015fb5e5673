"""Counts of flowers and berries, the days that were told, and who reads a vineyard's news."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("vineyards") as vineyards:
        vineyards.add_column(sa.Column("wild_males", sa.String(), nullable=True))
    op.create_table(
        "told_days",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("season", sa.Integer(), nullable=False),
        sa.Column("told_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("content", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(["grower"], ["growers.key"], name=op.f("fk_told_days_growers")),
        sa.PrimaryKeyConstraint("grower", "vineyard", "day", name=op.f("pk_told_days")),
    )
    op.create_table(
        "news_readers",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard"],
            ["vineyards.grower", "vineyards.key"],
            name=op.f("fk_news_readers_vineyards"),
        ),
        sa.PrimaryKeyConstraint("grower", "vineyard", "address", name=op.f("pk_news_readers")),
    )
    op.create_table(
        "set_counts",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("block", sa.String(), nullable=False),
        sa.Column("cluster", sa.String(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("flowers", sa.Integer(), nullable=True),
        sa.Column("berries", sa.Integer(), nullable=True),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard", "block"],
            ["blocks.grower", "blocks.vineyard", "blocks.key"],
            name=op.f("fk_set_counts_blocks"),
        ),
        sa.PrimaryKeyConstraint("grower", "vineyard", "date", "block", "cluster", name=op.f("pk_set_counts")),
    )


def downgrade() -> None:
    op.drop_table("set_counts")
    op.drop_table("news_readers")
    op.drop_table("told_days")
    with op.batch_alter_table("vineyards") as vineyards:
        vineyards.drop_column("wild_males")
