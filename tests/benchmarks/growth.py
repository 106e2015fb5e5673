"""How processor time and memory grow: 1, 10 and 100 times the blocks, seasons, stations, cells, clients and growers.

    .venv/bin/python -m tests.benchmarks.growth

Each in a process of its own, seeded and synthetic. Writes growth.svg and growth.md.
"""

from __future__ import annotations

import asyncio
import json
import math
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import NamedTuple

import numpy as np

import demo_weather
from models.bloom.thresholds import fit_intervals
from models.grid import region_question
from models.records import HeatRule
from service import clock
from service.app import create_app
from service.feed import all_news
from service.ingest.options import AS_THEY_ARE
from service.ingest.station_places import read_station_places
from service.settings import Settings
from service.store.engine import Store
from service.threads import use_one_thread
from service.usecases.fits import FitOptions, fit_vineyards
from service.usecases.region import compute_tile, plan_region
from service.usecases.station_files import import_station
from tests.benchmarks import many, regions
from tests.benchmarks.goals import Asking, demo_store, forecast_of
from tests.benchmarks.many_blocks import board_seconds
from tests.benchmarks.measuring import HERE, made_on, peak_mb, processor_seconds, table, write_page
from tests.bloom.simulated import draw_truth, simulated_intervals
from tests.cli.growers import copy_grower
from tests.hindcast.past import invented_vineyard

SEED = 11


class Grown(NamedTuple):
    """One measurement. [s], [MB]"""

    many: int
    seconds: float
    memory_mb: float


def blocks(count: int, folder: Path) -> float:
    """A forecast in thirty seasons' weather."""
    ask = forecast_of(folder)
    return processor_seconds(lambda: ask(count))


def board(count: int, folder: Path) -> float:
    """All that the board of a vineyard shows, cold."""
    store = demo_store(folder)
    _, seconds = board_seconds(store, count, times=1)
    store.close()
    return seconds


def seasons(count: int, _: Path) -> float:
    """A fit of ten cultivars."""
    random = np.random.default_rng(SEED)
    truth = draw_truth(random, cultivars=10)
    intervals = simulated_intervals(random, truth, seasons=count, days_between_visits=1.0, one_place=True)
    return processor_seconds(lambda: fit_intervals(intervals, rule=HeatRule()))


def stations(count: int, folder: Path) -> float:
    """Files of three years, stored."""
    store = Store(f"sqlite:///{folder / 'a.db'}")
    store.migrate()
    many.write_stations(folder, count, 3)
    places = {place.key: place for place in read_station_places((folder / "stations.csv").read_bytes())}

    def take() -> None:
        for key in places:
            data = (folder / f"{key}.csv").read_bytes()
            import_station(store, "local", key, data, places, unit=None, options=AS_THEY_ARE)

    seconds = processor_seconds(take)
    store.close()
    return seconds


def cells(count: int, folder: Path) -> float:
    """A region of sixteen seasons, in tiles."""
    fit = fit_vineyards([invented_vineyard(1991, 2002)], FitOptions(rule=HeatRule())).fit
    question = region_question(fit, seasons=range(regions.FIRST, regions.LAST + 1))
    grid = folder / "grid.zarr"
    writing = get_context("fork").Process(  # whose memory is no part of what is measured
        target=regions.write_grid, args=(grid,), kwargs={"side": math.isqrt(count)}
    )
    writing.start()
    writing.join()
    task = plan_region([grid], question, folder / "out.nc")
    return processor_seconds(lambda: [compute_tile(task, tile) for tile in range(len(task.tiles))])


def clients(count: int, folder: Path) -> float:
    """Each asks ten times at once for an unchanged forecast."""
    demo_store(folder).close()
    app = create_app(Settings(database_url=f"sqlite:///{folder}/demo.db"))
    path = f"/v1/vineyards/{demo_weather.VINEYARD.key}/forecast?as_of={demo_weather.AS_OF}"

    async def all_ask() -> float:
        asking = Asking(app)
        async with app.router.lifespan_context(app):
            await asking.ask(path)

            async def one() -> None:
                for _ in range(10):
                    await asking.ask(path)

            before = time.process_time()
            await asyncio.gather(*(one() for _ in range(count)))
            return time.process_time() - before

    return asyncio.run(all_ask())


