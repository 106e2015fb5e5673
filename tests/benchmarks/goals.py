"""What is measured against what, as one table of ratios; each pair in turn, in one run, by processor time.

    .venv/bin/python -m tests.benchmarks.goals [start degree_days fit forecast upload answers blocks hindcast]

Machines differ, so only ratios are worth quoting; a goal is a ratio too: goals in seconds are held against an import
of NumPy, which took 0.15 s where they were set. What both ways compute is asserted to be the same before it is timed,
where they compute the same. A run of all parts writes goals.md.
"""

from __future__ import annotations

import asyncio
import io
import os
import statistics
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
from service.usecases.temperatures import store_observed
from service.usecases.vineyard_records import load_vineyard
from service.workers import Workers
from tests.benchmarks.measuring import in_turn, made_on, table, write_page
from tests.bloom.simulated import draw_truth, simulated_intervals
from tests.bloom.test_mixed_model_against_statsmodels import mixed_lm
from tests.hindcast.past import invented_vineyard, invented_weather, weather_csv

VINEYARD = demo_weather.VINEYARD.key
SEED = 11
HOST = [(b"host", b"127.0.0.1")]


LINES: list[list[str]] = []


def line(
    name: str, ours: float, other: float, *, of: str, most: float | None = None, limited_by: str = ""
) -> None:
    """One pair: both times, how many times the other's ours is, and whether that is at most the goal."""
    ratio = ours / other
    goal, verdict = ("", "") if most is None else (f"{most:g}", "met" if ratio <= most else "**missed**")
    LINES.append([name, of, f"{ours:.4f}", f"{other:.4f}", f"{ratio:.3g}", goal, verdict, limited_by])
    print(f"{name:44} {ours:10.4f} s {other:10.4f} s {ratio:8.3g} x  {of}; {goal} {verdict}", flush=True)


def start() -> None:
    """The list of commands and the start of the service against the import of NumPy, each in a new process."""
    with tempfile.TemporaryDirectory() as folder:
        # as installed: what was compiled once is kept
        kept = {
            "PYTHONPYCACHEPREFIX": f"{folder}/compiled",
            "CAPFALL_DATABASE_URL": f"sqlite:///{folder}/a.db",
        }
        environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | kept

        def run(code: str) -> Callable[[], object]:
            asked = [sys.executable, "-c", code]
            return lambda: subprocess.run(asked, check=True, capture_output=True, env=environment)

        listing = "from service.cli import app\ntry: app(['--help'])\nexcept SystemExit: pass"
        codes = listing, "import service.app", "import service.asgi", "import numpy"
        listed, service, made, library = in_turn(*(run(code) for code in codes), times=3)
    numpy = "import numpy"
    line("capfall --help (0.5 s)", listed, library, most=3.3, of=numpy, limited_by="typer and rich")
    why = "140 routes and their 200 bodies, which FastAPI and pydantic build; SQLAlchemy; scipy.special"
    line("import of the service (1.8 s)", service, library, most=12, of=numpy, limited_by=why)
    line("the same as served, app made, without looks for garbage", made, library, most=12, of=numpy)


def degree_days() -> None:
    """Every method on 10,000 station-years against the bare expression, and xclim where it has the method."""
    from xclim.indices import growing_degree_days
    from xclim.indices.converters import tas as mean_of_day

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
        ours, plain = in_turn(partial(daily_degree_days, low, high, rule), expression)
        line(f"degree-days, {method}", ours, plain, most=1.3, of="the bare expression")
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
        why = "two half days" if method.startswith("double") else "two clips, each of both extremes"
        line(f"degree-days, {method}", ours, plain, of="one bare expression of a day", limited_by=why)
    days = pd.date_range("2001-01-01", periods=365)
    low_c, high_c = (
        xr.DataArray(each, dims=("station", "time"), coords={"time": days}, attrs={"units": "degC"})
        for each in (low, high)
    )
    average = HeatRule()
    ours, theirs = in_turn(
        lambda: daily_degree_days(low, high, average).sum(axis=1),
        lambda: growing_degree_days(mean_of_day(low_c, high_c), thresh="10 degC").load(),
    )
    why = (
        "memory: both extremes are read, and each day's heat, which all else asks for, written and read again"
    )
    line(
        "season sums of the average",
        ours,
        theirs,
        most=0.2,
        of="xclim, from the same extremes",
        limited_by=why,
    )


