"""A fit over a region, tile by tile: parts are kept until all are there, so that it goes on where it stopped."""

from __future__ import annotations

import hashlib
import os
import pickle
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from itertools import product
from math import prod
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from models.errors import BadInput, Problem
from models.grid import RegionQuestion, region_days
from service.ingest.gridded import GriddedTemperatures, open_gridded
from service.workers import Workers

if TYPE_CHECKING:
    import xarray as xr

TILE_VALUES = 4_000_000  # days x cells of one extreme that are held at once
POSSIBLE_C = (-90.0, 65.0)  # what no station on earth has left, with a margin [°C]
MADE_FROM = "made_from"


@dataclass(frozen=True, eq=False)
class RegionTask:
    """What to compute, and where its parts are kept: one for each tile, a span of each dimension of the cells."""

    paths: tuple[Path, ...]
    question: RegionQuestion
    folder: Path
    cells: dict[str, int]
    tiles: tuple[tuple[slice, ...], ...]

    def part(self, tile: int) -> Path:
        """The file of one tile."""
        return self.folder / f"{tile:06d}.nc"


def plan_region(
    paths: Sequence[Path], question: RegionQuestion, out: Path, *, tile_values: int | None = None
) -> RegionTask:
    """Cut a region into tiles, in the pieces in which its files are stored.

    Raises
    ------
    BadInput
        If the files cannot be read, hold nothing of a season that is asked for, or parts of other work lie where this
        work's would.
    """
    paths = tuple(path.resolve() for path in paths)
    grid = open_gridded(paths)
    years = grid.dates.astype("datetime64[Y]").astype(int) + 1970
    absent = sorted(set(question.seasons) - set(years.tolist()))
    if absent:
        problem = f"the days run from {grid.dates[0]} to {grid.dates[-1]}"
        raise BadInput("the grid has nothing of a season", [Problem(f"season {absent[0]}", problem)])
    tiles = tuple(product(*(_spans(*each) for each in _tile_sizes(grid, tile_values or TILE_VALUES))))
    folder = out.with_name(f"{out.name}.parts")
    task = RegionTask(paths, question, folder, grid.cells, tiles)
    folder.mkdir(parents=True, exist_ok=True)
    note = folder / MADE_FROM
    if note.exists() and note.read_text() != _fingerprint(task):
        problem = "holds parts that were made from other files, another fit or other options; remove it to begin anew"
        raise BadInput("this is not the work that was begun", [Problem(str(folder), problem)])
    note.write_text(_fingerprint(task))
    return task


def run_region(task: RegionTask, workers: Workers, tell: Callable[[float, str], None]) -> int:
    """Compute the parts that are not there yet, and say how many were. Raises as `Workers.run_each` does."""
    left = [tile for tile in range(len(task.tiles)) if not task.part(tile).exists()]
    there = len(task.tiles) - len(left)

    def told(done: int) -> None:
        tell((there + done) / len(task.tiles), f"tiles {there + done}/{len(task.tiles)}")

    told(0)
    workers.run_each([partial(compute_tile, task, tile) for tile in left], told)
    return there


def compute_tile(task: RegionTask, tile: int) -> int:
    """Compute one part and keep it; a part that is there is whole.

    Raises
    ------
    BadInput
        If temperatures cannot be in the unit that the file states.
    """
    grid = _opened(task.paths)
    span = dict(zip(task.cells, task.tiles[tile], strict=True))
    low, high = (each.isel(span).load() for each in (grid.tmin_c, grid.tmax_c))
    least, most = float(low.min()), float(high.max())
    if least < POSSIBLE_C[0] or most > POSSIBLE_C[1]:
        problem = f"from {least:.0f} to {most:.0f} °C after conversion from the unit that the file states"
        raise BadInput("the temperatures of the grid cannot be right", [Problem("units", problem)])
    latitude = grid.latitude.isel({name: span[name] for name in span if name in grid.latitude.dims})
    found = region_days(low, high, latitude, task.question)
    path = task.part(tile)
    draft = path.with_suffix(f".{os.getpid()}.draft")
    found.to_netcdf(draft, engine="netcdf4")
    draft.replace(path)
    return tile


