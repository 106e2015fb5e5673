"""An invented past: springs that differ, and cultivars that bloom at a known heat."""

from __future__ import annotations

import datetime as dt

import numpy as np

from models.bloom.site import Site
from models.heat.accumulate import accumulate_seasons
from models.records import BloomLogRow, DailyTemperatures, HeatRule, Planting
from service.usecases.vineyard_records import VineyardRecords

LATITUDE = 33.0
RULE = HeatRule()
# Heat at bloom_start and full_bloom. [°C·day]
THRESHOLDS = {"thimble-ash": (420.0, 500.0), "loam-whistle": (470.0, 550.0)}
STAGES = ("bloom_start", "full_bloom")


def invented_weather(first: int, last: int, seed: int = 1) -> DailyTemperatures:
    """Daily extremes of whole years; warm and cold spells last about three weeks."""
    dates = np.arange(np.datetime64(f"{first}-01-01"), np.datetime64(f"{last + 1}-01-01"))
    random = np.random.default_rng(seed)
    spell = np.zeros(dates.size)
    for day in range(1, dates.size):
        spell[day] = 0.95 * spell[day - 1] + random.normal(0, 1.0)
    day_of_year = (dates - dates.astype("datetime64[Y]")).astype(np.float64)
    mean = 17 - 10 * np.cos(2 * np.pi * (day_of_year - 15) / 365.25) + spell
    return DailyTemperatures(dates, mean - 6, mean + 6)


def invented_log(weather: DailyTemperatures, seed: int = 2, noise: float = 10.0) -> tuple[BloomLogRow, ...]:
    """Dates at which the heat of each season reached the thresholds, give or take the noise. [°C·day]"""
    random = np.random.default_rng(seed)
    years = sorted({day.year for day in weather.dates.tolist()})
    rows = []
    for year, heat in accumulate_seasons(weather, RULE, years, LATITUDE).items():
        for cultivar, thresholds in THRESHOLDS.items():
            shift = random.normal(0, noise)
            days = [int(np.searchsorted(heat.accumulated, level + shift)) for level in thresholds]
            dates = {
                stage: heat.window.start + dt.timedelta(days=day)
                for stage, day in zip(STAGES, days, strict=True)
            }
            rows.append(BloomLogRow(year, cultivar, None, dates))
    return tuple(rows)


def invented_vineyard(first: int = 2001, last: int = 2006) -> VineyardRecords:
    """A vineyard whose weather goes on for a year after its log."""
    weather = invented_weather(first, last + 1)
    log = tuple(row for row in invented_log(weather) if row.season <= last)
    return VineyardRecords(Site("hollow", LATITUDE, weather, log), Planting((), {}))


def weather_csv(weather: DailyTemperatures) -> str:
    """As a file."""
    lines = [
        f"{day},{low:.2f},{high:.2f}"
        for day, low, high in zip(weather.dates, weather.tmin_c, weather.tmax_c, strict=True)
    ]
    return "\n".join(["date,tmin_c,tmax_c", *lines]) + "\n"


def log_csv(log: tuple[BloomLogRow, ...]) -> str:
    """As a file, by cultivar."""
    lines = [
        f"{row.season},{row.cultivar}," + ",".join(str(row.dates[stage]) for stage in STAGES) for row in log
    ]
    return "\n".join([f"season,cultivar,{','.join(STAGES)}", *lines]) + "\n"
