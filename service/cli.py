"""The command line: the demo, the service, and a report from files."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Annotated, Literal

import typer
import uvicorn
from rich.console import Console, RenderableType

import demo_weather
from service import tables
from service.access import LOCAL_GROWER, is_loopback
from service.api.deps import today
from service.app import create_app
from service.cli_calendar import calendar
from service.cli_hindcast import hindcast
from service.cli_parts import day, refuse, told_plainly
from service.cli_scout import scout
from service.ingest.temperature_headers import TemperatureUnit
from service.settings import Settings
from service.store.engine import Store
from service.threads import use_one_thread
from service.usecases.cautions import cautions_of
from service.usecases.demo import DemoLoaded, load_demo
from service.usecases.fit_documents import SavedFit
from service.usecases.fits import FitOptions, make_fit
from service.usecases.forecasts import VineyardForecast, stored_forecast
from service.usecases.frost import look_for_frost
from service.usecases.pollen import VineyardPollination, pollinate
from service.usecases.report import FilesRead, ReportFiles, ReportOptions, bloom_report
from service.words.cautions import caution_texts

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

Interval = Annotated[float, typer.Option(help="Probability of the interval, above 0 and below 1.")]
UnitsOption = Annotated[Literal["metric", "us"], typer.Option(help="Units of what is printed.")]
Csv = typer.Option(exists=True, dir_okay=False, readable=True)


@app.callback()
def prepare() -> None:
    """When each grape cultivar blooms, and where pollen runs out before the flowers that need it."""
    use_one_thread()


@app.command()
def demo(
    as_of: Annotated[
        str, typer.Option(help="Day of the forecast.", metavar="YYYY-MM-DD")
    ] = demo_weather.AS_OF.isoformat(),
    interval: Interval = 0.8,
    units: UnitsOption = "metric",
) -> None:
    """Load an invented vineyard, fit, forecast, and print bloom windows and pollen warnings."""
    out, on = tables.console(), day(as_of)
    with told_plainly(), tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'demo.db'}")
        try:
            store.migrate()
            with store.transaction(LOCAL_GROWER) as records:
                loaded = load_demo(records)
            _print_loaded(out, _demo_points(loaded))
            fit, _ = make_fit(store, LOCAL_GROWER, vineyards=None, options=FitOptions())
            with store.transaction(LOCAL_GROWER, read_only=True) as records:
                foreseen = stored_forecast(
                    records, demo_weather.VINEYARD.key, as_of=on, fit=fit.id, interval=interval
                )
        finally:
            store.close()
        _print_season(out, fit, foreseen, pollinate(foreseen), us=units == "us")


@app.command()
def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535)] = 8000,
) -> None:
    """Run the service. Settings come from CAPFALL_* variables; data are kept in capfall.db by default."""
    with told_plainly():
        settings = Settings()
        if settings.access == "open" and not is_loopback(host):
            refuse(
                f"open access serves only the machine it runs on, so not on {host}: "
                "leave --host out, or set CAPFALL_ACCESS=keys"
            )
        made = create_app(settings)
    uvicorn.run(made, host=host, port=port)


@app.command()
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
    reach_m: Annotated[float, typer.Option(min=0, help="How far pollen is carried.")] = 15.0,
    date_format: Annotated[
        str | None, typer.Option(help="How dates are written, as %d/%m/%Y; needed unless they are ISO.")
    ] = None,
    row_spacing_m: Annotated[
        float | None, typer.Option(help="Between rows, for a planting that is a grid.")
    ] = None,
    vine_spacing_m: Annotated[
        float | None, typer.Option(help="Between vines, for a planting that is a grid.")
    ] = None,
    interval: Interval = 0.8,
    units: UnitsOption = "metric",
) -> None:
    """Fit, forecast and print bloom windows and pollen warnings from CSV files. Nothing is stored."""
    out = tables.console()
    with told_plainly():
        files = ReportFiles(
            temperatures=temperatures.read_bytes(),
            planting=planting.read_bytes(),
            bloom_log=None if bloom_log is None else bloom_log.read_bytes(),
            visits=None if visits is None else visits.read_bytes(),
            outlook=None if outlook is None else outlook.read_bytes(),
        )
        options = ReportOptions(
            as_of=today() if as_of is None else day(as_of),
            unit=unit,
            latitude=latitude,
            reach_m=reach_m,
            interval=interval,
            date_format=date_format,
            row_spacing_m=row_spacing_m,
            vine_spacing_m=vine_spacing_m,
        )
        made = bloom_report(files, options)
        _print_loaded(out, _file_points(made.read))
        _print_season(out, made.fit, made.forecast, made.pollination, us=units == "us")


app.command()(calendar)
app.command()(scout)
app.command()(hindcast)


def _print_loaded(out: Console, texts: Sequence[str]) -> None:
    out.print(tables.heading("What was read"))
    _print_each(out, tables.points(texts))


def _print_season(
    out: Console,
    fit: SavedFit,
    foreseen: VineyardForecast,
    pollination: VineyardPollination,
    *,
    us: bool,
) -> None:
    out.print(tables.heading("Thresholds"))
    _print_each(out, tables.points(tables.fit_points(fit, us=us)))
    out.print(tables.heading("Bloom windows"))
    out.print(tables.windows(foreseen, us=us))
    _print_each(out, tables.points(tables.unknown_points(foreseen)))
    out.print(tables.heading("Pollen"))
    _print_each(out, tables.warnings(foreseen, pollination))
    frost = look_for_frost(foreseen)
    out.print(tables.heading("Frost"))
    _print_each(out, tables.points(tables.frost_points(frost, us=us)))
    out.print(tables.heading("Cautions"))
    _print_each(out, tables.points(caution_texts(cautions_of(foreseen, pollen=pollination, frost=frost))))


def _print_each(out: Console, parts: Iterable[RenderableType]) -> None:
    for part in parts:
        out.print(part)


def _demo_points(loaded: DemoLoaded) -> list[str]:
    return [
        f"{demo_weather.VINEYARD.name}: an invented vineyard with invented cultivars and weather",
        *tables.weather_points(loaded.temperatures),
        f"outlook: {loaded.outlook.first_date} to {loaded.outlook.last_date}",
        f"planting: {loaded.planting.blocks.stored} blocks, {len(loaded.planting.new_cultivars)} cultivars",
        f"bloom log: {loaded.bloom_log.rows_read} rows",
        *(f"bloom log: {warning}" for warning in loaded.bloom_log.warnings),
        f"visits: {loaded.visits.rows_read} rows",
        *(f"visits: {warning}" for warning in loaded.visits.warnings),
    ]


def _file_points(read: FilesRead) -> list[str]:
    texts = tables.weather_points(read.temperatures)
    if read.outlook is not None:
        texts.append(f"outlook: {read.outlook.first_date} to {read.outlook.last_date}")
    parts = (("planting", read.planting), ("bloom log", read.bloom_log), ("visits", read.visits))
    for name, part in parts:
        if part is not None:
            texts.append(f"{name}: {part.rows_read} rows")
            texts += [f"{name}: {warning}" for warning in part.warnings]
    return texts
