"""Times of the product's heavy steps beside the plain way to do the same, in one run.

    .venv/bin/python tests/benchmarks/side_by_side.py

Machines differ, so only the ratios are worth quoting. Each line says what both ways compute; that they agree is
asserted before anything is timed.
"""

from __future__ import annotations

import datetime as dt
import io
import timeit
from collections.abc import Callable

import numpy as np
import pandas as pd

import demo_weather
from models.bloom.estimation import estimate
from models.bloom.leave_out import left_out_prediction
from models.bloom.observations import heat_intervals
from models.bloom.site import Site
from models.bloom.traces import crossing_days
from models.heat.accumulate import accumulate_seasons
from models.records import HeatRule
from service.ingest.bloom_log import read_bloom_log
from service.ingest.planting import read_planting
from service.ingest.temperatures import read_temperatures

STAGES = ("bloom_start", "full_bloom", "bloom_end")
RULE = HeatRule("single_sine")


def compare(name: str, ours: Callable[[], object], plain: Callable[[], object], repeats: int = 5) -> None:
    """Print the best time of each, and how many times longer the plain way takes."""
    fast, slow = (min(timeit.repeat(way, number=1, repeat=repeats)) for way in (ours, plain))
    print(f"{name:58} {fast * 1e3:9.1f} ms {slow * 1e3:9.1f} ms {slow / fast:8.1f} x")


def demo_site() -> Site:
    """The demo's vineyard, its weather and its past seasons."""
    files = demo_weather.files()
    latitude = demo_weather.STATION.latitude
    planting = read_planting(files["planting.csv"])
    log = read_bloom_log(
        files["bloom_log.csv"],
        blocks={block.key: block.cultivar for block in planting.blocks},
        latitude=latitude,
    )
    temperatures = read_temperatures(files["temperatures.csv"], unit="C").daily()
    return Site("demo", latitude, temperatures, log.rows)


def heat_of_all_seasons(site: Site) -> None:
    seasons = range(2012, 2027)

    def one_by_one() -> list[float]:
        return [
            float(accumulate_seasons(site.temperatures, RULE, [s], site.latitude)[s].daily[90])
            for s in seasons
        ]

    def at_once() -> list[float]:
        heats = accumulate_seasons(site.temperatures, RULE, seasons, site.latitude)
        return [float(heat.daily[90]) for heat in heats.values()]

    assert one_by_one() == at_once()
    compare("heat of 15 seasons: at once, season by season", at_once, one_by_one)


def seasons_left_out(site: Site) -> None:
    intervals, _ = heat_intervals([site], stages=STAGES, rule=RULE)
    found = estimate(intervals)

    def refitted() -> list[object]:
        return [
            estimate(intervals.select(intervals.season_of != place).relabelled())
            for place in range(len(intervals.seasons))
        ]

    compare(
        "each season left out: closed form, refitted",
        lambda: left_out_prediction(intervals, found),
        refitted,
        repeats=2,
    )


def crossings() -> None:
    random = np.random.default_rng(1)
    curves = np.cumsum(random.gamma(4, 3, (14, 365)), axis=1)
    trace_of = np.arange(2000, dtype=np.int64) % 14
    heat = random.uniform(300, 3000, (2000, 12, 3))

    def day_by_day() -> list[int]:
        return [
            next(day for day, reached in enumerate(curves[trace]) if reached >= wanted)
            for trace, wanted in zip(trace_of[:20].repeat(36), heat[:20].ravel(), strict=True)
        ]

    assert day_by_day() == crossing_days(curves, trace_of, heat)[:20].ravel().astype(int).tolist()
    compare(
        "crossing days: 2,000 draws vectorised, 20 draws day by day",
        lambda: crossing_days(curves, trace_of, heat),
        day_by_day,
    )


def reading() -> None:
    days = [dt.date(1960, 1, 1) + dt.timedelta(days=day) for day in range(22_000)]
    text = "date,tmin_c,tmax_c\n" + "".join(
        f"{day},{5 + n % 7},{15 + n % 11}\n" for n, day in enumerate(days)
    )
    data = text.encode()

    def plain() -> object:
        return pd.read_csv(io.BytesIO(data), parse_dates=["date"])

    assert read_temperatures(data, unit=None).dates.size == len(pd.read_csv(io.BytesIO(data)))
    compare(
        "22,000 days of CSV: with every check, pandas without any",
        lambda: read_temperatures(data, unit=None),
        plain,
    )


def main() -> None:
    """Run all comparisons."""
    print(f"{'':58} {'first':>12} {'second':>12} {'second/first':>10}")
    site = demo_site()
    heat_of_all_seasons(site)
    seasons_left_out(site)
    crossings()
    reading()


if __name__ == "__main__":
    main()
