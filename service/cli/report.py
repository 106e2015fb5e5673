"""The command that forecasts from files alone."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from models.records import REACH_M
from service import clock
from service.cli import tables
from service.cli.parts import (
    CheckedEveryDays,
    ConfirmOption,
    Csv,
    Interval,
    RowSpacing,
    UnitsOption,
    VineSpacing,
    day,
    read_options,
    told_plainly,
)
from service.cli.season import print_loaded, print_season
from service.ingest.temperature_headers import TemperatureUnit
from service.usecases.report import FilesRead, ReportFiles, ReportOptions, bloom_report
from service.web.edge_words import for_command

FileDates = Annotated[str | None, typer.Option(help="How dates are written in that file alone.")]


def report(
    temperatures: Annotated[Path, Csv],
    planting: Annotated[Path, Csv],
    bloom_log: Annotated[Path | None, Csv] = None,
    visits: Annotated[Path | None, Csv] = None,
    outlook: Annotated[Path | None, Csv] = None,
    unit: Annotated[
        TemperatureUnit | None, typer.Option(help="Of the temperatures, unless their headers say it.")
    ] = None,
    as_of: Annotated[
        str | None, typer.Option(help="Day of the forecast, by default today.", metavar="YYYY-MM-DD")
    ] = None,
    latitude: Annotated[
        float | None, typer.Option(min=-90, max=90, help="Degrees, south of the equator negative.")
    ] = None,
    reach_m: Annotated[float, typer.Option(min=0, help="How far pollen is carried.")] = REACH_M,
    date_format: Annotated[
        str | None,
        typer.Option(help="How dates are written, as %d/%m/%Y, %m/%d or %j; needed unless they are ISO."),
    ] = None,
    temperatures_date_format: FileDates = None,
    bloom_log_date_format: FileDates = None,
    visits_date_format: FileDates = None,
    outlook_date_format: FileDates = None,
    checked_every_days: CheckedEveryDays = None,
    row_spacing_m: RowSpacing = None,
    vine_spacing_m: VineSpacing = None,
    confirm: ConfirmOption = None,
    interval: Interval = 0.8,
    units: UnitsOption = "metric",
) -> None:
    """Fit, forecast and print bloom windows and pollen warnings from CSV or .xlsx files. Nothing is stored."""
    out = tables.console()
    with told_plainly():
        files = ReportFiles(
            temperatures=temperatures.read_bytes(),
            planting=planting.read_bytes(),
            bloom_log=None if bloom_log is None else bloom_log.read_bytes(),
            visits=None if visits is None else visits.read_bytes(),
            outlook=None if outlook is None else outlook.read_bytes(),
        )
        formats = {
            "temperatures": temperatures_date_format,
            "bloom_log": bloom_log_date_format,
            "visits": visits_date_format,
            "outlook": outlook_date_format,
        }
        options = ReportOptions(
            as_of=clock.today() if as_of is None else day(as_of),
            unit=unit,
            latitude=latitude,
            reach_m=reach_m,
            interval=interval,
            reading=read_options(date_format, confirm, checked_every_days),
            date_formats={name: told for name, told in formats.items() if told is not None},
            row_spacing_m=row_spacing_m,
            vine_spacing_m=vine_spacing_m,
        )
        made = bloom_report(files, options)
        print_loaded(out, _file_points(made.read))
        print_season(out, made.fit, made.forecast, made.pollination, us=units == "us")


def _file_points(read: FilesRead) -> list[str]:
    texts = tables.weather_points(read.temperatures)
    if read.outlook is not None:
        texts.append(f"outlook: {read.outlook.first_date} to {read.outlook.last_date}")
    parts = (("planting", read.planting), ("bloom log", read.bloom_log), ("visits", read.visits))
    for name, part in parts:
        if part is not None:
            texts.append(f"{name}: {part.rows_read} rows")
            texts += [for_command(f"{name}: {warning}") for warning in part.warnings]
    return texts
