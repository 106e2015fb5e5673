"""What a job works on."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("jobs") as jobs:
        jobs.add_column(sa.Column("subject", sa.String(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("jobs") as jobs:
        jobs.drop_column("subject")
