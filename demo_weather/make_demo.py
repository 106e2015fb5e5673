"""Make the demo's files: ``python -m demo_weather.make_demo`` rewrites the CSVs beside this script.

Place, cultivars and weather are invented. What the files hide is known, so that a fit can be compared with
it: the heat at which a block reaches a stage is ``TRUTH[cultivar][stage]``, plus an effect that the whole
vineyard shares in that season, plus the block's own noise. Heat is the simple average above 10 °C, summed
from 1 January.

The first caps fall in mid-May and the last ones in late June; by the second week of June, two flowers in three
have opened. That is when muscadine blooms near the Gulf (common practice, no source). The seed was picked so that
the earliest block just starts on 19 May 2026. Every run writes the same bytes.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SEED = 1381
FIRST_DAY = np.datetime64("2012-01-01")
LAST_DAY = np.datetime64("2026-05-19")
OUTLOOK_DAYS = 7
PAST_SEASONS = range(2013, 2026)
THIS_SEASON = 2026

BASE_C = 10.0
STAGES = ("budbreak", "bloom_start", "full_bloom", "bloom_end")
TRUTH = {
    cultivar: dict(zip(STAGES, heat, strict=True))
    for cultivar, heat in {
        # cultivar: mean heat to budbreak, 10, 50 and 95 % of caps off [°C·day]
        "Wren Anvil": (245.0, 805.0, 865.0, 950.0),
        "Copper Lull": (250.0, 835.0, 895.0, 985.0),
        "Gourd Rafter": (250.0, 850.0, 920.0, 1030.0),
        "Lantern Hush": (275.0, 950.0, 1030.0, 1140.0),
        "Marsh Ladle": (260.0, 935.0, 1045.0, 1175.0),
        "Heron Thimble": (280.0, 985.0, 1045.0, 1125.0),
        "Pebble Loom": (260.0, 1015.0, 1090.0, 1190.0),
        "Quiet Spindle": (280.0, 1060.0, 1125.0, 1225.0),
        "Tallow Moth": (280.0, 1060.0, 1175.0, 1290.0),
        "Dusk Bobbin": (295.0, 1090.0, 1160.0, 1260.0),
        "Plover Skein": (295.0, 1125.0, 1205.0, 1325.0),
    }.items()
}
SEASON_SPREAD = {"budbreak": 18.0, "bloom": 28.0, "stage": 6.0}  # shared by the vineyard: sd [°C·day]
BLOCK_SPREAD = {"budbreak": 14.0, "bloom": 12.0, "stage": 6.0}  # a block's own: sd [°C·day]


class DemoCultivar(NamedTuple):
    """What planting.csv says of a cultivar. [g]"""

    flower_type: str
    viable_pollen: str
    berry_mass_g: float


CULTIVARS = {
    "Wren Anvil": DemoCultivar("perfect", "yes", 6.5),
    "Copper Lull": DemoCultivar("pistillate", "no", 9.0),
    "Gourd Rafter": DemoCultivar("perfect", "yes", 14.5),
    "Lantern Hush": DemoCultivar("pistillate", "no", 11.5),
    "Marsh Ladle": DemoCultivar("perfect", "yes", 10.5),
    "Heron Thimble": DemoCultivar("pistillate", "no", 12.0),
    "Pebble Loom": DemoCultivar("perfect", "no", 8.0),
    "Quiet Spindle": DemoCultivar("pistillate", "no", 10.0),
    "Tallow Moth": DemoCultivar("perfect", "yes", 7.0),
    "Dusk Bobbin": DemoCultivar("pistillate", "no", 13.0),
    "Plover Skein": DemoCultivar("pistillate", "no", 12.5),
}


class DemoBlock(NamedTuple):
    """One block, where its middle lies [m], and the first season of its bloom log."""

    key: str
    cultivar: str
    x_m: float
    y_m: float
    vines: int
    logged_from: int = PAST_SEASONS[0]


BLOCKS = (
    DemoBlock("west-1", "Wren Anvil", 0.0, 0.0, 12),
    DemoBlock("west-2", "Copper Lull", 9.0, 0.0, 24),  # covered by west-1 and west-3
    DemoBlock("west-3", "Gourd Rafter", 9.0, 10.0, 12),
    DemoBlock("west-4", "Lantern Hush", 0.0, 13.0, 24),  # both its sources, west-1 and west-3, end early
    DemoBlock("middle-1", "Marsh Ladle", 40.0, 0.0, 16),
    DemoBlock("middle-2", "Heron Thimble", 40.0, 11.0, 20),  # hangs on middle-1 alone
    DemoBlock("middle-3", "Quiet Spindle", 51.0, -4.0, 28),  # covered by middle-1 and middle-4
    DemoBlock("middle-4", "Tallow Moth", 60.0, 0.0, 12),
    DemoBlock("middle-5", "Dusk Bobbin", 70.0, -6.0, 24),  # covered by middle-4 and middle-6
    DemoBlock("middle-6", "Tallow Moth", 78.0, 2.0, 12, 2016),
    DemoBlock("north-1", "Plover Skein", 60.0, 26.0, 18, 2020),  # 26 m from the nearest source
    DemoBlock("east-1", "Pebble Loom", 100.0, 30.0, 10, 2015),
    DemoBlock("east-2", "Quiet Spindle", 109.0, 30.0, 16, 2015),  # its only neighbour sheds no viable pollen
)

# Faults on purpose, as they happen on farms.
ABSENT_DAYS = (
    np.datetime64("2016-02-11"),
    *np.arange(np.datetime64("2019-04-09"), np.datetime64("2019-04-15")),
    np.datetime64("2023-05-03"),
)
SENTINEL_DAY = np.datetime64("2022-03-08")
SENTINEL = "-99.9"
SLIP = (2017, "middle-5", "bloom_start")  # a month too early, as when 05 is written for 06
SWAPPED = (2021, "west-3", "full_bloom", "bloom_end")

# (date, block, note) of this season's looks; the share of caps off comes from the simulation
LOOKS = (
    ("2026-05-08", "west-1", "buds tight"),
    ("2026-05-08", "west-2", "buds tight"),
    ("2026-05-13", "west-1", "no caps off yet"),
    ("2026-05-13", "west-2", ""),
    ("2026-05-13", "middle-1", "buds tight"),
    ("2026-05-16", "west-1", ""),
    ("2026-05-16", "west-3", "no caps off yet"),
    ("2026-05-19", "west-1", "first clusters open on the south side"),
    ("2026-05-19", "west-2", ""),
    ("2026-05-19", "west-3", ""),
    ("2026-05-19", "west-4", "no caps off yet"),
    ("2026-05-19", "middle-1", "no caps off yet"),
)


def _bits(stream: int, *shape: int) -> NDArray[np.uint64]:
    """Raw 53-bit noise; only a bit generator's raw stream is promised to stay the same in every NumPy."""
    raw = np.random.PCG64([SEED, stream]).random_raw(int(np.prod(shape)))
    return raw.reshape(shape) >> np.uint64(11)