def fit() -> None:
    """60 cultivars, 25 seasons, 3 sites (as 75 seasons) at one stage against MixedLM on midpoints."""
    random = np.random.default_rng(SEED)
    intervals = simulated_intervals(
        random, draw_truth(random, cultivars=60), seasons=75, days_between_visits=1.0, one_place=False
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        ours, theirs = in_turn(
            lambda: fit_intervals(intervals, rule=HeatRule()), lambda: mixed_lm(intervals), times=3
        )
    line("fit of 60 cultivars x 25 seasons x 3 sites", ours, theirs, most=1, of="MixedLM on midpoints")


def demo_store(folder: Path) -> Store:
    """The demo, fitted."""
    store = Store(f"sqlite:///{folder / 'demo.db'}")
    store.migrate()
    with store.transaction("local") as records:
        load_demo(records)
    make_fit(store, "local", vineyards=None, options=FitOptions(rule=HeatRule()))
    return store


def forecast_of(folder: Path) -> Callable[[int], object]:
    """Forecasts so many blocks, of the demo's fit, in thirty seasons' weather."""
    store = demo_store(folder)
    with store.transaction("local", read_only=True) as records:
        saved = get_fit(records, records.fits.all()[0].id)
        planted = load_vineyard(records, VINEYARD).planting.blocks
    store.close()
    site = invented_vineyard(1995, 2024).site
    here = Site("elsewhere", site.latitude, site.temperatures)
    day = demo_weather.AS_OF.replace(year=2025)

    def ask(count: int) -> object:
        blocks = [replace(planted[place % len(planted)], key=f"b{place}") for place in range(count)]
        return forecast(saved.fit, here, blocks, as_of=day)

    return ask


def forecast_of_many() -> None:
    """200 blocks, 30 traces and 2,000 draws: crossings against a loop over draws, time by blocks, and memory."""
    random = np.random.default_rng(SEED)
    curves = np.cumsum(random.gamma(4, 3, (30, 365)), axis=1)
    trace_of = np.arange(DRAWS, dtype=np.int64) % 30
    heat = np.sort(random.uniform(300, 3000, (DRAWS, 200, 3)), axis=-1)

    def loop() -> Any:
        few = zip(trace_of[:20], heat[:20], strict=True)
        return np.array([[np.searchsorted(curves[at], one) for one in needed.ravel()] for at, needed in few])

    def by_day() -> Any:
        few = zip(trace_of[:2], heat[:2], strict=True)
        return [
            next(day for day, reached in enumerate(curves[at]) if reached >= one)
            for at, needed in few
            for one in needed.ravel()
        ]

    assert by_day() == loop()[:2].ravel().tolist()
    assert np.array_equal(loop().ravel(), crossing_days(curves, trace_of, heat)[:20].ravel())
    ours, plain = in_turn(lambda: crossing_days(curves, trace_of, heat), loop, times=3)
    why = "a binary search for each of 1.2 million thresholds; the loop calls the same search one by one"
    of = "a loop over draws, blocks and stages, each a binary search (20 draws, times 100)"
    line("crossings of 200 blocks, 30 traces, 2,000 draws", ours, plain * DRAWS / 20, of=of, limited_by=why)
    ours, plain = in_turn(lambda: crossing_days(curves, trace_of, heat), by_day, times=3)
    of = "the plain loop over draws, blocks and stages, day by day (2 draws, times 1,000)"
    line("the same", ours, plain * DRAWS / 2, most=0.01, of=of)
    with tempfile.TemporaryDirectory() as folder:
        ask = forecast_of(Path(folder))
    few, many = in_turn(partial(ask, 20), partial(ask, 200), times=3)
    line("forecast of 200 blocks, 30 traces", many, few * 10, most=1, of="ten times that of 20 blocks")
    tracemalloc.start()
    ask(200)
    took = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    verdict = "met" if took <= 300 else "**missed**"
    LINES.append(["its memory", "MB", f"{took:.0f}", "", "", "300 MB", verdict, ""])
    print(f"  its memory {took:.0f} MB; goal 300 MB {verdict}")


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
    why = "half is storing, mostly SQLite's own insert; rows and cells are Python's, where pandas parses in C"
    line("upload of 40 years, stored", checked, plain, most=8, of="pandas.read_csv", limited_by=why)


def answers() -> None:
    """Every computed answer, asked for the first time and again, against an empty route."""
    home, station = f"/v1/vineyards/{VINEYARD}", f"/v1/stations/{demo_weather.STATION.key}"
    day = f"?as_of={demo_weather.AS_OF}"
    paths = [
        *(f"{home}/{what}{day}" for what in ("forecast", "pollination", "scouting")),
        *(f"{home}/calendar.ics", f"{home}/planting-check", f"{station}/degree-days"),
        *(f"{home}/bloom-window{day}", f"{home}/news?since={demo_weather.AS_OF}", f"{home}/season-review"),
        *(f"{home}/set", f"/v1/roster{day}"),
        *(
            f"/vineyards/{VINEYARD}{each}"
            for each in (day, f"/map{day}", "/layout", "/news", "/set", "/review")
        ),
        f"/roster{day}",
    ]
    with tempfile.TemporaryDirectory() as folder:
        demo_store(Path(folder)).close()
        app = create_app(Settings(database_url=f"sqlite:///{folder}/demo.db"))
        asyncio.run(_ask_all(app, paths))


class Asking:
    """Asks an app in this process, without a server between."""

    def __init__(self, app: Any) -> None:
        self._app = app

    async def ask(self, path: str) -> None:
        """One GET, which must succeed."""
        plain, _, query = path.partition("?")

        async def receive() -> Any:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: Any) -> None:
            assert message.get("status", 200) == 200, path

        asked: dict[str, Any] = {"path": plain, "raw_path": plain.encode(), "query_string": query.encode()}
        by: dict[str, Any] = {"client": ("127.0.0.1", 5), "server": ("127.0.0.1", 80), "headers": HOST}
        scope = {"type": "http", "http_version": "1.1", "method": "GET", "scheme": "http", "root_path": ""}
        await self._app({**scope, **asked, **by}, receive, send)

    async def seconds(self, path: str, times: int) -> float:
        """Processor time of one of several. [s]"""
        before = time.process_time()
        for _ in range(times):
            await self.ask(path)
        return (time.process_time() - before) / times


