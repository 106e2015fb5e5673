"""Regions of 1, 4 and 16 million cell-seasons: processor time, and memory that must not grow with the area.

    .venv/bin/python -m tests.benchmarks.regions [SECONDS [SIDE ...]]

Seeded, synthetic weather of 16 seasons over squares of 256, 512 and 1,024 cells a side. SECONDS of processor time are
spent on each at most: what is not reached by then is left out, and said. A few pieces of the grid are stored once and
linked to from all places, so the disk stays small while everything is read and unpacked.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from math import prod
from pathlib import Path
from typing import NamedTuple

import dask.array
import numpy as np
import xarray as xr

from models.grid import region_question
from models.records import HeatRule
from service.threads import use_one_thread
from service.usecases.fits import FitOptions, fit_vineyards
from service.usecases.region import compute_tile, plan_region, write_region
from tests.benchmarks.measuring import made_on, peak_mb, table, write_page
from tests.hindcast.past import invented_vineyard, invented_weather

SEED = 11
SIDES = (256, 512, 1024)
FIRST, LAST = 1991, 2006  # 4 times 1,461 days
PIECE, DAYS, KINDS = 16, 1461, 8
SCALE = 0.01  # of the packed temperatures [°C]
SECONDS = 600.0


class Measured(NamedTuple):
    """What one region took; ``done`` below ``tiles``: the time was up."""

    cell_seasons: int
    tiles: int
    done: int
    seconds: float
    before_mb: float
    tiles_mb: float
    written_mb: float | None


def write_grid(path: Path, *, side: int) -> Path:
    """A Zarr store with a square of cells, colder to the north and rough from cell to cell."""
    weather = invented_weather(FIRST, LAST)
    random = np.random.default_rng(SEED)
    axes = {
        "time": weather.dates.astype("datetime64[ns]"),
        "lat": ("lat", np.linspace(30.0, 38.0, side), {"units": "degrees_north"}),
        "lon": ("lon", np.linspace(-90.0, -82.0, side), {"units": "degrees_east"}),
    }
    shape, chunks = (weather.dates.size, side, side), (DAYS, PIECE, PIECE)
    packed = {"dtype": "int16", "scale_factor": SCALE, "_FillValue": -32768, "chunks": chunks}
    empty = dask.array.zeros(shape, chunks=chunks)
    whole = xr.Dataset(coords=axes)
    for name, which in (("tasmin", "minimum"), ("tasmax", "maximum")):
        told = {"standard_name": "air_temperature", "cell_methods": f"time: {which}", "units": "degC"}
        whole[name] = xr.DataArray(empty, dims=("time", "lat", "lon"), attrs=told)
    encoding = dict.fromkeys(("tasmin", "tasmax"), packed)
    whole.to_zarr(path, compute=False, encoding=encoding, zarr_format=2, consolidated=True)
    away = random.normal(0, 0.5, (KINDS, PIECE, PIECE)) - 0.8 * np.arange(KINDS)[:, np.newaxis, np.newaxis]
    for name, station in (("tasmin", weather.tmin_c), ("tasmax", weather.tmax_c)):
        # one store with each kind of piece once, whose files stand for the pieces of the large one
        kinds = np.concatenate([station[:, np.newaxis, np.newaxis] + each for each in away], axis=1)
        few = path.with_name(f"{name}.zarr")
        made = xr.Dataset({name: (("time", "lat", "lon"), kinds)})
        made.to_zarr(few, encoding={name: packed}, zarr_format=2)
        for at in range(shape[0] // DAYS):
            for row in range(side // PIECE):
                for column in range(side // PIECE):
                    kind = (KINDS * row * PIECE // side + column) % KINDS
                    os.link(few / name / f"{at}.{kind}.0", path / name / f"{at}.{row}.{column}")
    return path


def measure(grid: str, seconds: float) -> Measured:
    """Compute a region in this process, tile by tile, and put it together."""
    use_one_thread()
    fit = fit_vineyards([invented_vineyard(1991, 2002)], FitOptions(rule=HeatRule())).fit
    question = region_question(fit, seasons=range(FIRST, LAST + 1))
    out = Path(grid).with_name("bloom.nc")
    task = plan_region([Path(grid)], question, out)
    before_mb, begun, done = peak_mb(), time.process_time(), 0
    while done < len(task.tiles) and time.process_time() - begun < seconds:
        compute_tile(task, done)
        done += 1
    spent, tiles_mb = time.process_time() - begun, peak_mb()
    written = None
    if done == len(task.tiles):
        write_region(task, out, about={})
        written = peak_mb()
    count = prod(task.cells.values()) * len(question.seasons)
    return Measured(count, len(task.tiles), done, spent, before_mb, tiles_mb, written)


def measured(side: int, seconds: float) -> Measured:
    """The same in a new process, so that its memory is its own."""
    with tempfile.TemporaryDirectory() as folder:
        grid = write_grid(Path(folder) / "grid.zarr", side=side)
        code = "import json, sys; from tests.benchmarks import regions"
        code += "; print(json.dumps(regions.measure(sys.argv[1], float(sys.argv[2]))))"
        asked = [sys.executable, "-c", code, str(grid), str(seconds)]
        told = subprocess.run(asked, check=True, capture_output=True, text=True).stdout
        return Measured(*json.loads(told.splitlines()[-1]))


def write(found: Sequence[Measured], how: str) -> None:
    """The page."""
    rows = []
    for each in found:
        computed = each.done / each.tiles * each.cell_seasons
        rows.append(
            [
                f"{each.cell_seasons:,}",
                f"{each.done:,} of {each.tiles:,}",
                f"{each.seconds:,.0f}",
                f"{1e6 * each.seconds / computed:.1f}",
                f"{each.before_mb:,.0f}",
                f"{each.tiles_mb:,.0f}",
                "time was up" if each.written_mb is None else f"{each.written_mb:,.0f}",
            ]
        )
    columns = ["cell-seasons", "tiles", "processor time [s]", "a cell-season [µs]"]
    write_page(
        "regions.md",
        "# Regions",
        f"{how}; one process, one tile after the other. {made_on()}",
        table([*columns, "before [MB]", "tiles [MB]", "written [MB]"], rows),
        "Memory is the most that the process had until then: libraries and fit before the first tile, all tiles, "
        "and the parts put together into one file. A tile holds at most 4 million values of one extreme.",
    )


def main() -> None:
    """Each region, and the page."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS
    found = []
    for side in [int(each) for each in sys.argv[2:]] or SIDES:
        found.append(measured(side, seconds))
        print(found[-1], flush=True)
    write(found, f"`python -m tests.benchmarks.regions {seconds:g}`")


if __name__ == "__main__":
    main()
