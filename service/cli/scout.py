"""The command that plans the scouting trips."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Annotated

import typer
from rich.console import RenderableType
from rich.table import Table

import demo_weather
from models.records import REACH_M
from models.vineyard.scouting import LEAST_TOLD_DAYS, Plan, PlannedTask, Trip, Window, alike
from service import clock
from service.cli import tables
from service.cli.parts import (
    CheckedEveryDays,
    ConfirmOption,
    Csv,
    GrowerOption,
    RowSpacing,
    VineSpacing,
    day,
    opened_store,
    read_options,
    refuse,
    told_plainly,
)
from service.ingest.temperature_headers import TemperatureUnit
from service.usecases.cautions import cautions_of
from service.usecases.forecasts import VineyardForecast, stored_forecast
from service.usecases.report import ReportFiles, ReportOptions, bloom_report
from service.usecases.scouting import CHANCE, plan_scouting
from service.web.access import LOCAL_GROWER
from service.words.cautions import caution_texts
from service.words.plain import in_words, percent, weekday_name
from service.words.scouting import TASK_NAMES, best_look_words, look_for, why_look, why_missed

INTERVAL = 0.8


def scout(
    vineyard: Annotated[str | None, typer.Option(help="A vineyard of the service's database.")] = None,
    grower: GrowerOption = LOCAL_GROWER,
    demo: Annotated[bool, typer.Option("--demo", help="The invented vineyard.")] = False,
    temperatures: Annotated[Path | None, Csv] = None,
    planting: Annotated[Path | None, Csv] = None,
    bloom_log: Annotated[Path | None, Csv] = None,
    visits: Annotated[Path | None, Csv] = None,
    outlook: Annotated[Path | None, Csv] = None,
    unit: Annotated[
        TemperatureUnit | None, typer.Option(help="Of the temperatures, unless their headers say it.")
    ] = None,
    as_of: Annotated[
        str | None, typer.Option(help="First day of the plan, by default today.", metavar="YYYY-MM-DD")
    ] = None,
    latitude: Annotated[
        float | None, typer.Option(min=-90, max=90, help="Degrees, south of the equator negative.")
    ] = None,
    date_format: Annotated[
        str | None, typer.Option(help="How dates are written, as %d/%m/%Y; needed unless they are ISO.")
    ] = None,
    confirm: ConfirmOption = None,
    checked_every_days: CheckedEveryDays = None,
    reach_m: Annotated[float, typer.Option(min=0, help="How far pollen is carried.")] = REACH_M,
    row_spacing_m: RowSpacing = None,
    vine_spacing_m: VineSpacing = None,
    weekdays: Annotated[
        str | None, typer.Option(help="On which days trips are possible, as tue,fri; by default all.")
    ] = None,
    max_trips: Annotated[int | None, typer.Option(min=1, help="At most so many trips.")] = None,
    chance: Annotated[
        float, typer.Option(help="That a trip's day is the right time, wherever the forecast allows it.")
    ] = CHANCE,
) -> None:
    """Print the fewest trips on which all that is to be looked at can be seen, and what to look for.

    Of a vineyard that the service keeps (--vineyard), of files (--temperatures, --planting, and --bloom-log or
    --visits), or of the demo.
    """
    asked = None if as_of is None else day(as_of)
    files = None if temperatures is None or planting is None else (temperatures, planting)
    if [vineyard is not None, demo, files is not None].count(True) != 1:
        refuse("say what to plan for: --vineyard KEY, or --demo, or files with --temperatures and --planting")
    with told_plainly():
        if vineyard is not None:
            with opened_store() as store, store.transaction(grower, read_only=True) as records:
                on = asked or clock.today(records.vineyards.get(vineyard).timezone)
                foreseen = stored_forecast(records, vineyard, as_of=on, fit=None, interval=INTERVAL)
        elif files is None:
            content = {name.removesuffix(".csv"): data for name, data in demo_weather.files().items()}
            options = ReportOptions(
                as_of=asked or demo_weather.AS_OF,
                latitude=demo_weather.STATION.latitude,
                reach_m=demo_weather.VINEYARD.reach_m,
            )
            foreseen = bloom_report(ReportFiles(**content), options).forecast
        else:
            given = ReportFiles(
                temperatures=files[0].read_bytes(),
                planting=files[1].read_bytes(),
                bloom_log=None if bloom_log is None else bloom_log.read_bytes(),
                visits=None if visits is None else visits.read_bytes(),
                outlook=None if outlook is None else outlook.read_bytes(),
            )
            options = ReportOptions(
                as_of=asked or clock.today(),
                unit=unit,
                latitude=latitude,
                reach_m=reach_m,
                reading=read_options(date_format, confirm, checked_every_days),
                row_spacing_m=row_spacing_m,
                vine_spacing_m=vine_spacing_m,
            )
            foreseen = bloom_report(given, options).forecast
        plan = plan_scouting(foreseen, weekdays=weekdays, max_trips=max_trips, chance=chance)
    out = tables.console()
    for part in plan_parts(plan, foreseen):
        out.print(part)


def plan_parts(plan: Plan, foreseen: VineyardForecast) -> Iterable[RenderableType]:
    """A plan for a terminal: each trip, what is on none, and the cautions."""
    count = len(plan.trips)
    found = foreseen.forecast
    yield tables.heading(
        f"{count} {'trip' if count == 1 else 'trips'} from {in_words(found.as_of)} on, season {found.season}"
    )
    if plan.best_look is not None:
        yield from tables.points([best_look_words(plan.best_look)])
    for trip in plan.trips:
        yield _trip(trip)
    if plan.missed:
        yield tables.heading("On no trip")
        yield from tables.points(
            f"{TASK_NAMES[task.task]}, {task.block}: {why_missed(task)}" for task in plan.missed
        )
    yield tables.heading("Cautions")
    yield from tables.points(caution_texts(cautions_of(foreseen)))


def _trip(trip: Trip) -> Table:
    table = Table(width=tables.WIDEST, title_justify="left", title_style="bold", show_lines=True)
    table.title = f"{weekday_name(trip.date)} {in_words(trip.date)} {trip.date.year}"
    table.add_column("task", no_wrap=True)
    for title in ("block", "good days", "chance"):
        table.add_column(title, no_wrap=True)
    table.add_column("look for, and why", ratio=1)
    for tasks in alike(trip.tasks):
        first = tasks[0]
        table.add_row(
            TASK_NAMES[first.task],
            "\n".join(task.block for task in tasks),
            "\n".join(_days(task.window) for task in tasks),
            "\n".join(percent(task.chance) for task in tasks),
            "\n".join([look_for(first.look), why_look(first.look), *_taught(tasks)]),
        )
    return table


def _taught(tasks: Sequence[PlannedTask]) -> Iterable[str]:
    """What each of these looks teaches, where it is worth a word."""
    told = [f"{task.block} {task.narrows_days:.1f}" for task in tasks if task.narrows_days >= LEAST_TOLD_DAYS]
    if told:
        yield f"Narrows the bloom windows by about so many days on average: {', '.join(told)}."


def _days(window: Window) -> str:
    return f"{in_words(window.first_day)} - {in_words(window.last_day)}"