def _normals(stream: int, *shape: int) -> FloatArray:
    """Noise of mean 0 and variance 1, near normal: twelve uniforms less six."""
    return np.asarray(_bits(stream, *shape, 12).sum(axis=-1) * 2.0**-53 - 6.0)


def _persistent(noise: FloatArray, *, memory: float) -> FloatArray:
    """First-order autoregression of variance 1, with the given correlation from one day to the next."""
    series = noise.copy()
    for day in range(1, series.size):
        series[day] = memory * series[day - 1] + np.sqrt(1 - memory**2) * noise[day]
    return series


class Weather(NamedTuple):
    """Simulated truth, complete, through the season's end. [°C]"""

    dates: NDArray[np.datetime64]
    tmin_c: FloatArray
    tmax_c: FloatArray

    def heat(self, season: int) -> FloatArray:
        """Accumulated heat at the end of each day of a season. [°C·day]"""
        days = self.dates.astype("datetime64[Y]") == np.datetime64(str(season), "Y")
        mean = (self.tmin_c[days] + self.tmax_c[days]) / 2
        return np.cumsum(np.maximum(mean - BASE_C, 0.0))


def simulate_weather() -> Weather:
    """A seasonal cycle, warm and cold years, spells of weeks, and days that vary more in winter."""
    dates = np.arange(FIRST_DAY, np.datetime64("2026-08-01"))
    years = dates.astype("datetime64[Y]")
    day_of_year = (dates - years).astype(float)
    season = np.cos(2 * np.pi * (day_of_year - 16.0) / 365.25)  # 1 on 17 January, -1 in July
    year_index = years.astype(int) - years[0].astype(int)
    mean = 19.6 - 8.6 * season
    mean += 0.3 * _normals(1, int(year_index[-1]) + 1)[year_index]
    mean += (0.5 + 0.2 * season) * _persistent(_normals(2, dates.size), memory=0.97)
    mean += (2.3 + 1.3 * season) * _persistent(_normals(3, dates.size), memory=0.65)
    half_range = np.maximum(5.4 + 0.5 * season + 1.3 * _persistent(_normals(4, dates.size), memory=0.3), 1.0)
    return Weather(dates, np.round(mean - half_range, 1), np.round(mean + half_range, 1))


def simulate_thresholds() -> FloatArray:
    """Heat at each stage, shape (season, block, stage); this season is the last. [°C·day]"""
    seasons = len(PAST_SEASONS) + 1
    theta = np.array([[TRUTH[block.cultivar][stage] for stage in STAGES] for block in BLOCKS])
    shared = _effects(SEASON_SPREAD, _normals(11, seasons, 1), _normals(12, seasons, 4))
    own = _effects(BLOCK_SPREAD, _normals(13, seasons, len(BLOCKS), 1), _normals(14, seasons, len(BLOCKS), 4))
    return theta + shared[:, np.newaxis, :] + own


def _effects(spread: dict[str, float], common: FloatArray, single: FloatArray) -> FloatArray:
    """Budbreak varies by itself; the bloom stages share most of what moves them. [°C·day]"""
    bloom = spread["bloom"] * common + spread["stage"] * single[..., 1:]
    return np.concatenate([spread["budbreak"] * single[..., :1], bloom], axis=-1)


