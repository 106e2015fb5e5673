"""One journal of changes in the place of the history tables; identifiers of visits; blocks that were taken out."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Iterator
from itertools import groupby
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

JSON = sa.JSON(none_as_null=True)
MOMENT = sa.DateTime(timezone=True)

# Each history with the table whose values it kept: the columns of its key after the grower, and the others.
HISTORIES: dict[str, tuple[str, str, list[str], dict[str, Any]]] = {
    "temperature_history": (
        "temperatures",
        "station",
        ["station", "date"],
        {"tmin_c": sa.Double(), "tmax_c": sa.Double(), "stored_at": MOMENT},
    ),
    "outlook_history": (
        "outlooks",
        "station",
        ["station", "issued_on", "date"],
        {"tmin_c": sa.Double(), "tmax_c": sa.Double(), "stored_at": MOMENT},
    ),
    "bloom_date_history": (
        "bloom_dates",
        "vineyard",
        ["vineyard", "season", "subject", "stage"],
        {
            "cultivar": sa.String(),
            "block": sa.String(),
            "date": sa.Date(),
            "checked_every_days": sa.Integer(),
            "stored_at": MOMENT,
        },
    ),
    "visit_history": (
        "visits",
        "vineyard",
        ["vineyard", "date", "subject", "observer"],
        {
            "cultivar": sa.String(),
            "block": sa.String(),
            "percent_open": sa.Double(),
            "bbch": sa.Integer(),
            "note": sa.Text(),
            "stored_at": MOMENT,
        },
    ),
}
NEVER_EMPTY = ("cultivar", "date", "checked_every_days", "stored_at")
KEY_TYPES: dict[str, Any] = {"date": sa.Date(), "issued_on": sa.Date(), "season": sa.Integer()}


def upgrade() -> None:
    with op.batch_alter_table("calendar_events") as events:
        events.drop_constraint("fk_calendar_events_vineyards", type_="foreignkey")
        events.create_foreign_key("fk_calendar_events_growers", "growers", ["grower"], ["key"])
    with op.batch_alter_table("blocks") as blocks:
        blocks.add_column(sa.Column("removed", sa.Boolean(), nullable=False, server_default=sa.false()))
    with op.batch_alter_table("visits") as visits:
        visits.add_column(sa.Column("id", sa.String(), nullable=True))
    _give_visits_identifiers()
    with op.batch_alter_table("visits") as visits:
        visits.alter_column("id", existing_type=sa.String(), nullable=False)
    changes = op.create_table(
        "changes",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("params", JSON, nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("undoes", sa.Integer(), nullable=True),
        sa.Column("undone_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["grower"], ["growers.key"], name=op.f("fk_changes_growers")),
        sa.PrimaryKeyConstraint("grower", "number", name=op.f("pk_changes")),
    )
    change_rows = op.create_table(
        "change_rows",
        sa.Column("grower", sa.String(), nullable=False),
        sa.Column("change", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("place", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("of_table", sa.String(), nullable=False),
        sa.Column("owner", sa.String(), nullable=False),
        sa.Column("keys", JSON, nullable=False),
        sa.Column("before", JSON, nullable=True),
        sa.ForeignKeyConstraint(
            ["grower", "change"], ["changes.grower", "changes.number"], name=op.f("fk_change_rows_changes")
        ),
        sa.PrimaryKeyConstraint("grower", "change", "place", name=op.f("pk_change_rows")),
    )
    with op.batch_alter_table("change_rows") as rows:
        rows.create_index(
            rows.f("ix_change_rows_grower_of_table_owner"), ["grower", "of_table", "owner"], unique=False
        )
    _move_histories(changes, change_rows)
    for history in HISTORIES:
        op.drop_table(history)


def _give_visits_identifiers() -> None:
    names = ["grower", "vineyard", "date", "subject", "observer"]
    visits = sa.table(
        "visits", *(sa.column(name, KEY_TYPES.get(name, sa.String())) for name in [*names, "id"])
    )
    connection = op.get_bind()
    keys = connection.execute(sa.select(*(visits.c[name] for name in names))).mappings().all()
    given = [{"new_id": secrets.token_hex(8), **{f"of_{name}": key[name] for name in names}} for key in keys]
    if given:
        this_row = [visits.c[name] == sa.bindparam(f"of_{name}") for name in names]
        connection.execute(sa.update(visits).where(*this_row).values(id=sa.bindparam("new_id")), given)


def _move_histories(changes: sa.Table, change_rows: sa.Table) -> None:
    """What was superseded at one moment becomes one change. It has no more than the history had kept."""
    found = sorted(
        (row for history in HISTORIES for row in _superseded(history)),
        key=lambda row: (row["grower"], row["superseded_at"], row["of_table"], row["owner"], row["id"]),
    )
    connection = op.get_bind()
    number: dict[str, int] = {}
    for (grower, at), rows_at_once in groupby(found, key=lambda row: (row["grower"], row["superseded_at"])):
        number[grower] = number.get(grower, 0) + 1
        chunks = []
        written = []
        for (table, kind, owner), group in groupby(
            rows_at_once, key=lambda row: (row["of_table"], row["kind"], row["owner"])
        ):
            rows = list(group)
            of = {"table": table, "kind": kind, "owner": owner}
            written.append({**of, "added": 0, "replaced": len(rows), "deleted": 0})
            chunks += [{"of_table": table, "owner": owner, **chunk} for chunk in _chunks(rows)]
        connection.execute(
            sa.insert(changes),
            {
                "grower": grower,
                "number": number[grower],
                "at": at,
                "by": grower,
                "code": "before_journal",
                "params": {"written": written},
                "rows": sum(each["replaced"] for each in written),
                "undoes": None,
                "undone_by": None,
            },
        )
        of_change = {"grower": grower, "change": number[grower]}
        connection.execute(
            sa.insert(change_rows),
            [{**of_change, "place": place, **chunk} for place, chunk in enumerate(chunks)],
        )


def _superseded(history: str) -> Iterator[dict[str, Any]]:
    """The rows of a history: key and values as plain JSON, and whose and when they were."""
    current, kind, key, values = HISTORIES[history]
    types: dict[str, Any] = {"id": sa.Integer(), "grower": sa.String(), "superseded_at": MOMENT}
    types |= {name: KEY_TYPES.get(name, sa.String()) for name in key} | values
    table = sa.table(history, *(sa.column(name, type_) for name, type_ in types.items()))
    ids = _visit_ids() if current == "visits" else {}
    for row in op.get_bind().execute(sa.select(table)).mappings():
        plain_key = [_plain(row[name]) for name in key]
        before = {name: _plain(row[name]) for name in values}
        if current == "visits":
            held = ids.get((row["grower"], *plain_key))
            before["id"] = secrets.token_hex(8) if held is None else held
        yield {
            "grower": row["grower"],
            "superseded_at": _utc(row["superseded_at"]),
            "of_table": current,
            "kind": kind,
            "owner": plain_key[0],
            "id": row["id"],
            "key": plain_key[1:],
            "before": before,
        }


def _visit_ids() -> dict[tuple[Any, ...], str]:
    names = ["grower", "vineyard", "date", "subject", "observer", "id"]
    visits = sa.table("visits", *(sa.column(name, KEY_TYPES.get(name, sa.String())) for name in names))
    found = op.get_bind().execute(sa.select(visits)).all()
    return {tuple(_plain(part) for part in key): id_ for *key, id_ in found}


def _chunks(rows: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Rows of one table and owner, each key once; a key that was superseded twice stands in a later chunk."""
    while rows:
        once: dict[tuple[Any, ...], dict[str, Any]] = {}
        again = [row for row in rows if once.setdefault(tuple(row["key"]), row) is not row]
        first = [once[key] for key in sorted(once)]
        alone = rows[0]["of_table"] == "temperatures"  # nothing but a day is left of its key
        keys = [f"{row['key'][0]}/{row['key'][0]}" if alone else row["key"] for row in first]
        yield {
            "keys": keys,
            "before": {name: [row["before"][name] for row in first] for name in first[0]["before"]},
        }
        rows = again


