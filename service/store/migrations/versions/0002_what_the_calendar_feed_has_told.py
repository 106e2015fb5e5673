"""What the calendar feed has told."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "calendar_events",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("season", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("event", sa.String(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("last_modified", sa.DateTime(timezone=True), nullable=False),
        sa.Column("content", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard"],
            ["vineyards.grower", "vineyards.key"],
            name=op.f("fk_calendar_events_vineyards"),
        ),
        sa.PrimaryKeyConstraint("grower", "vineyard", "season", "event", name=op.f("pk_calendar_events")),
    )


def downgrade() -> None:
    op.drop_table("calendar_events")