def percent_open(heat: float, thresholds: FloatArray) -> int:
    """Caps off at some heat, on the logistic lines through 10, 50 and 95 %. [%]"""
    start, full, end = thresholds[1:]
    towards, logit = (start, math.log(9.0)) if heat < full else (end, math.log(19.0))
    return round(100 / (1 + math.exp(-logit * (heat - full) / abs(towards - full))))


def _csv(header: str, rows: Iterable[Sequence[object]]) -> bytes:
    return "".join(",".join(map(str, row)) + "\n" for row in (header.split(","), *rows)).encode()


def _temperatures(weather: Weather) -> bytes:
    rows = [
        (day, SENTINEL if day == SENTINEL_DAY else f"{low:.1f}", f"{high:.1f}")
        for day, low, high in zip(*weather, strict=True)
        if day <= LAST_DAY and day not in ABSENT_DAYS
    ]
    return _csv("date,tmin_c,tmax_c", rows)


def _outlook(weather: Weather) -> bytes:
    """The days to come as a forecaster would have them: right on average, and less sure by the day."""
    first = int(np.flatnonzero(weather.dates > LAST_DAY)[0])
    error = _normals(31, OUTLOOK_DAYS) * np.linspace(0.6, 2.2, OUTLOOK_DAYS)
    rows = [
        (weather.dates[day], f"{weather.tmin_c[day] + miss:.1f}", f"{weather.tmax_c[day] + miss:.1f}")
        for day, miss in enumerate(error, start=first)
    ]
    return _csv("date,tmin_c,tmax_c", rows)


def _planting() -> bytes:
    header = "block,cultivar,flower_type,x_m,y_m,vines,viable_pollen,berry_mass_g"
    rows = []
    for block in BLOCKS:
        flower_type, viable_pollen, berry_mass_g = CULTIVARS[block.cultivar]
        place = (block.x_m, block.y_m, block.vines)
        rows.append((block.key, block.cultivar, flower_type, *place, viable_pollen, berry_mass_g))
    return _csv(header, rows)


def _bloom_log(weather: Weather, thresholds: FloatArray) -> bytes:
    """Each stage on the first check that found it; a row in ten was lost, and a date in twenty is blank."""
    every = 3 + _bits(21, len(PAST_SEASONS), len(BLOCKS)) % 2
    phase = _bits(22, len(PAST_SEASONS), len(BLOCKS)) % every
    row_lost = _bits(23, len(PAST_SEASONS), len(BLOCKS)) % 10 == 0
    date_lost = _bits(24, len(PAST_SEASONS), len(BLOCKS), len(STAGES)) % 20 == 0
    rows: list[Sequence[object]] = []
    for s, season in enumerate(PAST_SEASONS):
        heat = weather.heat(season)
        for b, block in enumerate(BLOCKS):
            if season < block.logged_from or row_lost[s, b]:
                continue
            gap = int(every[s, b])
            reached = np.searchsorted(heat, thresholds[s, b])
            checked = reached + (int(phase[s, b]) - reached) % gap
            dates = {
                stage: dt.date(season, 1, 1) + dt.timedelta(days=int(day))
                for stage, day in zip(STAGES, checked, strict=True)
            }
            _misread(dates, season, block.key)
            blanks = dict(zip(STAGES, date_lost[s, b], strict=True))
            written = ["" if blanks[stage] else dates[stage] for stage in STAGES]
            rows.append((season, block.key, *written, gap))
    return _csv(f"season,block,{','.join(STAGES)},checked_every_days", rows)


def _misread(dates: dict[str, dt.date], season: int, block: str) -> None:
    """The two entry slips of the log."""
    if (season, block) == SLIP[:2]:
        dates[SLIP[2]] = dates[SLIP[2]].replace(month=dates[SLIP[2]].month - 1)
    if (season, block) == SWAPPED[:2]:
        _, _, first, second = SWAPPED
        dates[first], dates[second] = dates[second], dates[first]


def _visits(weather: Weather, thresholds: FloatArray) -> bytes:
    heat = weather.heat(THIS_SEASON)
    keys = [block.key for block in BLOCKS]
    rows = []
    for date, block, note in LOOKS:
        day = dt.date.fromisoformat(date).timetuple().tm_yday - 1
        rows.append((date, block, percent_open(heat[day], thresholds[-1, keys.index(block)]), note))
    return _csv("date,block,percent_open,note", rows)


def build() -> dict[str, bytes]:
    """All files of the demo, by name."""
    weather = simulate_weather()
    thresholds = simulate_thresholds()
    return {
        "temperatures.csv": _temperatures(weather),
        "outlook.csv": _outlook(weather),
        "planting.csv": _planting(),
        "bloom_log.csv": _bloom_log(weather, thresholds),
        "visits.csv": _visits(weather, thresholds),
    }


def write(folder: Path) -> None:
    """Write all files of the demo into a folder."""
    for name, content in build().items():
        (folder / name).write_bytes(content)


if __name__ == "__main__":
    write(Path(__file__).parent)
