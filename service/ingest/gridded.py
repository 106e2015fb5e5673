"""Gridded daily temperatures, from NetCDF files or Zarr stores with CF names and units, opened but not read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from models.errors import BadInput, Problem

if TYPE_CHECKING:
    import xarray as xr

# The names under which such files are published; the CF standard name with its cell method comes first.
NAMES = {
    "minimum": {"tasmin", "tmin", "tn", "tmn", "t2m_min", "tmin_c", "minimum_temperature"},
    "maximum": {"tasmax", "tmax", "tx", "tmx", "t2m_max", "tmax_c", "maximum_temperature"},
}
LATITUDES = {"lat", "latitude", "nav_lat"}
TO_CELSIUS: dict[str, Callable[[Any], Any]] = {
    **dict.fromkeys(("degc", "c", "°c", "celsius", "degree_celsius", "degrees_celsius"), lambda told: told),
    **dict.fromkeys(("k", "kelvin"), lambda told: told - 273.15),
    **dict.fromkeys(("degf", "f", "°f", "fahrenheit", "degrees_fahrenheit"), lambda told: (told - 32) / 1.8),
}
NEEDS = "reading grids needs more libraries: pip install 'capfall[dask]'"


@dataclass(frozen=True, eq=False)
class GriddedTemperatures:
    """Daily extremes with a dimension ``time`` and those of the cells, and each cell's latitude. [°C, degree]"""

    tmin_c: xr.DataArray
    tmax_c: xr.DataArray
    latitude: xr.DataArray

    @property
    def cells(self) -> dict[str, int]:
        """The dimensions of the cells."""
        return {str(name): size for name, size in self.tmin_c.sizes.items() if name != "time"}

    @property
    def dates(self) -> np.ndarray[Any, np.dtype[np.datetime64]]:
        """The days."""
        return np.asarray(self.tmin_c["time"].values.astype("datetime64[D]"))


def open_gridded(paths: Sequence[Path]) -> GriddedTemperatures:
    """Open one file or many: both extremes in each or apart, all days in each or one year after the other.

    Raises
    ------
    BadInput
        If a file cannot be opened, an extreme, its unit, the days or the latitude cannot be told, or the two extremes
        have not the same days and cells.
    """
    opened = [(path, _open(path)) for path in paths]
    low, high = (_extreme(opened, which) for which in ("minimum", "maximum"))
    if low.sizes != high.sizes or not np.array_equal(low["time"].values, high["time"].values):
        raise BadInput(
            "minimum and maximum do not lie on the same days and cells",
            [Problem("files", f"{dict(low.sizes)} and {dict(high.sizes)}")],
        )
    return GriddedTemperatures(low, high, _latitude(low, [file for _, file in opened]))


def _open(path: Path) -> xr.Dataset:
    try:
        import dask.array  # noqa: F401
        import xarray as xr
    except ModuleNotFoundError:
        raise BadInput(NEEDS) from None
    if not path.exists():
        raise BadInput("a file is not there", [Problem(str(path), "no such file or folder")])
    try:
        file: xr.Dataset = (xr.open_zarr if path.is_dir() else xr.open_dataset)(path, chunks={})
    except (OSError, ValueError, KeyError, TypeError) as error:
        problem = "cannot be read as NetCDF or Zarr with CF names and units"
        raise BadInput("a grid cannot be opened", [Problem(str(path), f"{problem} ({error})")]) from error
    return file


def _extreme(opened: Sequence[tuple[Path, xr.Dataset]], which: str) -> xr.DataArray:
    import xarray as xr

    pieces = []
    for path, file in opened:
        for name, array in file.data_vars.items():
            if _is(array, str(name), which):
                pieces.append(_in_celsius(_with_time(array, path), str(name), path))
    if not pieces:
        problem = f"standard_name air_temperature with cell_methods 'time: {which}', or one of the names "
        raise BadInput(
            f"there is no daily {which}", [Problem("files", problem + ", ".join(sorted(NAMES[which])))]
        )
    pieces.sort(key=lambda piece: piece["time"].values[0])
    whole = pieces[0]
    if len(pieces) > 1:
        whole = xr.concat(pieces, "time", join="exact", coords="minimal", compat="override")
    if np.any(np.diff(whole["time"].values) != np.timedelta64(1, "D")):
        problem = "every day must be there once, in order; store missing values, do not leave days out"
        raise BadInput(f"the days of the daily {which} are not consecutive", [Problem("time", problem)])
    cells = [name for name in whole.dims if name != "time"]
    return whole.transpose("time", *cells).reset_coords(drop=True)


def _is(array: xr.DataArray, name: str, which: str) -> bool:
    told = array.attrs
    if told.get("standard_name") == "air_temperature" and "cell_methods" in told:
        return f"time: {which}" in told["cell_methods"]
    return name.lower() in NAMES[which]


def _with_time(array: xr.DataArray, path: Path) -> xr.DataArray:
    for name in array.dims:
        if name in array.coords and array[name].dtype.kind == "M":
            renamed = array.rename({name: "time"}) if name != "time" else array
            days = renamed["time"].values.astype("datetime64[D]").astype("datetime64[ns]")
            return renamed.assign_coords(time=days)
    problem = "no dimension is a time of the standard calendar (units as in 'days since 1950-01-01')"
    raise BadInput("the days of a grid cannot be told", [Problem(f"{path}: {array.name}", problem)])


def _in_celsius(array: xr.DataArray, name: str, path: Path) -> xr.DataArray:
    unit = str(array.attrs.get("units", "")).strip()
    if unit.lower() not in TO_CELSIUS:
        problem = f"its unit is {unit!r}; degC, K and degF can be read"
        raise BadInput("the unit of a grid cannot be read", [Problem(f"{path}: {name}", problem)])
    converted: xr.DataArray = TO_CELSIUS[unit.lower()](array)
    return converted


def _latitude(array: xr.DataArray, files: Sequence[xr.Dataset]) -> xr.DataArray:
    for file in files:
        for name, each in {**file.coords, **file.data_vars}.items():
            told = each.attrs
            if (
                told.get("standard_name") == "latitude"
                or told.get("units") in ("degrees_north", "degree_north")
                or str(name).lower() in LATITUDES
            ) and set(each.dims) <= set(array.dims):
                return each.reset_coords(drop=True).compute()
    problem = "no coordinate has the standard_name latitude, the unit degrees_north, or the name lat"
    raise BadInput("the latitude of the cells cannot be told", [Problem("files", problem)])
