"""The command that takes a folder of station files."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table
from rich.text import Text

from models.errors import BadInput
from service.cli import tables
from service.cli.parts import (
    ConfirmOption,
    GrowerOption,
    opened_store,
    progress_of,
    read_options,
    refuse,
    told_plainly,
)
from service.ingest.names import slug
from service.ingest.options import ReadOptions
from service.ingest.report import counted
from service.ingest.station_places import StationPlace, read_station_places
from service.ingest.temperature_headers import TemperatureUnit
from service.store.engine import Store
from service.usecases.station_files import LIST, ImportedStation, import_station
from service.web.access import LOCAL_GROWER
from service.web.edge_words import for_command
from service.web.problems import located
from service.words.errors import Reader, error_words

SOME_REFUSED = 1  # exit code
Imported = ImportedStation | BadInput


def import_stations(
    folder: Annotated[
        Path, typer.Argument(exists=True, file_okay=False, help="With a CSV file for each station.")
    ],
    grower: GrowerOption = LOCAL_GROWER,
    unit: Annotated[
        TemperatureUnit | None, typer.Option(help="Of all files whose headers do not say it.")
    ] = None,
    date_format: Annotated[
        str | None, typer.Option(help="How dates are written, as %d/%m/%Y; needed unless they are ISO.")
    ] = None,
    confirm: ConfirmOption = None,
) -> None:
    """Store the measured temperatures of many stations: each CSV file of a folder is one, named by its file.

    Where stations stand tells a stations.csv beside them: key,name,latitude,longitude,elevation_m; those that are
    there already may be left out. A file is taken as a whole or not at all, and the others go on. Run it again as
    often as you like: days that are there are unchanged. The exit code is 1 where a file was refused.
    """
    reading = read_options(date_format, confirm, None)
    found: dict[str, Imported] = {}
    with told_plainly(), opened_store(begins=True) as store:
        _check_grower(store, grower)
        files = _files(folder)
        listed = folder / LIST
        places = read_station_places(listed.read_bytes()) if listed.is_file() else ()
        by_key = {place.key: place for place in places}
        keys = Counter(_key(file) for file in files)
        try:
            with progress_of() as tell:
                for done, file in enumerate(files):
                    tell(done / len(files), file.name)
                    found[file.name] = _import(store, grower, file, by_key, keys, unit, reading)
        finally:  # what was taken stays, whatever ends the work
            _print(found, without=sorted(by_key.keys() - keys.keys()))
    if any(isinstance(each, BadInput) for each in found.values()):
        raise typer.Exit(SOME_REFUSED)


def _import(
    store: Store,
    grower: str,
    file: Path,
    places: Mapping[str, StationPlace],
    keys: Counter[str | None],
    unit: TemperatureUnit | None,
    options: ReadOptions,
) -> Imported:
    try:
        key = slug(file.stem)
        if keys[key] > 1:
            return BadInput(f"{keys[key]} files are called like station {key!r}")
        data = file.read_bytes()
        return import_station(store, grower, key, data, places, unit=unit, options=options)
    except BadInput as error:
        return error
    except OSError as error:
        return BadInput(f"the file cannot be read: {error.strerror}")


def _files(folder: Path) -> list[Path]:
    files = sorted(
        each
        for each in folder.iterdir()
        if each.suffix.casefold() == ".csv" and each.name.casefold() != LIST and each.is_file()
    )
    if not files:
        refuse(f"{folder} holds no CSV file of a station")
    return files


def _key(file: Path) -> str | None:
    try:
        return slug(file.stem)
    except BadInput:
        return None


def _check_grower(store: Store, grower: str) -> None:
    with store.access(read_only=True) as access:
        known = {LOCAL_GROWER, *access.growers()}
    if grower not in known:
        refuse(f"there is no grower {grower!r}: capfall grower add {grower}")


def _print(found: Mapping[str, Imported], *, without: Sequence[str]) -> None:
    out = tables.console()
    table = Table("file", "rows", "new", "replaced", "unchanged", "gaps", "from", "to", "", box=None)
    for name, came in found.items():
        if isinstance(came, BadInput):
            table.add_row(name, *[""] * 7, Text("refused", style="bold red"))
        else:
            numbers = (came.read.rows_read, *came.counts.numbers().values(), len(came.read.gaps))
            days = (came.read.first_date, came.read.last_date)
            said = "new station" if came.new else ""
            table.add_row(name, *(f"{number:,}" for number in numbers), *map(str, days), said)
    out.print(table)
    for text in _points(found):
        out.print(Text(text), soft_wrap=True)
    if without:
        out.print(Text(f"{LIST}: no file for {', '.join(without)}"))
    refused = sum(isinstance(came, BadInput) for came in found.values())
    out.print(Text(f"{counted(len(found) - refused, 'station')} taken, {counted(refused, 'file')} refused"))


def _points(found: Mapping[str, Imported]) -> list[str]:
    """What is wrong with the files that were refused, and what was noticed in the others."""
    texts = []
    for name, came in found.items():
        if isinstance(came, BadInput):
            texts.append(for_command(f"{name}: {error_words(came, Reader.TERMINAL)}"))
            texts += [for_command(f"{name}: {fault.where}: {fault.problem}") for fault in located(came)]
        else:
            texts += [f"{name}: {warning}" for warning in came.warnings]
    return texts
