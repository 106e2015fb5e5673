"""The first tables: all that a grower owns, and the history of what can be corrected."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "growers",
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_growers")),
    )
    op.create_table(
        "cultivars",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("flower_type", sa.String(), nullable=False),
        sa.Column("viable_pollen", sa.Boolean(), nullable=False),
        sa.Column("species", sa.String(), nullable=True),
        sa.Column("berry_mass_g", sa.Double(), nullable=True),
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["grower"], ["growers.key"], name=op.f("fk_cultivars_growers")),
        sa.PrimaryKeyConstraint("grower", "key", name=op.f("pk_cultivars")),
    )
    op.create_table(
        "fits",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(["grower"], ["growers.key"], name=op.f("fk_fits_growers")),
        sa.PrimaryKeyConstraint("grower", "id", name=op.f("pk_fits")),
    )
    op.create_table(
        "jobs",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("progress", sa.Double(), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("result", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["grower"], ["growers.key"], name=op.f("fk_jobs_growers")),
        sa.PrimaryKeyConstraint("grower", "id", name=op.f("pk_jobs")),
    )
    op.create_table(
        "stations",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("latitude", sa.Double(), nullable=False),
        sa.Column("longitude", sa.Double(), nullable=False),
        sa.Column("elevation_m", sa.Double(), nullable=True),
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["grower"], ["growers.key"], name=op.f("fk_stations_growers")),
        sa.PrimaryKeyConstraint("grower", "key", name=op.f("pk_stations")),
    )
    op.create_table(
        "outlook_history",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("station", sa.String(), nullable=False),
        sa.Column("issued_on", sa.Date(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("superseded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("tmin_c", sa.Double(), nullable=True),
        sa.Column("tmax_c", sa.Double(), nullable=True),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "station"],
            ["stations.grower", "stations.key"],
            name=op.f("fk_outlook_history_stations"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outlook_history")),
    )
    with op.batch_alter_table("outlook_history", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_outlook_history_grower_station_issued_on"),
            ["grower", "station", "issued_on"],
            unique=False,
        )

    op.create_table(
        "outlooks",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("station", sa.String(), nullable=False),
        sa.Column("issued_on", sa.Date(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("tmin_c", sa.Double(), nullable=True),
        sa.Column("tmax_c", sa.Double(), nullable=True),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "station"], ["stations.grower", "stations.key"], name=op.f("fk_outlooks_stations")
        ),
        sa.PrimaryKeyConstraint("grower", "station", "issued_on", "date", name=op.f("pk_outlooks")),
    )
    op.create_table(
        "temperature_history",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("station", sa.String(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("superseded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("tmin_c", sa.Double(), nullable=True),
        sa.Column("tmax_c", sa.Double(), nullable=True),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "station"],
            ["stations.grower", "stations.key"],
            name=op.f("fk_temperature_history_stations"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_temperature_history")),
    )
    with op.batch_alter_table("temperature_history", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_temperature_history_grower_station_date"),
            ["grower", "station", "date"],
            unique=False,
        )

    op.create_table(
        "temperatures",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("station", sa.String(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("tmin_c", sa.Double(), nullable=True),
        sa.Column("tmax_c", sa.Double(), nullable=True),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "station"], ["stations.grower", "stations.key"], name=op.f("fk_temperatures_stations")
        ),
        sa.PrimaryKeyConstraint("grower", "station", "date", name=op.f("pk_temperatures")),
    )
    op.create_table(
        "vineyards",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("station", sa.String(), nullable=True),
        sa.Column("reach_m", sa.Double(), nullable=False),
        sa.Column("receptive_days", sa.Double(), nullable=True),
        sa.Column("pollen_days", sa.Double(), nullable=True),
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "station"], ["stations.grower", "stations.key"], name=op.f("fk_vineyards_stations")
        ),
        sa.ForeignKeyConstraint(["grower"], ["growers.key"], name=op.f("fk_vineyards_growers")),
        sa.PrimaryKeyConstraint("grower", "key", name=op.f("pk_vineyards")),
    )
    op.create_table(
        "blocks",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("cultivar", sa.String(), nullable=False),
        sa.Column("x_m", sa.Double(), nullable=False),
        sa.Column("y_m", sa.Double(), nullable=False),
        sa.Column("vines", sa.Integer(), nullable=False),
        sa.Column("neighbours", sa.JSON(none_as_null=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["grower", "cultivar"], ["cultivars.grower", "cultivars.key"], name=op.f("fk_blocks_cultivars")
        ),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard"], ["vineyards.grower", "vineyards.key"], name=op.f("fk_blocks_vineyards")
        ),
        sa.PrimaryKeyConstraint("grower", "vineyard", "key", name=op.f("pk_blocks")),
    )
    op.create_table(
        "bloom_date_history",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("season", sa.Integer(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("stage", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("superseded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("cultivar", sa.String(), nullable=False),
        sa.Column("block", sa.String(), nullable=True),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("checked_every_days", sa.Integer(), nullable=False),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard"],
            ["vineyards.grower", "vineyards.key"],
            name=op.f("fk_bloom_date_history_vineyards"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bloom_date_history")),
    )
    with op.batch_alter_table("bloom_date_history", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_bloom_date_history_grower_vineyard"), ["grower", "vineyard"], unique=False
        )

    op.create_table(
        "visit_history",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("observer", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("superseded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("cultivar", sa.String(), nullable=False),
        sa.Column("block", sa.String(), nullable=True),
        sa.Column("percent_open", sa.Double(), nullable=True),
        sa.Column("bbch", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard"],
            ["vineyards.grower", "vineyards.key"],
            name=op.f("fk_visit_history_vineyards"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit_history")),
    )
    with op.batch_alter_table("visit_history", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_visit_history_grower_vineyard"), ["grower", "vineyard"], unique=False
        )

    op.create_table(
        "bloom_dates",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("season", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("stage", sa.String(), nullable=False),
        sa.Column("cultivar", sa.String(), nullable=False),
        sa.Column("block", sa.String(), nullable=True),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("checked_every_days", sa.Integer(), nullable=False),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "cultivar"],
            ["cultivars.grower", "cultivars.key"],
            name=op.f("fk_bloom_dates_cultivars"),
        ),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard", "block"],
            ["blocks.grower", "blocks.vineyard", "blocks.key"],
            name=op.f("fk_bloom_dates_blocks"),
        ),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard"],
            ["vineyards.grower", "vineyards.key"],
            name=op.f("fk_bloom_dates_vineyards"),
        ),
        sa.PrimaryKeyConstraint(
            "grower", "vineyard", "season", "subject", "stage", name=op.f("pk_bloom_dates")
        ),
    )
    op.create_table(
        "visits",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("vineyard", sa.String(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("observer", sa.String(), nullable=False),
        sa.Column("cultivar", sa.String(), nullable=False),
        sa.Column("block", sa.String(), nullable=True),
        sa.Column("percent_open", sa.Double(), nullable=True),
        sa.Column("bbch", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["grower", "cultivar"], ["cultivars.grower", "cultivars.key"], name=op.f("fk_visits_cultivars")
        ),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard", "block"],
            ["blocks.grower", "blocks.vineyard", "blocks.key"],
            name=op.f("fk_visits_blocks"),
        ),
        sa.ForeignKeyConstraint(
            ["grower", "vineyard"], ["vineyards.grower", "vineyards.key"], name=op.f("fk_visits_vineyards")
        ),
        sa.PrimaryKeyConstraint("grower", "vineyard", "date", "subject", "observer", name=op.f("pk_visits")),
    )


def downgrade() -> None:
    op.drop_table("visits")
    op.drop_table("bloom_dates")
    with op.batch_alter_table("visit_history", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_visit_history_grower_vineyard"))

    op.drop_table("visit_history")
    with op.batch_alter_table("bloom_date_history", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_bloom_date_history_grower_vineyard"))

    op.drop_table("bloom_date_history")
    op.drop_table("blocks")
    op.drop_table("vineyards")
    op.drop_table("temperatures")
    with op.batch_alter_table("temperature_history", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_temperature_history_grower_station_date"))

    op.drop_table("temperature_history")
    op.drop_table("outlooks")
    with op.batch_alter_table("outlook_history", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_outlook_history_grower_station_issued_on"))

    op.drop_table("outlook_history")
    op.drop_table("stations")
    op.drop_table("jobs")
    op.drop_table("fits")
    op.drop_table("cultivars")
    op.drop_table("growers")