def growers(count: int, folder: Path) -> float:
    """The news of one vineyard each, told by one process."""
    database = folder / "a.db"
    store = Store(f"sqlite:///{database}")
    store.migrate()
    many.plant(store, 1, 11, growers=1)
    store.close()
    for number in range(1, count):
        copy_grower(database, "grower-0", f"copy-{number}")
    all_news.FEW = count + 1
    told = []
    url, noon = f"sqlite:///{database}", clock.now().replace(hour=12)  # when all are due
    seconds = processor_seconds(
        lambda: told.append(all_news.tell_all(url, now=noon, server=None, tell=lambda *_: None))
    )
    assert told[0].is_well
    assert len(told[0].told) == count
    return seconds


class Quantity(NamedTuple):
    """What grows, from how many on, what is done with it, and where and why it bends."""

    grow: Callable[[int, Path], float]
    counts: tuple[int, int, int]
    what: str
    bends: str


QUANTITIES: Mapping[str, Quantity] = {
    "blocks": Quantity(
        blocks,
        (4, 40, 400),
        "forecast",
        "linear beyond what is done once: the traces and the joint posterior",
    ),
    "blocks of a board": Quantity(
        board,
        (13, 40, 130),
        "forecast, cover, trips",
        "less than linear so far; what a look teaches is held against the dates of all blocks, so it bends up to "
        "their square",
    ),
    "seasons": Quantity(
        seasons,
        (4, 40, 400),
        "fit of 10 cultivars",
        "up from some tens on: the joint posterior of cultivars and seasons rules, whose matrices take the cube",
    ),
    "stations": Quantity(
        stations, (1, 10, 100), "3 years each, stored", "linear: one transaction a file, rows one by one"
    ),
    "cells": Quantity(
        cells,
        (16**2, 48**2, 160**2),
        "region of 16 seasons",
        "linear in time; memory grows to the size of a tile and no further",
    ),
    "clients": Quantity(
        clients,
        (1, 10, 100),
        "10 unchanged forecasts each",
        "linear in time: a look at the last change for each",
    ),
    "growers": Quantity(
        growers, (1, 10, 100), "news of one vineyard each", "linear: each vineyard is one forecast by itself"
    ),
}


def one(name: str, count: int) -> Grown:
    """Measure in this process."""
    use_one_thread()
    with tempfile.TemporaryDirectory() as folder:
        seconds = QUANTITIES[name].grow(count, Path(folder))
    return Grown(count, seconds, peak_mb())


def measured(name: str, count: int) -> Grown:
    """Measure in a process of its own."""
    code = "import json, sys; from tests.benchmarks import growth"
    code += "; print(json.dumps(growth.one(sys.argv[1], int(sys.argv[2]))))"
    asked = [sys.executable, "-W", "ignore", "-c", code, name, str(count)]
    told = subprocess.run(asked, check=True, capture_output=True, text=True).stdout
    found = Grown(*json.loads(told.splitlines()[-1]))
    print(name, found, flush=True)
    return found


HUES = ("#1b6ca8", "#b3541e", "#3a7d44", "#7b4b94", "#a61e4d", "#5c5c5c", "#8a6d00")
COLOURS = dict(zip(QUANTITIES, HUES, strict=True))
WIDE, HIGH, LEFT, TOP = 330, 300, 60, 40


def picture(found: Mapping[str, list[Grown]]) -> str:
    """Time and memory beside each other, both axes logarithmic, each line against what it began with."""
    panels = [
        _panel(
            0,
            "processor time [s]",
            {name: [each.seconds for each in line] for name, line in found.items()},
            found,
        ),
        _panel(
            1, "memory [MB]", {name: [each.memory_mb for each in line] for name, line in found.items()}, found
        ),
    ]
    names = [
        f'<text x="{LEFT + 2 * (WIDE + LEFT) + 8}" y="{TOP + 14 + 20 * place}" fill="{COLOURS[name]}">'
        f"{name}: {QUANTITIES[name].what}</text>"
        for place, name in enumerate(found)
    ]
    width, height = 2 * (WIDE + LEFT) + 320, HIGH + TOP + 60
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif" '
        f'font-size="12"><title>How time and memory grow</title><rect width="100%" height="100%" fill="#fff"/>\n'
        + "\n".join([*panels, *names])
        + "\n</svg>\n"
    )


