"""Seeded synthetic grids of one year, written piece by piece, as large as wanted."""

from __future__ import annotations

from pathlib import Path

import netCDF4
import numpy as np

from tests.hindcast.past import invented_weather

PIECE = 64  # cells along each side of what is stored together
SCALE = 0.01  # of the packed temperatures [°C]


def write_grid(path: Path, *, side: int, year: int, seed: int) -> Path:
    """A square of side x side cells, its weather one station's, colder to the north and rough from cell to cell."""
    weather = invented_weather(year, year)
    random = np.random.default_rng(seed)
    with netCDF4.Dataset(path, "w") as file:
        for name, size in (("time", weather.dates.size), ("lat", side), ("lon", side)):
            file.createDimension(name, size)
        days = file.createVariable("time", "f8", ("time",))
        days.units, days.standard_name = f"days since {year}-01-01", "time"
        days[:] = np.arange(weather.dates.size)
        for name, unit, first in (("lat", "degrees_north", 30.0), ("lon", "degrees_east", -90.0)):
            degrees = file.createVariable(name, "f8", (name,))
            degrees.units = unit
            degrees[:] = np.linspace(first, first + 8, side)
        pieces = (weather.dates.size, min(PIECE, side), min(PIECE, side))
        stored = []
        for name, which in (("tasmin", "minimum"), ("tasmax", "maximum")):
            values = file.createVariable(
                name, "i2", ("time", "lat", "lon"), chunksizes=pieces, fill_value=-32768
            )
            values.units, values.standard_name, values.cell_methods = (
                "degC",
                "air_temperature",
                f"time: {which}",
            )
            values.scale_factor = SCALE
            stored.append(values)
        for row in range(0, side, PIECE):
            for column in range(0, side, PIECE):
                shape = (min(PIECE, side - row), min(PIECE, side - column))
                north = 8 * np.arange(row, row + shape[0]) / side
                away = -0.8 * north[:, np.newaxis] + random.normal(0, 0.5, shape)
                place = (slice(None), slice(row, row + shape[0]), slice(column, column + shape[1]))
                for values, station in zip(stored, (weather.tmin_c, weather.tmax_c), strict=True):
                    values[place] = station[:, np.newaxis, np.newaxis] + away
    return path
