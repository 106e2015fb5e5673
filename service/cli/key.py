"""The commands about keys."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

import typer
from rich.table import Table

from service.cli import tables
from service.cli.parts import day, opened_store, told_plainly
from service.usecases.keys import make_key

app = typer.Typer(no_args_is_help=True, help="Make, list and revoke the keys that the service asks for.")


@app.command()
def add(
    name: Annotated[str, typer.Argument(help="Whose it is, as the list of changes tells it.")],
    grower: Annotated[list[str], typer.Option(help="Whose data it lets in to; may be given several times.")],
    role: Annotated[
        Literal["read", "record", "manage"],
        typer.Option(help="record: visits and frost marks too; manage: everything, keys too."),
    ],
    expires_on: Annotated[
        str | None,
        typer.Option(help="Last day on which it is good (UTC); by default it stays.", metavar="YYYY-MM-DD"),
    ] = None,
) -> None:
    """Make a key and print its secret, this once: only what it is known by is kept."""
    over = None if expires_on is None else _end_of(day(expires_on))
    with told_plainly(), opened_store() as store, store.access() as access:
        key, secret = make_key(access, name=name, role=role, growers=grower, expires_at=over)
    typer.echo(secret)
    typer.echo(f"key {key.id} of {key.name} may {key.role}: keep it now, it is not shown again", err=True)


@app.command("list")
def list_keys() -> None:
    """List all keys: what they are called, not their secrets."""
    table = Table("key", "name", "may", "growers", "made", "expires", box=None)
    with told_plainly(), opened_store() as store, store.access(read_only=True) as access:
        for key in access.all_keys():
            may = key.role if key.vineyard is None else f"{key.role} of {key.vineyard}"
            expires = "" if key.expires_at is None else f"{key.expires_at:%Y-%m-%d %H:%M}"
            table.add_row(
                key.id, key.name, may, ", ".join(key.growers), f"{key.created_at:%Y-%m-%d}", expires
            )
    tables.console().print(table)


@app.command()
def revoke(key: Annotated[str, typer.Argument(help="Its identifier, the first column of the list.")]) -> None:
    """Revoke a key at once, with the calendar links made with it."""
    with told_plainly(), opened_store() as store, store.access() as access:
        access.revoke(key)
    typer.echo(f"key {key} is revoked")


def _end_of(last: dt.date) -> dt.datetime:
    return dt.datetime.combine(last + dt.timedelta(days=1), dt.time(), dt.UTC)
