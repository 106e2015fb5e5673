"""Small invented grids: one station's weather, moved by the latitude of each cell."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import xarray as xr

from models.records import DailyTemperatures
from tests.hindcast.past import invented_weather

FIRST, LAST = 2001, 2004
LATITUDES = np.linspace(30.0, 36.0, 5)
LONGITUDES = np.linspace(-90.0, -84.0, 4)
STATION = (2, 1)  # the cell that has the station's own weather


def offsets_c() -> xr.DataArray:
    """By how much each cell is warmer than the station. [°C]"""
    random = np.random.default_rng(4)
    away = -0.8 * (LATITUDES[:, np.newaxis] - 33.0) + random.normal(0, 0.4, (LATITUDES.size, LONGITUDES.size))
    away[STATION] = 0.0
    return xr.DataArray(away, dims=("lat", "lon"))


def station() -> DailyTemperatures:
    """The weather of the cell in the middle."""
    return invented_weather(FIRST, LAST)


def cells(weather: DailyTemperatures, *, unit: str = "degC") -> xr.Dataset:
    """As a CF data set, whose days lie first."""
    coords = {
        "time": weather.dates.astype("datetime64[ns]"),
        "lat": ("lat", LATITUDES, {"standard_name": "latitude", "units": "degrees_north"}),
        "lon": ("lon", LONGITUDES, {"standard_name": "longitude", "units": "degrees_east"}),
    }
    made = {}
    for name, which, values in (("low", "minimum", weather.tmin_c), ("high", "maximum", weather.tmax_c)):
        moved = xr.DataArray(values, dims="time") + offsets_c()
        moved = moved + 273.15 if unit == "K" else moved * 1.8 + 32 if unit == "degF" else moved
        moved.attrs = {"standard_name": "air_temperature", "cell_methods": f"time: {which}", "units": unit}
        made[name] = moved.assign_coords(coords)
    return xr.Dataset(made)


def write_cells(path: Path, *, unit: str = "degC", first: int = FIRST, last: int = LAST) -> Path:
    """As a NetCDF file, or a Zarr store where the name says so, stored in pieces."""
    days = cells(station(), unit=unit).sel(time=slice(f"{first}", f"{last}"))
    pieces = {name: days[name].sizes for name in days}
    if path.suffix == ".zarr":
        stored = {name: {"chunks": (366, 2, 2)} for name in pieces}
        days.to_zarr(path, encoding=stored, zarr_format=2, consolidated=True)
    else:
        days.to_netcdf(
            path, encoding={name: {"chunksizes": (min(366, days.sizes["time"]), 2, 2)} for name in pieces}
        )
    return path
