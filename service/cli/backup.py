"""The commands that copy the database, look it over, and put a copy back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from service.cli.parts import refuse, told_plainly
from service.settings import Settings
from service.store.backup import Checked, back_up, database_file
from service.store.backup import check as look_over
from service.store.backup import restore as put_back
from service.store.engine import Store
from service.words.tables import rows_told

File = Annotated[Path, typer.Argument(dir_okay=False, help="The copy.")]


def backup(file: File) -> None:
    """Copy the database into FILE, while the service runs; an older FILE is replaced once the new one is whole."""
    with told_plainly():
        found = back_up(Settings().database_url, file)
    typer.echo(f"{file}: {_said(found)}")


def restore(file: File) -> None:
    """Put the copy in the place of what the database holds; that is kept beside it first."""
    with told_plainly():
        url = Settings().database_url
        kept = put_back(url, file)
        store = Store(url)
        try:
            store.migrate()
            with store.access() as access:
                access.end_all_sessions()
                keys = len(access.all_keys())
        finally:
            store.close()
        found = look_over(database_file(url))
    if kept is not None:
        typer.echo(f"what was there is kept in {kept}")
    typer.echo(f"{database_file(url)}: {_said(found)}")
    if keys:
        typer.echo(
            f"{keys} {'key and link lets' if keys == 1 else 'keys and links let'} in as when the copy was made, also "
            "what was revoked since: see capfall key list. Every browser has to sign in again.",
            err=True,
        )


def check(
    file: Annotated[
        Path | None, typer.Argument(dir_okay=False, help="A copy; by default the database.")
    ] = None,
) -> None:
    """Look over the database, or a copy of it: pages, references, tables, and how much it holds."""
    with told_plainly():
        looked_at = database_file(Settings().database_url) if file is None else file
        found = look_over(looked_at)
    if found.faults:
        refuse(f"{looked_at} has faults:", *(f"  {fault}" for fault in found.faults))
    typer.echo(f"{looked_at}: {_said(found)}")


def _said(found: Checked) -> str:
    return f"whole, step {found.revision}: {', '.join(rows_told(found.rows)) or 'empty'}"
