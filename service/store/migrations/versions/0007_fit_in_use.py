"""The fit that each vineyard's answers rest on: its newest own one; and what each fit knows."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    with op.batch_alter_table("fits") as fits:
        fits.add_column(sa.Column("knows_change", sa.Integer(), nullable=True))
    in_use = op.create_table(
        "fit_in_use",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("fit", sa.String(), nullable=False),
        sa.Column("since", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard"],
            ["vineyards.grower", "vineyards.key"],
            name=op.f("fk_fit_in_use_vineyards"),
        ),
        sa.ForeignKeyConstraint(
            ["grower", "fit"], ["fits.grower", "fits.id"], name=op.f("fk_fit_in_use_fits")
        ),
        sa.PrimaryKeyConstraint("grower", "vineyard", name=op.f("pk_fit_in_use")),
    )
    _put_newest_own_fits_in_use(in_use)


def _put_newest_own_fits_in_use(in_use: sa.Table) -> None:
    connection = op.get_bind()
    vineyards = sa.table("vineyards", sa.column("grower", sa.String()), sa.column("key", sa.String()))
    known = {(row.grower, row.key) for row in connection.execute(sa.select(vineyards))}
    fits = sa.table(
        "fits",
        sa.column("grower", sa.String()),
        sa.column("id", sa.String()),
        sa.column("created_at", MOMENT),
        sa.column("document", sa.JSON()),
    )
    newest: dict[tuple[str, str], dict[str, Any]] = {}
    for fit in connection.execute(sa.select(fits).order_by(fits.c.created_at, fits.c.id)).mappings():
        told = fit["document"]
        if told["imported"] or told["exclude_seasons"] or "bloom_start" not in told["stages"]:
            continue
        for vineyard in told["vineyards"]:
            if (fit["grower"], vineyard) in known:
                newest[fit["grower"], vineyard] = {"fit": fit["id"], "since": fit["created_at"]}
    rows = [{"grower": grower, "vineyard": key, **fit} for (grower, key), fit in newest.items()]
    if rows:
        connection.execute(sa.insert(in_use), rows)


def downgrade() -> None:
    op.drop_table("fit_in_use")
    with op.batch_alter_table("fits") as fits:
        fits.drop_column("knows_change")
