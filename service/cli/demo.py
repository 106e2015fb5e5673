"""The command that shows what Capfall does, on an invented vineyard."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated

import typer

import demo_weather
from service.cli import tables
from service.cli.parts import Interval, UnitsOption, day, told_plainly
from service.cli.season import print_loaded, print_season
from service.store.engine import Store
from service.usecases.demo import DemoLoaded, load_demo
from service.usecases.fits import FitOptions, make_fit
from service.usecases.forecasts import stored_forecast
from service.usecases.pollen import pollinate
from service.web.access import LOCAL_GROWER


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
            print_loaded(out, _demo_points(loaded))
            fit, _ = make_fit(store, LOCAL_GROWER, vineyards=None, options=FitOptions())
            with store.transaction(LOCAL_GROWER, read_only=True) as records:
                foreseen = stored_forecast(
                    records, demo_weather.VINEYARD.key, as_of=on, fit=fit.id, interval=interval
                )
        finally:
            store.close()
        print_season(out, fit, foreseen, pollinate(foreseen), us=units == "us")


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
