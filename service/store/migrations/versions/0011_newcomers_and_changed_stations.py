"""Which cultivar another one blooms like, and how much later; when a station was changed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("cultivars") as cultivars:
        cultivars.add_column(sa.Column("blooms_like", sa.String(), nullable=True))
        cultivars.add_column(sa.Column("days_later", sa.Double(), nullable=True))
    with op.batch_alter_table("stations") as stations:
        stations.add_column(sa.Column("changed_on", sa.JSON(none_as_null=True), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("stations") as stations:
        stations.drop_column("changed_on")
    with op.batch_alter_table("cultivars") as cultivars:
        cultivars.drop_column("days_later")
        cultivars.drop_column("blooms_like")
