"""Frosted blocks, a cultivar's own flower days, and on which weekdays a vineyard is scouted."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "frosted_blocks",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("block", sa.String(), nullable=False),
        sa.Column("season", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("night", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard", "block"],
            ["blocks.grower", "blocks.vineyard", "blocks.key"],
            name=op.f("fk_frosted_blocks_blocks"),
        ),
        sa.PrimaryKeyConstraint("grower", "vineyard", "block", "season", name=op.f("pk_frosted_blocks")),
    )
    with op.batch_alter_table("cultivars") as cultivars:
        cultivars.add_column(sa.Column("receptive_days", sa.Integer(), nullable=True))
        cultivars.add_column(sa.Column("pollen_days", sa.Integer(), nullable=True))
    with op.batch_alter_table("vineyards") as vineyards:
        vineyards.add_column(sa.Column("scouting_weekdays", sa.JSON(none_as_null=True), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("vineyards") as vineyards:
        vineyards.drop_column("scouting_weekdays")
    with op.batch_alter_table("cultivars") as cultivars:
        cultivars.drop_column("pollen_days")
        cultivars.drop_column("receptive_days")
    op.drop_table("frosted_blocks")
