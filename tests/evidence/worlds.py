"""Invented vineyards whose true dates are known, also of kinds that the model does not assume.

All is drawn in days around each cultivar's usual date and then put into heat, so that worlds with another response
to temperature differ by as much.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from models.bloom.mixed_model import TAIL_DEGREES
from models.bloom.observations import IntArray
from models.bloom.site import Site
from models.records import DailyTemperatures, StageInterval
from models.units import FloatArray
from tests.bloom.noted import logged
from tests.bloom.simulated import NORMAL, Truth, season_effects, spread_over_stages

LATITUDE = 40.0
STAGES = ("bloom_start", "full_bloom")
CULTIVARS = tuple(f"cultivar-{number}" for number in range(5))
SEASONS = tuple(range(2003, 2023))
LOOKED_EVERY = 3  # [day]
DAYS = 212  # of each season, from 1 January on

# Of the dates, in days: about what is found on the open grapes.
USUAL_DAY, STAGE_APART, BETWEEN_CULTIVARS, BETWEEN_SEASONS, WITHIN = 130.0, 7.0, 3.0, 3.0, 2.0
DRIFT_SHARE = 0.3
NOISE_SEASON, NOISE_OWN = 6.0, 2.0  # where the weather says nothing

Dates = Literal["by heat", "of another year", "at random"]


def degrees_above_ten(mean_c: FloatArray) -> FloatArray:
    """What the fit assumes of a day. [°C·day]"""
    return np.maximum(mean_c - 10, 0.0)


def levelling_off(mean_c: FloatArray) -> FloatArray:
    """A day's share of full speed: no base temperature, and no gain from much heat."""
    return np.asarray(1 / (1 + np.exp(-(mean_c - 14) / 2.5)), dtype=np.float64)


def as_many_late_as_early(random: np.random.Generator, seasons: int) -> FloatArray:
    """Season effects with the model's drift and tails; shape (season, stage). [day]"""
    return season_effects(random, _seasons(TAIL_DEGREES), seasons)


def few_very_late(random: np.random.Generator, seasons: int) -> FloatArray:
    """Season effects of an exponential distribution: most somewhat early, few very late. [day]"""
    drift = np.sqrt(DRIFT_SHARE) * season_effects(random, _seasons(NORMAL, drift_share=1.0), seasons)
    late = BETWEEN_SEASONS * np.sqrt(1 - DRIFT_SHARE) * (random.exponential(size=(seasons, 1)) - 1)
    return np.asarray(drift + late + random.normal(0, 0.5, (seasons, len(STAGES))))


def later_every_year(random: np.random.Generator, seasons: int) -> FloatArray:
    """Season effects that are normal around a trend of a day in four years. [day]"""
    return season_effects(random, _seasons(NORMAL), seasons) + np.arange(seasons)[:, None] / 4


@dataclass(frozen=True)
class World:
    """How dates come about. ``searched``: whether the fit has to find its heat rule; ``warming_c``: a year. [°C]"""

    title: str
    effects: Callable[[np.random.Generator, int], FloatArray] = as_many_late_as_early
    response: Callable[[FloatArray], FloatArray] = degrees_above_ten
    warming_c: float = 0.0
    tails: float = TAIL_DEGREES
    searched: bool = False
    dates: Dates = "by heat"


AS_ASSUMED = World("as the model assumes")
SKEWED = World("skewed seasons", effects=few_very_late, tails=NORMAL)
TREND = World("a trend, and warming", effects=later_every_year, warming_c=0.06, tails=NORMAL)
OTHER_RESPONSE = World("another response to heat", response=levelling_off, tails=NORMAL, searched=True)
SHUFFLED = World("dates of other years", dates="of another year", searched=True)
NOISE = World("dates at random", dates="at random", searched=True)
WITH_SKILL = (AS_ASSUMED, SKEWED, TREND, OTHER_RESPONSE)
WITHOUT_SKILL = (SHUFFLED, NOISE)


@dataclass(frozen=True, eq=False)
class Vineyard:
    """What was noted, and the true days since 1 January: shape (season, cultivar, stage)."""

    site: Site
    days: FloatArray

    def true_day(self, season: int, cultivar: str, stage: str) -> float:
        """Of one block; every cultivar has one."""
        return float(self.days[season - SEASONS[0], CULTIVARS.index(cultivar), STAGES.index(stage)])


