"""Accumulated average-method degree-days on real station weather, against a general climate library.

Weather: Seattle, daily 2012-2015, as shipped in vega-datasets. Reference: xclim's growing degree days.
"""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from vega_datasets import data

from models.heat.accumulate import accumulate_seasons, heat_on
from models.records import DailyTemperatures, HeatRule

SEATTLE_LATITUDE = 47.4

# xclim asks pandas for a name that pandas 3.1 gives up; nothing of ours does
pytestmark = [
    pytest.mark.filterwarnings("ignore:The 'name' property is deprecated:DeprecationWarning"),
    pytest.mark.slow,
]


@pytest.fixture(scope="module")
def seattle() -> DailyTemperatures:
    table: pd.DataFrame = data.seattle_weather()
    return DailyTemperatures(
        table["date"].to_numpy().astype("datetime64[D]"),
        table["temp_min"].to_numpy(dtype=float),
        table["temp_max"].to_numpy(dtype=float),
    )


def xclim_degree_days(temps: DailyTemperatures, base_c: float, freq: str) -> xr.DataArray:
    from xclim.indices import (
        growing_degree_days,
    )  # here, as it takes seconds that the quick loop does without

    mean = (temps.tmin_c + temps.tmax_c) / 2
    tas = xr.DataArray(
        mean, coords={"time": temps.dates.astype("datetime64[ns]")}, dims="time", attrs={"units": "degC"}
    )
    sums: xr.DataArray = growing_degree_days(tas, thresh=f"{base_c} degC", freq=freq)
    return sums


@pytest.mark.parametrize("base_c", [0.0, 4.5, 10.0])
def test_months_of_each_northern_season(seattle: DailyTemperatures, base_c: float) -> None:
    seasons = accumulate_seasons(seattle, HeatRule(base_c=base_c), range(2012, 2016), SEATTLE_LATITUDE)
    by_month = xclim_degree_days(seattle, base_c, "MS")
    assert by_month.size == 48
    for season, heat in seasons.items():
        expected = np.cumsum(by_month.sel(time=str(season)).to_numpy())
        found = [heat_on(heat, day.date()) for day in pd.date_range(f"{season}", periods=12, freq="ME")]
        np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-9)
    assert heat_on(seasons[2015], dt.date(2015, 12, 31)) > 500


def test_southern_seasons_run_from_july_to_june(seattle: DailyTemperatures) -> None:
    """The same weather, taken as if it had been measured south of the equator."""
    seasons = accumulate_seasons(seattle, HeatRule(base_c=10), range(2013, 2016), -SEATTLE_LATITUDE)
    by_season = xclim_degree_days(seattle, 10, "YS-JUL")
    for season, heat in seasons.items():
        expected = by_season.sel(time=f"{season - 1}-07-01").item()
        assert heat.accumulated[-1] == pytest.approx(expected, rel=1e-9)
