"""How good a cultivar's pollen is, how many flowers its vines bear, and what was noted of sources for it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("cultivars") as cultivars:
        cultivars.add_column(sa.Column("pollen_quality", sa.Double(), nullable=True))
        cultivars.add_column(sa.Column("flowers_a_vine", sa.Double(), nullable=True))
        cultivars.add_column(sa.Column("pollen_notes", sa.JSON(none_as_null=True), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("cultivars") as cultivars:
        cultivars.drop_column("pollen_notes")
        cultivars.drop_column("flowers_a_vine")
        cultivars.drop_column("pollen_quality")
