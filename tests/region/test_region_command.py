"""A region from files to a file: names, units and pieces as they come, and going on where it stopped."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import cf_xarray  # noqa: F401 - reads a file by its CF names, as others do
import numpy as np
import pytest
import xarray as xr
from typer.testing import CliRunner, Result

from models.grid import region_question
from service.cli import app
from service.usecases import region
from service.usecases.fit_documents import FitDocument, to_document
from service.usecases.fits import FitOptions, fit_vineyards
from service.usecases.shared_fits import from_another_grower
from tests.hindcast.past import RULE, STAGES, THRESHOLDS, invented_vineyard
from tests.region.grids import LATITUDES, LONGITUDES, write_cells

pytestmark = pytest.mark.slow

SAVED = fit_vineyards([invented_vineyard(2001, 2006)], FitOptions(stages=STAGES, rule=RULE))


@pytest.fixture
def fit_file(tmp_path: Path) -> Path:
    path = tmp_path / "fit.json"
    path.write_text(json.dumps(to_document(SAVED)))
    return path


@pytest.fixture
def run(fit_file: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    """The command, on tiles so small that there are several, in this process."""
    monkeypatch.setattr(region, "TILE_VALUES", 1461 * 4)

    def ran(*arguments: str | Path, seasons: str = "2002-2004") -> Result:
        told = ["region", *map(str, arguments), "--fit", str(fit_file), "--seasons", seasons]
        return CliRunner().invoke(app, told, env={"COLUMNS": "200"})

    return ran


def days_of(path: Path) -> xr.Dataset:
    with xr.open_dataset(path) as file:
        return file.load()


def test_files_as_they_come_give_one_answer(run: Callable[..., Result], tmp_path: Path) -> None:
    first = write_cells(tmp_path / "first.nc")
    out = tmp_path / "out.nc"
    picture = tmp_path / "out.svg"
    result = run(first, "--out", out, "--picture", picture)
    assert result.exit_code == 0, result.output
    assert "2 cultivars" in result.output
    found = days_of(out)
    assert found["bloom_day"].cf["latitude"].values.tolist() == LATITUDES.tolist()
    assert found["bloom_day"].cf["longitude"].values.tolist() == LONGITUDES.tolist()
    assert found["cultivar"].values.tolist() == sorted(THRESHOLDS)
    assert found["quantile"].values == pytest.approx([0.1, 0.5, 0.9])
    assert found["season"].values.tolist() == [2002, 2003, 2004]
    assert found["bloom_day"].notnull().all()
    taken_over = from_another_grower(FitDocument.model_validate(to_document(SAVED)))
    assert found.attrs["source"] == f"fit {taken_over.id}"
    assert not out.with_name("out.nc.parts").exists()
    drawn = ElementTree.parse(picture).getroot()
    assert "loam-whistle" in "".join(drawn.itertext())
    assert len(drawn.findall("{*}image")) == 2

    years = [
        write_cells(tmp_path / f"{year}.nc", unit="K", first=year, last=year)
        for year in (2003, 2001, 2004, 2002)
    ]
    store = write_cells(tmp_path / "cells.zarr", unit="degF")
    for files in (years, [store]):
        other = tmp_path / "other.nc"
        result = run(*files, "--out", other)
        assert result.exit_code == 0, result.output
        # the same but for rounding, which can move a day where heat falls on its very end
        assert float((days_of(other)["bloom_day"] == found["bloom_day"]).mean()) > 0.99
        other.unlink()


def test_usual_weather_and_a_source_that_is_outlasted(run: Callable[..., Result], tmp_path: Path) -> None:
    grid, out = write_cells(tmp_path / "grid.nc"), tmp_path / "out.nc"
    result = run(grid, "--out", out, "--outlasts", "thimble-ash:loam-whistle", "--usual")
    assert result.exit_code == 2
    assert "does not know when bloom ends" in result.output
    result = run(grid, "--out", out, "--usual", "--cultivars", "loam-whistle")
    assert result.exit_code == 0, result.output
    found = days_of(out)["bloom_day"]
    assert found.sizes["cultivar"] == 1
    assert "season" not in found.dims
    assert np.all(np.diff(found.transpose("quantile", ...).values, axis=0) >= 0)


def test_it_goes_on_where_it_stopped(tmp_path: Path, run: Callable[..., Result]) -> None:
    grid, out = write_cells(tmp_path / "grid.nc"), tmp_path / "out.nc"
    assert run(grid, "--out", out).exit_code == 0
    whole = days_of(out)
    out.unlink()
    question = region_question(SAVED.fit, seasons=[2002, 2003, 2004])
    task = region.plan_region([grid], question, out, tile_values=region.TILE_VALUES)
    assert len(task.tiles) >= 6
    for tile in (0, 3):
        region.compute_tile(task, tile)
    made = {tile: task.part(tile).stat().st_mtime_ns for tile in (0, 3)}
    (task.folder / "000001.777.draft").write_bytes(b"half")  # what a process that was ended leaves
    result = run(grid, "--out", out, seasons="2003")
    assert result.exit_code == 2
    assert "not the work that was begun" in result.output
    assert {tile: task.part(tile).stat().st_mtime_ns for tile in (0, 3)} == made
    result = run(grid, "--out", out)
    assert result.exit_code == 0, result.output
    assert f"2 of {len(task.tiles)} tiles were there already" in result.output
    xr.testing.assert_identical(days_of(out), whole)


def spoiled(path: Path, spoil: Callable[[xr.Dataset], xr.Dataset]) -> Path:
    write_cells(path)
    made = spoil(days_of(path))
    path.unlink()
    made.to_netcdf(path)
    return path


def without_unit(days: xr.Dataset) -> xr.Dataset:
    del days["low"].attrs["units"]
    return days


def in_kelvin_called_celsius(days: xr.Dataset) -> xr.Dataset:
    return days.assign({name: (days[name] + 273.15).assign_attrs(days[name].attrs) for name in days})


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (without_unit, "degC, K and degF can be read"),
        (in_kelvin_called_celsius, "cannot be right"),
        (lambda days: days.drop_vars("high"), "there is no daily maximum"),
        (lambda days: days.isel(time=slice(None, None, 2)), "not consecutive"),
        (lambda days: days.rename(lat="row").drop_vars("row"), "latitude of the cells cannot be told"),
        (lambda days: days.sel(time=slice("2001", "2002")), "nothing of a season"),
    ],
)
def test_what_cannot_be_right_is_refused(
    run: Callable[..., Result], tmp_path: Path, spoil: Callable[[xr.Dataset], xr.Dataset], said: str
) -> None:
    result = run(spoiled(tmp_path / "grid.nc", spoil), "--out", tmp_path / "out.nc")
    assert result.exit_code == 2, result.output
    assert said in result.output
    assert not (tmp_path / "out.nc").exists()


def test_files_that_are_none_are_refused(run: Callable[..., Result], tmp_path: Path) -> None:
    (tmp_path / "text.nc").write_text("no grid")
    for name, said in (("text.nc", "cannot be read as NetCDF"), ("absent.nc", "no such file")):
        result = run(tmp_path / name, "--out", tmp_path / "out.nc")
        assert result.exit_code == 2, result.output
        assert said in result.output
