"""The command that writes a vineyard's calendar to a file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from service.cli.parts import GrowerOption, day, opened_store, told_plainly
from service.feed.season import season_calendar
from service.web.access import LOCAL_GROWER


def calendar(
    vineyard: Annotated[str, typer.Option(help="The vineyard's identifier.")],
    grower: GrowerOption = LOCAL_GROWER,
    as_of: Annotated[
        str | None,
        typer.Option(help="Day to look ahead from, by default the vineyard's today.", metavar="YYYY-MM-DD"),
    ] = None,
    fit: Annotated[str | None, typer.Option(help="The fit's identifier, by default the one in use.")] = None,
    out: Annotated[
        Path | None,
        typer.Option(dir_okay=False, writable=True, help="By default VINEYARD.ics in this folder."),
    ] = None,
) -> None:
    """Write bloom windows, scouting trips and pollen warnings as a calendar file (RFC 5545).

    It is what the service answers to those who subscribe: import it again, and events move instead of doubling.
    """
    asked = None if as_of is None else day(as_of)
    with told_plainly(), opened_store() as store:
        stream = season_calendar(store, grower, vineyard, as_of=asked, fit=fit)
    path = Path(f"{vineyard}.ics") if out is None else out
    path.write_bytes(stream)
    typer.echo(f"{path}: {stream.count(b'BEGIN:VEVENT')} events")
