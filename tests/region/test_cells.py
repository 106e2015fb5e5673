"""A region's cells: the numbers of one station, the quantiles of drawn ones, and nothing where nothing is known."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import dask
import numpy as np
import pytest
import xarray as xr
from numpy.testing import assert_array_equal

from models.bloom.forecast import forecast
from models.bloom.mixed_model import TAIL_DEGREES
from models.bloom.site import Site
from models.bloom.thresholds import Fit, fit_thresholds
from models.errors import BadInput
from models.grid import RegionQuestion, cell_days, region_days, region_question
from models.heat.accumulate import accumulate_seasons
from models.records import Block
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS
from tests.hindcast.past import LATITUDE, RULE, THRESHOLDS, invented_vineyard
from tests.region.grids import LATITUDES, STATION, cells, station

SEASONS = (2002, 2004)
ONE, OTHER = THRESHOLDS


@pytest.fixture(scope="module")
def fit() -> Fit:
    """Of cultivars whose bloom ends a known heat after its start."""
    site = invented_vineyard(2001, 2010).site
    log = tuple(
        replace(row, dates={**row.dates, "bloom_end": row.dates["full_bloom"] + dt.timedelta(days=6)})
        for row in site.log
    )
    return fit_thresholds([replace(site, log=log)], stages=BLOOM_STAGES, rule=RULE)


def ask(fit: Fit, **asked: Any) -> RegionQuestion:
    return region_question(fit, **{"seasons": SEASONS, "pairs": [(ONE, OTHER)], **asked})


def of_region(question: RegionQuestion, *, pieces: dict[str, int] | None = None) -> xr.Dataset:
    grid = cells(station())
    grid = grid if pieces is None else grid.chunk({"time": -1, **pieces})
    return region_days(grid["low"], grid["high"], grid["lat"], question)


def of_station(question: RegionQuestion, latitude: float = LATITUDE) -> tuple[FloatArray, FloatArray]:
    weather = station()
    return cell_days(
        weather.tmin_c, weather.tmax_c, np.array(latitude), dates=weather.dates, question=question
    )


@pytest.mark.parametrize("usual", [False, True])
def test_a_cell_has_the_numbers_of_a_station_there(fit: Fit, usual: bool) -> None:
    question = ask(fit, usual=usual)
    found = of_region(question)
    stage, outlast = of_station(question)
    here = found.isel(lat=STATION[0], lon=STATION[1])
    assert_array_equal(here["bloom_day"].values, stage[0] if usual else stage)
    assert_array_equal(here["days_outlasted"].values, outlast[0] if usual else outlast)
    assert np.isfinite(stage).all()
    assert np.isfinite(outlast).all()
    # the colder north blooms later, and no other cell has the station's days throughout
    median = found["bloom_day"].sel(quantile=0.5)
    by_latitude = median.mean([each for each in median.dims if each != "lat"])
    assert np.all(np.diff(by_latitude.values) > 0)


def test_days_are_those_on_which_the_heat_is_reached(fit: Fit) -> None:
    """Against the heat summed by the room that forecasts do it with."""
    question = ask(fit)
    stage, _ = of_station(question)
    heats = accumulate_seasons(station(), RULE, SEASONS, LATITUDE)
    for season, place in zip(SEASONS, range(2), strict=True):
        curve = heats[season].accumulated
        for probability, cultivar, which in np.ndindex(question.heat.shape):
            day = stage[place, probability, cultivar, which]
            needed = question.heat[probability, cultivar, which]
            assert curve[int(day)] >= needed > curve[int(day) - 1]


def test_quantiles_are_those_of_a_forecast_by_draws(fit: Fit) -> None:
    """Of a site without a past, whose weather is known to its end: the forecast draws, the region does not."""
    weather = station()
    site = Site("elsewhere", LATITUDE, weather)
    blocks = [Block(cultivar, cultivar, 0.0, 0.0, 1) for cultivar in fit.cultivars]
    as_of = dt.date(SEASONS[0], 12, 31)
    drawn = forecast(fit, site, blocks, as_of=as_of, draws=20_000)
    stage, _ = of_station(ask(fit, seasons=SEASONS[:1]))
    new_year = dt.date(SEASONS[0], 1, 1)
    for cultivar, block in enumerate(drawn.blocks):
        for which, name in enumerate(fit.stages):
            told = block.stages[name]
            dates = (told.low, told.median, told.high)
            days = [(date - new_year).days for date in dates if date is not None]
            assert np.abs(np.array(days) - stage[0, :, cultivar, which]).max() <= 1


def test_days_outlasted_are_those_of_draws_around_the_sources_usual_end(fit: Fit) -> None:
    question = ask(fit, seasons=SEASONS[:1])
    _, outlast = of_station(question)
    random = np.random.default_rng(3)
    one, other = (fit.cultivars.index(each) for each in (ONE, OTHER))
    end = fit.stages.index("bloom_end")
    joint = fit.thresholds.covariance[:, end, :, end][np.ix_([one, other], [one, other])]
    count = 200_000
    tails = np.sqrt(random.chisquare(TAIL_DEGREES, count) / TAIL_DEGREES)
    apart = random.multivariate_normal([0.0, 0.0], joint + np.eye(2) * fit.calibrated.within[end, end], count)
    gap = (
        (apart[:, 0] - apart[:, 1]) / tails + fit.thresholds.mean[one, end] - fit.thresholds.mean[other, end]
    )
    curve = accumulate_seasons(station(), RULE, SEASONS[:1], LATITUDE)[SEASONS[0]].accumulated
    source = fit.thresholds.mean[other, end]
    days = np.searchsorted(curve, source + gap) - np.searchsorted(curve, source)
    wanted = np.quantile(days + RECEPTIVE_DAYS - POLLEN_DAYS, question.quantiles)
    assert np.abs(outlast[0, :, 0] - wanted).max() <= 1


def test_usual_weather_is_the_mean_chance_over_seasons(fit: Fit) -> None:
    """Each season's chance by a day, averaged: the days at which it passes the quantiles."""
    seasons = range(2001, 2005)
    usual, _ = of_station(ask(fit, seasons=seasons, usual=True, interval=0.8))
    fine = [ask(fit, seasons=seasons, interval=interval) for interval in np.arange(0.02, 1, 0.04)]
    days = np.concatenate([of_station(each)[0][:, [0, 2]].reshape(-1, *each.heat.shape[1:]) for each in fine])
    assert np.abs(np.quantile(days, [0.1, 0.5, 0.9], axis=0) - usual[0]).max() <= 1


