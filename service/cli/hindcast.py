"""The command that says how good forecasts of past seasons would have been."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal

import typer

import demo_weather
from models.bloom.hindcast import LEADS
from models.records import Cutoff, HeatMethod, HeatRule
from models.units import celsius_from_fahrenheit
from service.cli import hindcast_tables, tables
from service.cli.parts import (
    CheckedEveryDays,
    ConfirmOption,
    Csv,
    RowSpacing,
    SchedulerOption,
    VineSpacing,
    progress_of,
    read_options,
    refuse,
    told_plainly,
)
from service.ingest.any_planting import GridSpacing, spacing_of
from service.ingest.options import ReadOptions
from service.ingest.report import counted
from service.ingest.temperature_headers import TemperatureUnit
from service.settings import Settings
from service.usecases.fits import DEFAULT_STAGES
from service.usecases.hindcast import (
    GroupScore,
    HindcastOptions,
    HindcastReport,
    HindcastTask,
    plan_hindcast,
    run_hindcast,
)
from service.usecases.hindcast_documents import HindcastDocument, rows_as_csv
from service.usecases.hindcast_files import PastRead, read_past
from service.words.hindcast import how_made
from service.workers import WorkersLost, workers_for

Out = typer.Option(dir_okay=False, writable=True)


def hindcast(
    temperatures: Annotated[Path | None, Csv] = None,
    bloom_log: Annotated[Path | None, Csv] = None,
    planting: Annotated[Path | None, Csv] = None,
    demo: Annotated[bool, typer.Option("--demo", help="Take the demo's files.")] = False,
    unit: Annotated[
        TemperatureUnit | None, typer.Option(help="Of the temperatures, unless their headers say it.")
    ] = None,
    latitude: Annotated[
        float | None, typer.Option(min=-90, max=90, help="Degrees, south of the equator negative.")
    ] = None,
    date_format: Annotated[
        str | None, typer.Option(help="How dates are written, as %d/%m/%Y; needed unless they are ISO.")
    ] = None,
    confirm: ConfirmOption = None,
    checked_every_days: CheckedEveryDays = None,
    row_spacing_m: RowSpacing = None,
    vine_spacing_m: VineSpacing = None,
    stages: Annotated[
        str, typer.Option(help="Stage keys, split by commas; what was never observed is left out.")
    ] = ",".join(DEFAULT_STAGES),
    leads: Annotated[
        str, typer.Option(help="Days before a stage's mean date on which to forecast, split by commas.")
    ] = ",".join(map(str, LEADS)),
    interval: Annotated[
        float, typer.Option(help="Probability of the interval whose coverage is scored.")
    ] = 0.8,
    search: Annotated[
        bool | None,
        typer.Option(
            help="Choose the heat rule for each season from the others; by default unless it is given."
        ),
    ] = None,
    method: Annotated[HeatMethod | None, typer.Option(help="How a day's heat is counted.")] = None,
    base: Annotated[float | None, typer.Option(help="Base temperature in °C (°F with --units us).")] = None,
    upper: Annotated[float | None, typer.Option(help="Upper temperature, in the same unit.")] = None,
    cutoff: Annotated[Cutoff | None, typer.Option(help="What happens above the upper temperature.")] = None,
    accumulate_from: Annotated[
        str | None, typer.Option(help="First day of the sum of heat.", metavar="MM-DD")
    ] = None,
    units: Annotated[
        Literal["metric", "us"], typer.Option(help="Units of what is given and printed.")
    ] = "metric",
    by_cultivar: Annotated[
        bool, typer.Option("--by-cultivar", help="Print the scores of each cultivar too.")
    ] = False,
    csv: Annotated[Path | None, Out] = None,
    scheduler: SchedulerOption = None,
    json_file: Annotated[Path | None, typer.Option("--json", dir_okay=False, writable=True)] = None,
) -> None:
    """Forecast past seasons, from the ones before them and from all others, and print how good the forecasts were.

    A bloom log by cultivar needs no planting. All cores are used; the report goes to --json and the single
    forecasts to --csv, where these are given.
    """
    out = tables.console()
    us = units == "us"
    with told_plainly():
        rule = _rule(method, base, upper, cutoff, accumulate_from, us=us)
        if rule is not None and search:
            refuse("the search chooses the heat rule: leave --search out, or method, base, upper and start")
        if rule is None and search is False:
            rule = HeatRule()
        reading = read_options(date_format, confirm, checked_every_days)
        spacing = spacing_of(row_spacing_m, vine_spacing_m)
        read = _read(temperatures, bloom_log, planting, unit, latitude, reading, spacing, demo=demo)
        options = HindcastOptions(
            stages=tuple(_split(stages)),
            rule=rule,
            interval=interval,
            leads=tuple(_days(text) for text in _split(leads)),
        )
        report = _run(plan_hindcast([read.vineyard], options), scheduler or Settings().scheduler)
    out.print(tables.heading("What was read"))
    _print_points(_read_points(read))
    if report.past_rules:
        _print_scores(
            f"Scores in days; {counted(len(report.past_rules), 'season')}, each from the ones before it alone",
            report.past_scores,
            report,
            by_cultivar=by_cultivar,
        )
    _print_scores(
        f"Scores in days; {counted(len(report.rules), 'season')}, each left out in turn, later ones known too",
        report.scores,
        report,
        by_cultivar=by_cultivar,
    )
    out.print(
        "by dates: RMSE of the cultivar's mean date in the seasons learned from, which skill compares with\n"
        "by season: each season counts alike; CRPS and the share inside score a visit's date as an interval"
    )
    chosen = ", chosen without the season" if report.searched else ""
    if report.searched and report.past_rules:
        out.print(tables.heading("Heat rules, chosen from the seasons before alone"))
        _print_points(hindcast_tables.rule_points(report.past_rules, us=us))
    out.print(tables.heading(f"Heat rules{chosen}"))
    _print_points(hindcast_tables.rule_points(report.rules, us=us))
    if report.not_scored:
        out.print(tables.heading("Not scored"))
        _print_points(hindcast_tables.not_scored_points(report))
    out.print(tables.heading("How it was made"))
    out.print(how_made(searched=report.searched, interval=report.interval), markup=False)
    out.print(f"It took {report.seconds:.0f} s.")
    document = HindcastDocument.model_validate(report)
    if csv is not None:
        csv.write_text(rows_as_csv(document), encoding="utf-8")
    if json_file is not None:
        json_file.write_text(document.model_dump_json(indent=1), encoding="utf-8")


def _print_scores(
    heading: str, scores: Sequence[GroupScore], report: HindcastReport, *, by_cultivar: bool
) -> None:
    out = tables.console()
    out.print(tables.heading(heading))
    for table in hindcast_tables.score_tables(scores, report, by_cultivar=by_cultivar):
        out.print(table)


def _rule(
    method: HeatMethod | None,
    base: float | None,
    upper: float | None,
    cutoff: Cutoff | None,
    accumulate_from: str | None,
    *,
    us: bool,
) -> HeatRule | None:
    """The heat rule that is given; None if nothing of it is."""
    if all(part is None for part in (method, base, upper, cutoff, accumulate_from)):
        return None

    def celsius(value: float) -> float:
        return float(celsius_from_fahrenheit(value)) if us else value

    upper_c = None if upper is None else celsius(upper)
    usual: Cutoff = "none" if upper_c is None or method == "clamped_average" else "horizontal"
    return HeatRule(
        method=method or HeatRule.method,
        base_c=HeatRule.base_c if base is None else celsius(base),
        upper_c=upper_c,
        cutoff=cutoff or usual,
        accumulate_from=accumulate_from,
    )


def _read(
    temperatures: Path | None,
    bloom_log: Path | None,
    planting: Path | None,
    unit: TemperatureUnit | None,
    latitude: float | None,
    reading: ReadOptions,
    spacing: GridSpacing | None,
    *,
    demo: bool,
) -> PastRead:
    if demo:
        if temperatures or bloom_log or planting:
            refuse("--demo brings its own files: leave yours out, or --demo")
        files = demo_weather.files()
        return read_past(
            files["temperatures.csv"],
            files["bloom_log.csv"],
            planting=files["planting.csv"],
            latitude=demo_weather.STATION.latitude,
        )
    if temperatures is None or bloom_log is None:
        refuse("give --temperatures and --bloom-log, or --demo")
    return read_past(
        temperatures.read_bytes(),
        bloom_log.read_bytes(),
        planting=None if planting is None else planting.read_bytes(),
        spacing=spacing,
        unit=unit,
        latitude=latitude,
        options=reading,
    )


def _run(task: HindcastTask, scheduler: str | None) -> HindcastReport:
    """Under a bar that shows how far it is."""
    with workers_for(scheduler) as workers, progress_of() as tell:
        try:
            return run_hindcast(task, workers, tell)
        except WorkersLost:
            refuse("a process ended in the midst of the work, perhaps for want of memory")


def _read_points(read: PastRead) -> list[str]:
    texts = tables.weather_points(read.temperatures)
    if read.planting is not None:
        texts += [f"planting: {counted(read.planting.rows_read, 'row')}"]
        texts += [f"planting: {warning}" for warning in read.planting.warnings]
    texts += [f"bloom log: {counted(read.bloom_log.rows_read, 'row')}"]
    return [*texts, *(f"bloom log: {warning}" for warning in read.bloom_log.warnings)]


def _print_points(texts: Sequence[str]) -> None:
    out = tables.console()
    for part in tables.points(texts):
        out.print(part)


def _split(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]


def _days(text: str) -> int:
    if not text.isdecimal():
        raise typer.BadParameter(f"{text!r} is no number of days", param_hint="--leads")
    return int(text)