def _panel(
    place: int, title: str, values: Mapping[str, list[float]], found: Mapping[str, list[Grown]]
) -> str:
    low = math.floor(math.log10(min(min(line) for line in values.values())))
    high = math.ceil(math.log10(max(max(line) for line in values.values())))
    left = LEFT + place * (WIDE + LEFT)

    def x(times: float) -> float:
        return left + WIDE * math.log10(times) / 2

    def y(value: float) -> float:
        return TOP + HIGH * (high - math.log10(value)) / (high - low)

    parts = [f'<text x="{left}" y="{TOP - 14}">{title}</text>']
    for power in range(low, high + 1):
        at = y(10.0**power)
        parts.append(f'<path d="M{left} {at:.1f}h{WIDE}" stroke="#ddd"/>')
        parts.append(f'<text x="{left - 6}" y="{at + 4:.1f}" text-anchor="end">{10.0**power:g}</text>')
    for times in (1, 10, 100):
        parts.append(f'<path d="M{x(times):.1f} {TOP}v{HIGH}" stroke="#ddd"/>')
        parts.append(
            f'<text x="{x(times):.1f}" y="{TOP + HIGH + 18}" text-anchor="middle">{times} times</text>'
        )
    for name, line in values.items():
        first = found[name][0].many
        points = [(x(each.many / first), y(value)) for each, value in zip(found[name], line, strict=True)]
        path = "L".join(f"{across:.1f} {down:.1f}" for across, down in points)
        parts.append(f'<path d="M{path}" fill="none" stroke="{COLOURS[name]}" stroke-width="2"/>')
        parts += [
            f'<circle cx="{across:.1f}" cy="{down:.1f}" r="3" fill="{COLOURS[name]}"/>'
            for across, down in points
        ]
    return "\n".join(parts)


def continent(found: Mapping[str, list[Grown]]) -> list[str]:
    """Three million cells and ten thousand growers, from what was measured."""
    last = found["cells"][-1]
    cell_season = last.seconds / (last.many * 16)
    cell_hours = 3e6 * 30 * cell_season / 3600
    packed, answer = 3e6 * 30 * 365 * 2 * 2 / 1e9, 3e6 * 30 * 3 * 6 * 4 / 1e9
    told = found["growers"][-1]
    grower_hours = 10_000 * told.seconds / told.many / 3600
    stored = 10_000 * 30 * 365 * 60 / 1e9
    return [
        f"3 million cells x 30 seasons are 90 million cell-seasons of {1e6 * cell_season:.0f} µs: {cell_hours:.1f} "
        f"core-hours. They read {packed:.0f} GB of packed days (2 bytes a value), which at 200 MB/s is "
        f"{packed / 0.2 / 3600:.1f} hours of one disk, and write {answer:.0f} GB before compression (3 quantiles of 6 "
        f"cultivars' stages). One machine of 8 cores: {cell_hours / 8:.1f} hours if its disk keeps up.",
        f"10,000 growers with a vineyard each are told their news in {grower_hours:.1f} core-hours a day "
        f"({told.seconds / told.many:.2f} s each): one machine of 8 cores takes {60 * grower_hours / 8:.0f} minutes "
        f"of the morning. 30 years of a station for each are 110 million rows, about {stored:.0f} GB in the database "
        "(60 bytes a row: an estimate, not measured).",
    ]


def write(found: Mapping[str, list[Grown]]) -> None:
    """Picture and page."""
    (HERE / "growth.svg").write_text(picture(found), encoding="utf-8")
    rows = []
    for name, line in found.items():
        numbers = [f"{each.many:,}: {each.seconds:.2f} s, {each.memory_mb:.0f} MB" for each in line]
        rows.append([name, QUANTITIES[name].what, *numbers, QUANTITIES[name].bends])
    write_page(
        "growth.md",
        "# Growth",
        "`python -m tests.benchmarks.growth`; processor time, and the most memory of the process with all libraries "
        f"(about 290 MB, those of the benchmarks among them). {made_on()}",
        "![Processor time and memory against how many times as much, both on log axes](growth.svg)",
        table(["what grows", "work", "the fewest", "more", "the most", "where it bends, and why"], rows),
        "## A continent",
        *continent(found),
    )


def main() -> None:
    """Measure all, two at a time, and write picture and page."""
    with ThreadPoolExecutor(2) as pool:
        asked = {
            name: [pool.submit(measured, name, count) for count in quantity.counts]
            for name, quantity in QUANTITIES.items()
        }
        found = {name: [each.result() for each in line] for name, line in asked.items()}
    write(found)


if __name__ == "__main__":
    main()