def write_region(task: RegionTask, out: Path, *, about: dict[str, str]) -> None:
    """Put the parts together into one CF NetCDF file, tile by tile, and remove them.

    Parameters
    ----------
    about : dict of str to str
        Attributes of the file: what it was made from.
    """
    import xarray as xr

    grid = _opened(task.paths)
    paths: Any = [str(task.part(tile)) for tile in range(len(task.tiles))]
    for size in reversed([len({span[at].start for span in task.tiles}) for at in range(1, len(task.cells))]):
        paths = [paths[at : at + size] for at in range(0, len(paths), size)]
    with xr.open_mfdataset(paths, combine="nested", concat_dim=list(task.cells), join="override") as parts:
        found = _described(parts, grid, task.question)
        found.attrs = {"Conventions": "CF-1.11", "title": "Bloom over a region", **about}
        draft = out.with_name(f"{out.name}.draft")
        packed = {
            name: {"zlib": True, "complevel": 1, "_FillValue": np.float32(np.nan)} for name in parts.data_vars
        }
        found.to_netcdf(draft, engine="netcdf4", encoding=packed)
    draft.replace(out)
    shutil.rmtree(task.folder)


def _described(parts: xr.Dataset, grid: GriddedTemperatures, question: RegionQuestion) -> xr.Dataset:
    """With the coordinates of the cells, and what each variable says."""
    latitude = (
        grid.latitude.rename("latitude") if grid.latitude.name not in grid.latitude.dims else grid.latitude
    )
    found = parts.assign_coords({str(latitude.name): latitude})
    found[str(latitude.name)].attrs |= {"standard_name": "latitude", "units": "degrees_north"}
    year = (
        f"{question.seasons[0]}" if len(question.seasons) == 1 and not question.usual else "the season's year"
    )
    found["bloom_day"].attrs = {
        "long_name": f"day on which a stage is reached, counted from 1 January of {year}",
        "units": "day",
        "comment": "empty where the season ends first, or a day's temperature is missing before it",
    }
    if "days_outlasted" in found:
        found["days_outlasted"].attrs = {
            "long_name": "days on which receptive flowers are left after the source's last pollen",
            "units": "day",
        }
    found["quantile"].attrs = {"long_name": "probability that it has come", "units": "1"}
    return found


def _tile_sizes(grid: GriddedTemperatures, tile_values: int) -> list[tuple[int, int]]:
    """Of each dimension of the cells its length, and that of a tile: stored pieces, joined or cut to what is held."""
    stored = grid.tmin_c.chunksizes
    lengths = grid.cells
    tile = {name: min(stored[name][0] if name in stored else size, size) for name, size in lengths.items()}
    most = max(tile_values // grid.dates.size, 1)
    while prod(tile.values()) > most and max(tile.values()) > 1:
        longest = max(tile, key=lambda name: tile[name])
        tile[longest] = (tile[longest] + 1) // 2
    for name in reversed(lengths):
        while tile[name] < lengths[name] and 2 * prod(tile.values()) <= most:
            tile[name] = min(2 * tile[name], lengths[name])
    return [(lengths[name], tile[name]) for name in lengths]


def _spans(length: int, size: int) -> list[slice]:
    return [slice(start, min(start + size, length)) for start in range(0, length, size)]


def _fingerprint(task: RegionTask) -> str:
    files = [(str(path), path.stat().st_size, path.stat().st_mtime_ns) for path in task.paths]
    told = pickle.dumps((files, task.question, task.tiles))
    return hashlib.sha256(told).hexdigest()


@lru_cache(maxsize=1)
def _opened(paths: tuple[Path, ...]) -> GriddedTemperatures:
    return open_gridded(paths)
