"""The commands about growers."""

from __future__ import annotations

from typing import Annotated

import typer
from pydantic import TypeAdapter, ValidationError

from service.cli.parts import opened_store, refuse, told_plainly
from service.usecases.documents import Slug

app = typer.Typer(no_args_is_help=True, help="The growers whose data the service keeps.")

Grower = Annotated[str, typer.Argument(help="The grower's identifier, as hill-farm.")]


@app.command()
def add(grower: Grower) -> None:
    """Make a grower; then make a key that lets in: capfall key add."""
    _check(grower)
    with told_plainly(), opened_store(begins=True) as store, store.access() as access:
        access.add_grower(grower)
    typer.echo(f"grower {grower} is there")


@app.command("list")
def list_growers() -> None:
    """List all growers."""
    with told_plainly(), opened_store() as store, store.access(read_only=True) as access:
        for grower in access.growers():
            typer.echo(grower)


@app.command()
def rename(grower: Grower, to: Annotated[str, typer.Argument(help="The new identifier.")]) -> None:
    """Give a grower another identifier, as a name to "local", whom open access serves. All data and keys follow."""
    _check(to)
    with told_plainly(), opened_store() as store, store.access() as access:
        access.rename_grower(grower, to)
    typer.echo(f"grower {grower} is {to} now")


@app.command()
def delete(
    grower: Grower,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Delete a grower and all that is the grower's, for good: nothing of it can be undone."""
    if not yes:
        typer.confirm(f"Delete all vineyards, weather and observations of {grower} for good?", abort=True)
    with told_plainly(), opened_store() as store, store.access() as access:
        access.delete_grower(grower)
    typer.echo(f"grower {grower} is deleted")


def _check(grower: str) -> None:
    try:
        TypeAdapter(Slug).validate_python(grower)
    except ValidationError:
        refuse(f"{grower!r} is no identifier: take small letters, digits and hyphens, as hill-farm")