def _plain(value: Any) -> Any:
    if isinstance(value, dt.datetime):
        return _utc(value).isoformat()
    return value.isoformat() if isinstance(value, dt.date) else value


def _utc(moment: dt.datetime) -> dt.datetime:
    return moment.replace(tzinfo=dt.UTC) if moment.tzinfo is None else moment.astimezone(dt.UTC)


def downgrade() -> None:
    """The histories come back empty: what the journal keeps has no place in them."""
    for history, (_, kind, key, values) in HISTORIES.items():
        op.create_table(
            history,
            sa.Column("grower", sa.String(), nullable=False),
            *(sa.Column(name, KEY_TYPES.get(name, sa.String()), nullable=False) for name in key),
            sa.Column("id", sa.Integer(), nullable=False),
            sa.Column("superseded_at", MOMENT, nullable=False),
            *(sa.Column(name, type_, nullable=name not in NEVER_EMPTY) for name, type_ in values.items()),
            sa.ForeignKeyConstraint(
                ["grower", kind], [f"{kind}s.grower", f"{kind}s.key"], name=op.f(f"fk_{history}_{kind}s")
            ),
            sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{history}")),
        )
        columns = ["grower", *key[:2]] if kind == "station" else ["grower", kind]
        op.create_index(op.f(f"ix_{history}_{'_'.join(columns)}"), history, columns)
    op.drop_table("change_rows")
    op.drop_table("changes")
    with op.batch_alter_table("visits") as visits:
        visits.drop_column("id")
    with op.batch_alter_table("blocks") as blocks:
        blocks.drop_column("removed")
    op.execute(
        "DELETE FROM calendar_events WHERE NOT EXISTS (SELECT 1 FROM vineyards "
        "WHERE vineyards.grower = calendar_events.grower AND vineyards.key = calendar_events.vineyard)"
    )
    with op.batch_alter_table("calendar_events") as events:
        events.drop_constraint("fk_calendar_events_growers", type_="foreignkey")
        events.create_foreign_key(
            "fk_calendar_events_vineyards", "vineyards", ["grower", "vineyard"], ["grower", "key"]
        )