def vineyard(world: World, seed: int) -> Vineyard:
    """One vineyard of a world, looked at every third day, in some seasons at few of its blocks."""
    random = np.random.default_rng(seed)
    temperatures = springs(random, world.warming_c)
    days = _true_days(random, world, temperatures)
    return Vineyard(Site("here", LATITUDE, temperatures, logged(_seen(random, days))), days)


def springs(random: np.random.Generator, warming_c: float) -> DailyTemperatures:
    """Weather whose warm and cold spells last for days, so that springs differ."""
    first, last = (np.datetime64(f"{year}-{day}", "D") for year, day in ((2003, "01-01"), (2022, "12-31")))
    dates = np.arange(first, last + 1)
    day_of_year = (dates - dates.astype("datetime64[Y]")).astype(np.float64)
    years = dates.astype("datetime64[Y]").astype(np.int64) + 1970 - SEASONS[0]
    spells = np.empty(dates.size)
    spells[0] = 0.0
    for place, new in enumerate(random.normal(0, 2.4, dates.size - 1)):
        spells[place + 1] = 0.75 * spells[place] + new
    mean = 11 - 12 * np.cos(2 * np.pi * (day_of_year - 20) / 365.25) + spells + warming_c * years
    return DailyTemperatures(dates, mean - 6, mean + 6)


def _true_days(random: np.random.Generator, world: World, temperatures: DailyTemperatures) -> FloatArray:
    seasons, shape = len(SEASONS), (len(CULTIVARS), len(STAGES))
    usual = (
        USUAL_DAY
        + STAGE_APART * np.arange(len(STAGES))
        + random.normal(0, BETWEEN_CULTIVARS, shape[0])[:, None]
    )
    usual = usual + random.normal(0, 0.7, shape)
    if world.dates == "at random":
        off = random.normal(0, NOISE_SEASON, (seasons, 1, 1)) + random.normal(
            0, NOISE_OWN, (seasons, shape[0], 1)
        )
        return np.asarray(np.round(usual + off), dtype=np.float64)
    speed = world.response(0.5 * (temperatures.tmin_c + temperatures.tmax_c))
    start = (
        np.array([f"{season}-01-01" for season in SEASONS], dtype="datetime64[D]") - temperatures.dates[0]
    ).astype(int)
    heat = np.cumsum(speed[start[:, None] + np.arange(DAYS)], axis=1)
    normal = heat.mean(axis=0)
    own = (
        random.standard_normal((seasons, *shape))
        @ np.linalg.cholesky(spread_over_stages(WITHIN, 0.5, shape[1])).T
    )
    if np.isfinite(world.tails):
        own /= np.sqrt(random.chisquare(world.tails, (seasons, shape[0], 1)) / world.tails)
    off = world.effects(random, seasons)[:, None, :] + own
    a_day = np.interp(usual, np.arange(DAYS), np.gradient(normal))
    needed = np.maximum.accumulate(np.interp(usual, np.arange(DAYS), normal) + off * a_day, axis=2)
    days = np.array(
        [np.searchsorted(curve, of_season) for curve, of_season in zip(heat, needed, strict=True)]
    )
    if world.dates == "of another year":
        days = days[_all_moved(random, seasons)]
    return days.astype(np.float64)


def _all_moved(random: np.random.Generator, count: int) -> IntArray:
    """An order in which nothing stays in its place."""
    places = np.arange(count)
    order = random.permutation(places)
    while (order == places).any():
        order = random.permutation(places)
    return order


def _seen(random: np.random.Generator, days: FloatArray) -> list[StageInterval]:
    seen = []
    for season, of_season in zip(SEASONS, days, strict=True):
        offset = int(random.integers(LOOKED_EVERY))
        looked_at = random.random(len(CULTIVARS)) < random.uniform(0.3, 1.0)
        looked_at[random.integers(len(CULTIVARS))] = True
        for place in np.flatnonzero(looked_at):
            for stage, day in zip(STAGES, of_season[place], strict=True):
                by = int(np.ceil((day - offset) / LOOKED_EVERY)) * LOOKED_EVERY + offset
                after, on = (
                    dt.date(season, 1, 1) + dt.timedelta(days=each) for each in (by - LOOKED_EVERY, by)
                )
                seen.append(StageInterval(season, CULTIVARS[place], CULTIVARS[place], stage, after, on))
    return seen


def _seasons(tails: float, *, drift_share: float = DRIFT_SHARE) -> Truth:
    nothing = np.zeros((len(CULTIVARS), len(STAGES)))
    spread = spread_over_stages(BETWEEN_SEASONS, 0.8, len(STAGES))
    return Truth(nothing, spread, spread, tails, drift_share)
