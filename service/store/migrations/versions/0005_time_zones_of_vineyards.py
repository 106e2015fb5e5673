"""In which time zone a vineyard lies."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("vineyards") as vineyards:
        vineyards.add_column(sa.Column("timezone", sa.String(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("vineyards") as vineyards:
        vineyards.drop_column("timezone")
