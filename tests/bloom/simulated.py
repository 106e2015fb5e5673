"""Seasons simulated from the model with known truth, and weather to put dates to them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from models.bloom.mixed_model import drift_correlation
from models.bloom.observations import HeatIntervals
from models.records import DailyTemperatures, Unit
from models.units import FloatArray

NORMAL = np.inf
HEAT_A_DAY = 10.0


@dataclass(frozen=True, eq=False)
class Truth:
    """What the simulated seasons are drawn from: thresholds (cultivar, stage) and spreads. [°C·day]"""

    theta: FloatArray
    between_seasons: FloatArray
    within: FloatArray
    tail_degrees: float
    drift_share: float


def spread_over_stages(sd: float, correlation: float, stages: int) -> FloatArray:
    """A covariance with one standard deviation and one correlation."""
    return sd**2 * (correlation + (1 - correlation) * np.eye(stages))


def draw_truth(
    random: np.random.Generator,
    *,
    cultivars: int,
    stages: int = 1,
    between_cultivars: float = 60.0,
    between_seasons: float = 40.0,
    within: float = 25.0,
    tail_degrees: float = NORMAL,
    drift_share: float = 0.0,
    first: float = 600.0,
    stage_apart: float = 150.0,
) -> Truth:
    """Thresholds of cultivars that are alike in all stages."""
    across = spread_over_stages(between_cultivars, 0.9, stages)
    apart = random.standard_normal((cultivars, stages)) @ np.linalg.cholesky(across).T
    return Truth(
        np.asarray(first + stage_apart * np.arange(stages) + apart, dtype=np.float64),
        spread_over_stages(between_seasons, 0.8, stages),
        spread_over_stages(within, 0.5, stages),
        tail_degrees,
        drift_share,
    )


def season_effects(random: np.random.Generator, truth: Truth, seasons: int) -> FloatArray:
    """What seasons in a row add for all cultivars; shape (season, stage)."""
    years = np.arange(seasons, dtype=np.float64)
    drift = np.linalg.cholesky(drift_correlation(years, years)) @ _normal(
        random, truth.between_seasons, seasons
    )
    shock = _tailed(random, truth.between_seasons, seasons, truth.tail_degrees)
    return np.asarray(np.sqrt(truth.drift_share) * drift + np.sqrt(1 - truth.drift_share) * shock)


def block_heat(random: np.random.Generator, truth: Truth, effect: FloatArray) -> FloatArray:
    """Heat of one block a cultivar at each stage in a season; shape (cultivar, stage)."""
    return truth.theta + effect + _tailed(random, truth.within, len(truth.theta), truth.tail_degrees)


def simulated_intervals(
    random: np.random.Generator,
    truth: Truth,
    *,
    seasons: int,
    days_between_visits: float,
    share_missing: float = 0.0,
    one_place: bool = True,
) -> HeatIntervals:
    """Visits at even distances of heat, on the same days in all blocks of a season.

    ``one_place`` False puts every season at a place of its own, so that no drift joins them.
    """
    cultivars, stages = truth.theta.shape
    effects = season_effects(random, truth, seasons)
    heat = np.stack([block_heat(random, truth, effect) for effect in effects], axis=1).reshape(-1, stages)
    cultivar_of, season_of = (
        axis.reshape(-1) for axis in np.meshgrid(np.arange(cultivars), np.arange(seasons), indexing="ij")
    )
    width = days_between_visits * HEAT_A_DAY
    first_visit = random.random((seasons, 1))[season_of] * width
    lower = np.floor((heat - first_visit) / width) * width + first_visit
    kept = random.random(cultivar_of.size) >= share_missing
    return HeatIntervals(
        stages=("bloom_start", "full_bloom", "bloom_end")[:stages],
        cultivars=tuple(f"cultivar-{number:02d}" for number in range(cultivars)),
        seasons=tuple(
            ("here" if one_place else f"place-{number:02d}", 1990 + number) for number in range(seasons)
        ),
        sites=("here",) * int(kept.sum()),
        units=tuple(Unit("block", f"block-{number:02d}") for number in cultivar_of[kept]),
        cultivar_of=cultivar_of[kept],
        season_of=season_of[kept],
        lower=lower[kept],
        upper=lower[kept] + width,
        heat_a_day=np.full(stages, HEAT_A_DAY),
    )


def weather(
    first: str, last: str, *, seed: int = 0, noise_c: float = 3.0, south: bool = False
) -> DailyTemperatures:
    """Invented weather of a humid, subtropical place."""
    dates = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + 1)
    day_of_year = (dates - dates.astype("datetime64[Y]")).astype(np.float64)
    mean = 17 - 10 * np.cos(2 * np.pi * (day_of_year - (15 if not south else 197)) / 365.25)
    mean += np.random.default_rng(seed).normal(0, noise_c, dates.size)
    return DailyTemperatures(dates, mean - 6, mean + 6)


def day(text: str) -> dt.date:
    """A date from its ISO form."""
    return dt.date.fromisoformat(text)


def _normal(random: np.random.Generator, covariance: FloatArray, count: int) -> FloatArray:
    return random.standard_normal((count, covariance.shape[0])) @ np.linalg.cholesky(covariance).T


def _tailed(
    random: np.random.Generator, covariance: FloatArray, count: int, tail_degrees: float
) -> FloatArray:
    """Draws from a multivariate t distribution with this scale; normal for infinite degrees of freedom."""
    normal = _normal(random, covariance, count)
    if np.isinf(tail_degrees):
        return normal
    return np.asarray(normal / np.sqrt(random.chisquare(tail_degrees, (count, 1)) / tail_degrees))
