"""What is measured against what, as one table of ratios; each pair in turn, in one run, by processor time.

    .venv/bin/python -m tests.benchmarks.goals [start degree_days fit forecast upload answers blocks region hindcast]

Machines differ, so only ratios are worth quoting; a goal is a ratio too, where it can be. ``cores`` stands above the
table. What both ways compute is asserted to be the same before it is timed, where they compute the same.
"""

from __future__ import annotations

import asyncio
import io
import resource
import subprocess
import sys
import tempfile
import time
import tracemalloc
import warnings
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

import demo_weather
from models.bloom.forecast import DRAWS, forecast
from models.bloom.site import Site
from models.bloom.thresholds import fit_intervals
from models.bloom.traces import crossing_days
from models.grid import region_question
from models.heat.degree_days import daily_degree_days
from models.records import HeatRule
from service.app import create_app
from service.ingest.temperatures import read_temperatures
from service.settings import Settings
from service.store.engine import Store
from service.store.records import Station
from service.threads import use_one_thread
from service.usecases.demo import load_demo
from service.usecases.fits import DEFAULT_STAGES, FitOptions, get_fit, make_fit
from service.usecases.hindcast import HindcastOptions, plan_hindcast, run_hindcast
from service.usecases.region import RegionTask, compute_tile, plan_region
from service.usecases.temperatures import store_observed
from service.usecases.vineyard_records import load_vineyard
from service.workers import Workers, available_cores
from tests.bloom.simulated import draw_truth, simulated_intervals
from tests.bloom.test_mixed_model_against_statsmodels import mixed_lm
from tests.hindcast.past import invented_vineyard, invented_weather, weather_csv

VINEYARD = demo_weather.VINEYARD.key
SEED = 11
HOST = [(b"host", b"127.0.0.1")]


def processor_seconds(work: Callable[[], object]) -> float:
    """Of one run, in this process and the children that it waited for. [s]"""
    usage = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    before = sum(each.ru_utime + each.ru_stime for each in usage)
    work()
    usage = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in usage) - before


def in_turn(*works: Callable[[], object], times: int = 5) -> list[float]:
    """The least processor time of each, taken in turn. [s]"""
    for work in works:
        work()
    rounds = [[processor_seconds(work) for work in works] for _ in range(times)]
    return [min(each) for each in zip(*rounds, strict=True)]


def line(name: str, ours: float, other: float, goal: str, *, of: str) -> None:
    """One pair: both times, and how many times the other's ours is."""
    print(f"{name:42} {ours:10.4f} s {other:10.4f} s {ours / other:8.2f} x  {of:38} goal {goal}", flush=True)


def start() -> None:
    """The list of commands and the import of the service against the import of NumPy, each in a new process."""

    def run(*code: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, *code], check=True, capture_output=True)

    listing = "from service.cli import app\ntry: app(['--help'])\nexcept SystemExit: pass"
    codes = ("-c", listing), ("-c", "import service.app"), ("-c", "import numpy")
    listed, service, library = in_turn(*(run(*code) for code in codes), times=3)
    line("capfall --help", listed, library, "0.5 s (3.3 x)", of="import numpy")
    line("import of the service", service, library, "1.8 s (12 x)", of="import numpy")


