"""The benchmarks at their smallest: that they run, and tell what they measured. No time is held to anything here."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from service.ingest.gridded import open_gridded
from service.ingest.temperatures import read_temperatures
from tests.benchmarks import goals, growth, many, measuring, regions
from tests.benchmarks.growth import Grown
from tests.hindcast.past import invented_weather


@pytest.mark.slow
def test_a_region_is_written_as_what_a_grid_is_and_computed_to_its_end_or_until_the_time_is_up(
    tmp_path: Path,
) -> None:
    grid = regions.write_grid(tmp_path / "grid.zarr", side=32)
    opened, station = open_gridded([grid]), invented_weather(regions.FIRST, regions.LAST)
    assert opened.cells == {"lat": 32, "lon": 32}
    moved = opened.tmin_c.values - station.tmin_c[:, np.newaxis, np.newaxis]
    np.testing.assert_allclose(moved, np.broadcast_to(moved[:1], moved.shape), atol=regions.SCALE)
    assert moved[0].std() > 0.5
    cut = regions.measure(str(grid), 0.0)
    assert (cut.done, cut.tiles, cut.written_mb) == (0, 2, None)
    whole = regions.measure(str(grid), 100.0)
    assert (whole.done, whole.cell_seasons) == (2, 32 * 32 * 16)
    assert whole.written_mb is not None
    assert whole.before_mb <= whole.tiles_mb <= whole.written_mb
    with xr.open_dataset(tmp_path / "bloom.nc") as bloom:
        assert np.isfinite(bloom["bloom_day"]).mean() > 0.9


def test_stations_are_as_an_import_takes_them(tmp_path: Path) -> None:
    days = many.write_stations(tmp_path, 2, 2)
    read = [read_temperatures((tmp_path / f"s00{n}.csv").read_bytes(), unit=None) for n in range(2)]
    assert sum(each.rows_read for each in read) == days
    assert not np.array_equal(read[0].tmin_c, read[1].tmin_c)
    assert len((tmp_path / "stations.csv").read_text().splitlines()) == 3


def test_growth_is_drawn_and_reckoned_from_what_was_measured() -> None:
    found = {
        name: [Grown(quantity.counts[0] * 10**power, 0.5 * 10**power, 200.0) for power in range(3)]
        for name, quantity in growth.QUANTITIES.items()
    }
    drawn = ET.fromstring(growth.picture(found))
    circles = drawn.findall("{http://www.w3.org/2000/svg}circle")
    assert len(circles) == 2 * 3 * len(found)
    heights = [float(each.get("cy", "")) for each in circles[:3]]
    # ten times as much is the same way up at each step
    assert heights[0] - heights[1] == pytest.approx(heights[1] - heights[2], abs=0.2)
    assert heights[0] > heights[2]
    cells, growers = growth.continent(found)
    # 50 s for 25,600 cells x 16 seasons, so 122 µs each; 90 million of them take 3.05 hours
    assert "122 µs: 3.1 core-hours" in cells
    assert "131 GB of packed days" in cells
    assert "1.4 core-hours a day (0.50 s each)" in growers


def test_a_goal_is_met_or_missed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(goals, "LINES", [])
    goals.line("one", 1.0, 2.0, of="another", most=0.5)
    goals.line("two", 1.1, 2.0, of="another", most=0.5, limited_by="itself")
    goals.line("three", 1.0, 2.0, of="another")
    assert [each[5:] for each in goals.LINES] == [
        ["0.5", "met", ""],
        ["0.5", "**missed**", "itself"],
        ["", "", ""],
    ]


def test_the_median_is_told_and_the_first_run_does_not_count(monkeypatch: pytest.MonkeyPatch) -> None:
    spent = iter([1.0, 9.0, 2.0])
    monkeypatch.setattr(measuring, "processor_seconds", lambda work: (work(), next(spent))[1])
    ran: list[int] = []
    assert measuring.in_turn(lambda: ran.append(1), times=3) == [2.0]
    assert len(ran) == 4