async def _ask_all(app: Any, paths: list[str]) -> None:
    asking = Asking(app)
    async with app.router.lifespan_context(app):
        empty = "/healthz"
        await asking.ask(empty)
        for path in paths:
            first = await asking.seconds(path, 1)
            rounds = [(await asking.seconds(path, 20), await asking.seconds(empty, 20)) for _ in range(3)]
            again, nothing = (statistics.median(each) for each in zip(*rounds, strict=True))
            name = path.partition("?")[0].removeprefix("/v1/vineyards/").removeprefix("/v1/stations/")
            of = f"an empty route (first {first:.2f} s)"
            why = "a look at the newest change, in a thread; an empty route does nothing"
            line(f"GET {name}, again", again, nothing, most=3, of=of, limited_by=why)


def blocks() -> None:
    """Forecast and board of 20, 40 and 80 blocks, cold, against the import of NumPy."""
    from tests.benchmarks.many_blocks import board_seconds

    numpy = [sys.executable, "-c", "import numpy"]
    (library,) = in_turn(lambda: subprocess.run(numpy, check=True, capture_output=True), times=3)
    with tempfile.TemporaryDirectory() as folder:
        store = demo_store(Path(folder))
        for count in (20, 40, 80):
            forecast_s, board_s = board_seconds(store, count)
            most, goal = (3.3, " (0.5 s)") if count == 40 else (None, "")
            of, why = (
                "import numpy",
                "random numbers of each block, and a binary search for each draw of a stage",
            )
            line(
                f"forecast of {count} blocks, cold{goal}",
                forecast_s,
                library,
                most=most,
                of=of,
                limited_by=why,
            )
            why = "cover, what looks teach on each of the days ahead, and the forecast, alike; then trips"
            line(f"board of {count} blocks, cold{goal}", board_s, library, most=most, of=of, limited_by=why)
        store.close()


def hindcast() -> None:
    """The hindcast of a small past on two processes against one, by the clock."""
    options = HindcastOptions(stages=DEFAULT_STAGES, rule=HeatRule(), interval=0.8, leads=(14,))
    task = plan_hindcast([invented_vineyard(2001, 2016)], options)

    def run(count: int) -> float:
        with Workers(count) as workers:
            before = time.monotonic()
            run_hindcast(task, workers, lambda *_: None)
            return time.monotonic() - before

    rounds = [(run(2), run(1)) for _ in range(2)]
    two, one = (statistics.median(each) for each in zip(*rounds, strict=True))
    why = "by the clock, so by what else the machine does; each process takes seconds to start"
    line("hindcast on two processes", two, one, of="one process, by the clock", limited_by=why)


PARTS = {
    "start": start,
    "degree_days": degree_days,
    "fit": fit,
    "forecast": forecast_of_many,
    "upload": upload,
    "answers": answers,
    "blocks": blocks,
    "hindcast": hindcast,
}


def main() -> None:
    """Run the parts that are named, by default all, and then write the page."""
    use_one_thread()
    named = sys.argv[1:]
    for name in named or PARTS:
        PARTS[name]()
    if not named:
        columns = [
            "what",
            "against",
            "ours [s]",
            "theirs [s]",
            "ratio",
            "goal: at most",
            "",
            "what limits it",
        ]
        write_page(
            "goals.md",
            "# Goals",
            f"`python -m tests.benchmarks.goals`; median processor time, each pair in turn. {made_on()}",
            table(columns, LINES),
            "A goal in seconds is held as a ratio to an import of NumPy, which took 0.15 s where it was set.",
        )


if __name__ == "__main__":
    main()
