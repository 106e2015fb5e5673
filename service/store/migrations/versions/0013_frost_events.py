"""Which share of the shoots froze; how much colder cordons are than the station; frost limits by stage."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("frosted_blocks") as frosted:
        frosted.add_column(sa.Column("share_killed", sa.Double(), nullable=True))
    with op.batch_alter_table("blocks") as blocks:
        blocks.add_column(sa.Column("colder_than_station_c", sa.Double(), nullable=True))
    with op.batch_alter_table("vineyards") as vineyards:
        vineyards.add_column(sa.Column("colder_than_station_c", sa.Double(), nullable=True))
        vineyards.add_column(sa.Column("frost_limits", sa.JSON(none_as_null=True), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("vineyards") as vineyards:
        vineyards.drop_column("frost_limits")
        vineyards.drop_column("colder_than_station_c")
    with op.batch_alter_table("blocks") as blocks:
        blocks.drop_column("colder_than_station_c")
    with op.batch_alter_table("frosted_blocks") as frosted:
        frosted.drop_column("share_killed")