def degree_days() -> None:
    """Every method on 10,000 station-years against the bare expression, and xclim where it has the method."""
    from xclim.indices import growing_degree_days

    random = np.random.default_rng(SEED)
    mean = 15 + 10 * random.standard_normal((10_000, 365))
    low, high = mean - 6, mean + 6
    base = 10.0

    def sine() -> Any:
        half, height = (high - low) / 2, np.clip((base - (low + high) / 2) / ((high - low) / 2), -1, 1)
        angle = np.arcsin(height)
        return (((low + high) / 2 - base) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi

    def triangle() -> Any:
        cut = np.maximum(high - base, 0) ** 2 / (2 * (high - low))
        return np.where(low >= base, (low + high) / 2 - base, cut)

    bare: Mapping[str, Callable[[], Any]] = {
        "average": lambda: np.maximum((low + high) / 2 - base, 0.0),
        "single_sine": sine,
        "single_triangle": triangle,
    }
    for method, expression in bare.items():
        rule = HeatRule(method)  # type: ignore[arg-type]
        np.testing.assert_allclose(daily_degree_days(low, high, rule), expression(), atol=1e-9)
        ours, plain = in_turn(partial(daily_degree_days, low, high, rule), expression, times=3)
        line(f"degree-days, {method}", ours, plain, "at most 1.3 x", of="the bare expression")
    whole: Mapping[str, Callable[[], Any]] = {
        "clamped_average": lambda: np.maximum(
            (np.clip(low, base, 30) + np.clip(high, base, 30)) / 2 - base, 0
        ),
        "double_sine": sine,
        "double_triangle": triangle,
    }
    for method, expression in whole.items():
        rule = HeatRule(method, upper_c=30.0 if method == "clamped_average" else None)  # type: ignore[arg-type]
        ours, plain = in_turn(partial(daily_degree_days, low, high, rule), expression, times=3)
        line(f"degree-days, {method}", ours, plain, "none", of="one bare expression of a day")
    days = pd.date_range("2001-01-01", periods=365)
    grid = xr.DataArray(mean, dims=("station", "time"), coords={"time": days}, attrs={"units": "degC"})
    average = HeatRule()
    ours, theirs = in_turn(
        lambda: daily_degree_days(low, high, average).sum(axis=1),
        lambda: growing_degree_days(grid, thresh="10 degC").load(),
        times=3,
    )
    line("season sums of the average", ours, theirs, "at most 0.2 x", of="xclim growing_degree_days")


def fit() -> None:
    """60 cultivars, 25 seasons, 3 sites (as 75 seasons) at one stage against MixedLM on midpoints."""
    random = np.random.default_rng(SEED)
    intervals = simulated_intervals(
        random, draw_truth(random, cultivars=60), seasons=75, days_between_visits=1.0, one_place=False
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        ours, theirs = in_turn(
            lambda: fit_intervals(intervals, rule=HeatRule()), lambda: mixed_lm(intervals), times=1
        )
    line("fit of 60 cultivars, 75 seasons", ours, theirs, "at most 1 x", of="MixedLM on midpoints")


def demo_store(folder: Path) -> Store:
    """The demo, fitted."""
    store = Store(f"sqlite:///{folder / 'demo.db'}")
    store.migrate()
    with store.transaction("local") as records:
        load_demo(records)
    make_fit(store, "local", vineyards=None, options=FitOptions(rule=HeatRule()))
    return store


def forecast_of_many() -> None:
    """200 blocks, 30 traces and 2,000 draws: crossings against a loop over draws, time by blocks, and memory."""
    random = np.random.default_rng(SEED)
    curves = np.cumsum(random.gamma(4, 3, (30, 365)), axis=1)
    trace_of = np.arange(DRAWS, dtype=np.int64) % 30
    heat = np.sort(random.uniform(300, 3000, (DRAWS, 200, 3)), axis=-1)

    def loop() -> Any:
        few = zip(trace_of[:20], heat[:20], strict=True)
        return np.array([[np.searchsorted(curves[at], one) for one in needed.ravel()] for at, needed in few])

    assert np.array_equal(loop().ravel(), crossing_days(curves, trace_of, heat)[:20].ravel())
    ours, plain = in_turn(lambda: crossing_days(curves, trace_of, heat), loop, times=3)
    of = "a loop over draws (20, times 100)"
    line("crossings of 200 blocks, 2,000 draws", ours, plain * DRAWS / 20, "at most 0.01 x", of=of)
    site = invented_vineyard(1995, 2024).site
    with tempfile.TemporaryDirectory() as folder:
        store = demo_store(Path(folder))
        with store.transaction("local", read_only=True) as records:
            saved = get_fit(records, records.fits.all()[0].id)
            demo = load_vineyard(records, VINEYARD)
        store.close()
    blocks = [
        replace(demo.planting.blocks[place % len(demo.planting.blocks)], key=f"b{place}")
        for place in range(200)
    ]
    here = Site("elsewhere", site.latitude, site.temperatures)
    day = demo_weather.AS_OF.replace(year=2025)

    def ask(count: int) -> Callable[[], object]:
        return lambda: forecast(saved.fit, here, blocks[:count], as_of=day)

    few, many = in_turn(ask(20), ask(200), times=2)
    line(
        "forecast of 200 blocks, 30 seasons", many, few * 10, "at most 1 x", of="ten times that of 20 blocks"
    )
    tracemalloc.start()
    ask(200)()
    print(f"  its memory at most {tracemalloc.get_traced_memory()[1] / 1e6:.0f} MB; goal 300 MB")
    tracemalloc.stop()


def upload() -> None:
    """40 years of days, checked and stored, against pandas that only reads them."""
    text = weather_csv(invented_weather(1980, 2019)).encode()
    with tempfile.TemporaryDirectory() as folder:
        store = demo_store(Path(folder))

        with store.transaction("local") as records:
            records.stations.put(Station("new-mast", "New mast", 33.0, -84.0, 250.0))

        def ours() -> object:
            read = read_temperatures(text, unit="C")
            with store.transaction("local", preview=True) as records:
                return store_observed(records, "new-mast", read)

        checked, plain = in_turn(ours, lambda: pd.read_csv(io.BytesIO(text), parse_dates=["date"]), times=3)
        store.close()
    line("upload of 40 years, stored", checked, plain, "at most 8 x", of="pandas.read_csv")


def answers() -> None:
    """Every computed answer, asked for the first time and again, against an empty route."""
    home, station = f"/v1/vineyards/{VINEYARD}", f"/v1/stations/{demo_weather.STATION.key}"
    day = f"?as_of={demo_weather.AS_OF}"
    paths = [
        *(f"{home}/{what}{day}" for what in ("forecast", "pollination", "scouting")),
        *(f"{home}/calendar.ics", f"{home}/planting-check", f"{station}/degree-days"),
        *(f"/vineyards/{VINEYARD}{day}", f"/vineyards/{VINEYARD}/map{day}"),
    ]
    with tempfile.TemporaryDirectory() as folder:
        demo_store(Path(folder)).close()
        app = create_app(Settings(database_url=f"sqlite:///{folder}/demo.db"))
        asyncio.run(_ask_all(app, paths))


async def _ask_all(app: Any, paths: list[str]) -> None:
    async def ask(path: str) -> None:
        plain, _, query = path.partition("?")

        async def receive() -> Any:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: Any) -> None:
            assert message.get("status", 200) == 200, path

        asked: dict[str, Any] = {"path": plain, "raw_path": plain.encode(), "query_string": query.encode()}
        by: dict[str, Any] = {"client": ("127.0.0.1", 5), "server": ("127.0.0.1", 80), "headers": HOST}
        scope = {"type": "http", "http_version": "1.1", "method": "GET", "scheme": "http", "root_path": ""}
        await app({**scope, **asked, **by}, receive, send)

    async def seconds(path: str, times: int) -> float:
        before = time.process_time()
        for _ in range(times):
            await ask(path)
        return (time.process_time() - before) / times

    async with app.router.lifespan_context(app):
        empty = "/healthz"
        await ask(empty)
        for path in paths:
            first = await seconds(path, 1)
            rounds = [(await seconds(path, 20), await seconds(empty, 20)) for _ in range(3)]
            again, nothing = (min(each) for each in zip(*rounds, strict=True))
            name = path.partition("?")[0].removeprefix("/v1/vineyards/").removeprefix("/v1/stations/")
            line(
                f"GET {name}, again",
                again,
                nothing,
                "at most 3 x",
                of=f"an empty route (first {first:.2f} s)",
            )


def blocks() -> None:
    """The board of 20, 40 and 80 blocks, cold, against the import of NumPy."""
    from tests.benchmarks.many_blocks import board_seconds

    (library,) = in_turn(
        lambda: subprocess.run([sys.executable, "-c", "import numpy"], check=True, capture_output=True),
        times=3,
    )
    with tempfile.TemporaryDirectory() as folder:
        store = demo_store(Path(folder))
        for count in (20, 40, 80):
            seconds = board_seconds(store, count)
            line(
                f"board of {count} blocks, cold",
                seconds,
                library,
                "40 blocks 0.5 s (3.3 x)",
                of="import numpy",
            )
        store.close()


def region() -> None:
    """Cells of a region: time and memory as the area grows fourfold; one tile at a time, in this process."""
    from tests.benchmarks.large_grid import write_grid

    saved = fit_of_past()
    for side in (128, 256, 512):
        with tempfile.TemporaryDirectory() as folder:
            grid = write_grid(Path(folder) / "grid.nc", side=side, year=2004, seed=SEED)
            question = region_question(saved, seasons=[2004])
            task = plan_region([grid], question, Path(folder) / "out.nc")
            seconds = processor_seconds(partial(_every_tile, task))
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
            cells = side * side
            print(
                f"{f'region of {cells:,} cell-seasons':42} {seconds:10.1f} s {1e6 * seconds / cells:10.1f} µs a cell, "
                f"{len(task.tiles)} tiles, at most {peak:.0f} MB in this process so far",
                flush=True,
            )


def _every_tile(task: RegionTask) -> None:
    for tile in range(len(task.tiles)):
        compute_tile(task, tile)


def fit_of_past() -> Any:
    """A small fit."""
    from service.usecases.fits import fit_vineyards

    return fit_vineyards([invented_vineyard(2001, 2010)], FitOptions(rule=HeatRule())).fit


def hindcast() -> None:
    """The hindcast of a small past on all cores against one, by the clock."""
    options = HindcastOptions(stages=DEFAULT_STAGES, rule=HeatRule(), interval=0.8, leads=(14,))
    task = plan_hindcast([invented_vineyard(2001, 2012)], options)
    took = []
    for count in (1, available_cores()):
        with Workers(count) as workers:
            before = time.monotonic()
            run_hindcast(task, workers, lambda *_: None)
            took.append(time.monotonic() - before)
    line(f"hindcast on {available_cores()} cores, by the clock", took[1], took[0], "none", of="one core")


PARTS = {
    "start": start,
    "degree_days": degree_days,
    "fit": fit,
    "forecast": forecast_of_many,
    "upload": upload,
    "answers": answers,
    "blocks": blocks,
    "region": region,
    "hindcast": hindcast,
}


def main() -> None:
    """Run the parts that are named, by default all."""
    use_one_thread()
    print(f"{available_cores()} cores; the least processor time of several runs, taken in turn")
    for name in sys.argv[1:] or PARTS:
        PARTS[name]()


if __name__ == "__main__":
    main()
