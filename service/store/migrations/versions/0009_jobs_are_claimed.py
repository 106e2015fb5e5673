"""What a job was asked for, and which worker has claimed it. Jobs from before cannot be taken up: they have failed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

MESSAGE = "the service was brought up to date before the job had ended; ask for it again"


def upgrade() -> None:
    with op.batch_alter_table("jobs") as jobs:
        jobs.add_column(sa.Column("asked", sa.JSON(), nullable=True))
        jobs.add_column(sa.Column("worker", sa.String(), nullable=True))
        jobs.add_column(sa.Column("seen_at", sa.DateTime(timezone=True), nullable=True))
    _fail("waiting", "running")


def downgrade() -> None:
    _fail("waiting", "running", "cancelled")
    with op.batch_alter_table("jobs") as jobs:
        for name in ("asked", "worker", "seen_at"):
            jobs.drop_column(name)


def _fail(*states: str) -> None:
    jobs = sa.table("jobs", sa.column("state", sa.String()), sa.column("message", sa.Text()))
    op.execute(sa.update(jobs).where(jobs.c.state.in_(states)).values(state="failed", message=MESSAGE))