def test_pieces_are_computed_when_they_are_asked_for_and_give_the_same(fit: Fit) -> None:
    question = ask(fit)

    def refuse(*_: Any, **__: Any) -> None:
        raise AssertionError("computed before it was asked for")

    with dask.config.set(scheduler=refuse):
        lazy = of_region(question, pieces={"lat": 2, "lon": 3})
    assert lazy["bloom_day"].chunks is not None
    whole = of_region(question)
    for name in ("bloom_day", "days_outlasted"):
        assert_array_equal(lazy[name].compute().values, whole[name].values)


def test_nothing_is_told_after_a_missing_day_or_before_the_record(fit: Fit) -> None:
    weather = station()
    day = int(np.flatnonzero(weather.dates == np.datetime64(f"{SEASONS[1]}-03-01"))[0])
    for low, high in ((np.nan, np.nan), (9.0, 3.0)):
        tmin, tmax = weather.tmin_c.copy(), weather.tmax_c.copy()
        tmin[day], tmax[day] = low, high
        question = ask(fit, seasons=(2000, *SEASONS))
        stage, outlast = cell_days(tmin, tmax, np.array(LATITUDE), dates=weather.dates, question=question)
        assert np.isnan(stage[[0, 2]]).all()
        assert np.isnan(outlast[[0, 2]]).all()
        assert np.isfinite(stage[1]).all()
        usual, _ = cell_days(
            tmin, tmax, np.array(LATITUDE), dates=weather.dates, question=ask(fit, usual=True)
        )
        alone, _ = of_station(ask(fit, seasons=SEASONS[:1], usual=True))
        assert_array_equal(usual, alone)


def test_a_season_that_is_too_cold_or_not_over_tells_nothing(fit: Fit) -> None:
    weather = station()
    question = ask(fit, seasons=SEASONS[1:])
    cold, _ = cell_days(
        weather.tmin_c - 25, weather.tmax_c - 25, np.array(LATITUDE), dates=weather.dates, question=question
    )
    assert np.isnan(cold).all()
    full, _ = of_station(question)
    until_may = weather.dates < np.datetime64(f"{SEASONS[1]}-01-01") + int(np.median(full))
    stage, _ = cell_days(
        weather.tmin_c[until_may],
        weather.tmax_c[until_may],
        np.array(LATITUDE),
        dates=weather.dates[until_may],
        question=question,
    )
    known = np.isfinite(stage)
    assert 0 < known.sum() < known.size
    assert_array_equal(stage[known], full[known])


def test_the_south_counts_from_july_and_has_its_bloom_before_new_year(fit: Fit) -> None:
    weather = station()
    question = ask(fit, seasons=(2003,))
    half_a_year = 182
    tmin, tmax = (np.roll(each, -half_a_year) for each in (weather.tmin_c, weather.tmax_c))
    low, high = (np.stack([each, each]) for each in (tmin, tmax))
    stage, _ = cell_days(low, high, np.array([-33.0, 33.0]), dates=weather.dates, question=question)
    assert np.all(stage[0] < 0)
    assert not np.array_equal(stage[0], stage[1])
    alone, _ = cell_days(tmin, tmax, np.array(-33.0), dates=weather.dates, question=question)
    assert_array_equal(stage[0], alone)
    assert LATITUDES.min() > 0


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"cultivars": ["moss-lantern"]}, "does not know a cultivar"),
        ({"pairs": [(ONE, "moss-lantern")]}, "does not know a cultivar"),
        ({"interval": 1.0}, "no probability"),
        ({"seasons": ()}, "no season"),
    ],
)
def test_what_cannot_be_asked(fit: Fit, asked: dict[str, Any], said: str) -> None:
    with pytest.raises(BadInput, match=said):
        ask(fit, **asked)


def test_days_that_are_left_out_are_refused(fit: Fit) -> None:
    grid = cells(station()).isel(time=[0, 1, 3])
    with pytest.raises(BadInput, match="not consecutive"):
        region_days(grid["low"], grid["high"], grid["lat"], ask(fit))
