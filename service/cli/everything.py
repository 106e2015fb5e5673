"""The commands that take all of a grower out as one file, and in again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from service.cli.parts import GrowerOption, opened_store, refuse, told_plainly
from service.settings import Settings
from service.store.engine import Store
from service.usecases.everything import read_export, take_in, write_export
from service.web.access import LOCAL_GROWER
from service.words.tables import rows_told

File = Annotated[Path, typer.Argument(dir_okay=False, help="The export, as GET /v1/export gives it.")]


def export(file: File, grower: GrowerOption = LOCAL_GROWER) -> None:
    """Write all that is kept of a grower into FILE: what was entered, changes, fits and hindcasts; no keys."""
    with told_plainly(), opened_store() as store:
        _check_there(store, grower)
        with store.transaction(grower, read_only=True) as records:
            content = write_export(records)
            held = records.everything.held()
        file.write_bytes(content)
    typer.echo(f"{file}: {', '.join(rows_told(held)) or 'nothing'}")


def import_(
    file: Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="An export.")],
    grower: GrowerOption = LOCAL_GROWER,
    preview: Annotated[
        bool, typer.Option("--preview", help="Say what it would bring; store nothing.")
    ] = False,
) -> None:
    """Take an export in, all of it or nothing, for a grower of whom nothing is kept yet."""
    from service.app import create_app  # it knows how a row is held against the bodies of the API

    with told_plainly(), opened_store(begins=True) as store:
        rows = read_export(file.read_bytes(), create_app(Settings()).state.check_row)
        with store.transaction(grower, preview=preview) as records:
            brought = take_in(records, rows)
    typer.echo(f"{grower}{' would have' if preview else ''}: {', '.join(rows_told(brought)) or 'nothing'}")


def _check_there(store: Store, grower: str) -> None:
    with store.access(read_only=True) as access:
        known = access.growers()
    if grower not in known:
        refuse(f"there is no grower {grower!r}; --grower names one of: {', '.join(known) or 'none is there'}")
