"""A folder of station files: good ones stored, bad ones refused with line and reason, and again without harm."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from service.cli import app
from service.store import Store
from service.store.records import Station
from tests.hindcast.past import invented_weather, weather_csv
from tests.store.conftest import url

__all__ = ["url"]

LIST = """key,name,latitude,longitude,elevation_m
hill,Hill gauge,33.5,-84,250
low,Low gauge,33.4,-84.1,
wet,Wet gauge,33.3,-84.2,80
bare,Bare gauge,33.2,-84.3,90
"""
WEATHER = invented_weather(2013, 2014)
DAYS = WEATHER.dates.size


def file_of(*, without: int = 0, low: str | None = None) -> str:
    """Two years of days; without some in the midst, or with another text for a minimum on line 5."""
    lines = weather_csv(WEATHER).splitlines()
    if low is not None:
        date, _, high = lines[4].split(",")
        lines[4] = f"{date},{low},{high}"
    return "\n".join(lines[:100] + lines[100 + without :]) + "\n"


@pytest.fixture
def folder(url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CAPFALL_DATABASE_URL", url)
    store = Store(url)
    store.migrate()
    store.close()
    made = tmp_path / "stations"
    made.mkdir()
    (made / "stations.csv").write_text(LIST)
    (made / "hill.csv").write_text(file_of())
    (made / "low.csv").write_text(file_of(low="warm"))
    (made / "wet.csv").write_text(file_of(without=7))
    (made / "stray.csv").write_text(file_of())
    (made / "notes.txt").write_text("no station")
    return made


def run(folder: Path, *more: str) -> Result:
    return CliRunner().invoke(app, ["import-stations", str(folder), *more])


def cells(result: Result, file: str) -> list[str]:
    """The row of the report about a file."""
    [line] = [line for line in result.stdout.splitlines() if line.strip().startswith(f"{file} ")]
    return line.split()[1:]


def stored(url: str, grower: str = "local") -> dict[str, int]:
    """How many days each station has."""
    store = Store(url)
    found = {}
    with store.transaction(grower, read_only=True) as records:
        for station in records.stations.all():
            days = records.temperatures.observed(station.key)
            found[station.key] = 0 if days is None else int(np.isfinite(days.tmin_c).sum())
    store.close()
    return found


def last_change(url: str) -> int:
    store = Store(url)
    with store.transaction("local", read_only=True) as records:
        found = records.journal.last()
    store.close()
    return found


def test_good_files_are_stored_and_bad_ones_refused_with_line_and_reason(folder: Path, url: str) -> None:
    done = run(folder)
    assert done.exit_code == 1, done.output
    first, last = str(WEATHER.dates[0]), str(WEATHER.dates[-1])
    assert cells(done, "hill.csv") == [str(DAYS), str(DAYS), "0", "0", "0", first, last, "new", "station"]
    left = str(DAYS - 7)
    assert cells(done, "wet.csv") == [left, left, "0", "0", "1", first, last, "new", "station"]
    assert cells(done, "low.csv") == cells(done, "stray.csv") == ["refused"]
    assert "low.csv: line 5: tmin_c: 'warm' is not a number" in done.stdout
    assert "stray.csv: stations.csv: there is no station 'stray' yet" in done.stdout
    assert "stations.csv: no file for bare" in done.stdout
    assert "2 stations taken, 2 files refused" in done.stdout
    assert stored(url) == {"hill": DAYS, "wet": DAYS - 7}


def test_again_it_changes_nothing_but_what_was_mended(folder: Path, url: str) -> None:
    run(folder)
    before = last_change(url)
    assert run(folder).exit_code == 1
    assert last_change(url) == before
    (folder / "low.csv").write_text(file_of())
    (folder / "hill.csv").write_text(file_of(low="-19.5"))
    (folder / "stray.csv").unlink()
    done = run(folder)
    assert done.exit_code == 0, done.output
    assert cells(done, "hill.csv")[1:4] == ["0", "1", str(DAYS - 1)]
    assert cells(done, "wet.csv")[1:4] == ["0", "0", str(DAYS - 7)]
    assert cells(done, "low.csv")[1:4] == [str(DAYS), "0", "0"]
    assert last_change(url) == before + 2  # one for each file that brought something
    assert stored(url) == {"hill": DAYS, "low": DAYS, "wet": DAYS - 7}


def test_a_station_that_is_there_needs_no_list_and_keeps_what_the_list_does_not_tell(
    folder: Path, url: str
) -> None:
    moved = (dt.date(2014, 1, 9),)
    store = Store(url)
    with store.transaction("local") as records:
        records.stations.put(Station("hill", "Old name", 33.5, -84.0, 200.0, moved))
        records.stations.put(Station("stray", "Stray gauge", 33.0, -84.0))
    run(folder)
    with store.transaction("local", read_only=True) as records:
        assert records.stations.get("hill") == Station("hill", "Hill gauge", 33.5, -84.0, 250.0, moved)
        assert records.stations.get("stray") == Station("stray", "Stray gauge", 33.0, -84.0)
    store.close()
    assert stored(url)["stray"] == DAYS


def test_two_files_of_one_station_are_both_refused(folder: Path, url: str) -> None:
    (folder / "HILL.CSV").write_text(file_of(without=3))
    done = run(folder)
    assert done.exit_code == 1
    assert "hill.csv: 2 files are called like station 'hill'" in done.stdout
    assert "HILL.CSV: 2 files are called like station 'hill'" in done.stdout
    assert "hill" not in stored(url)


def test_a_list_that_cannot_be_read_stops_all(folder: Path, url: str) -> None:
    (folder / "stations.csv").write_text(LIST.replace("33.4", "north"))
    refused = run(folder)
    assert refused.exit_code == 2
    assert "line 3: latitude: 'north' is not a number" in refused.output
    assert stored(url) == {}


def test_another_growers_stations(folder: Path, url: str) -> None:
    refused = run(folder, "--grower", "ann")
    assert refused.exit_code == 2
    assert "there is no grower 'ann'" in refused.output
    store = Store(url)
    with store.access() as access:
        access.add_grower("ann")
    store.close()
    run(folder, "--grower", "ann")
    assert stored(url, "ann") == {"hill": DAYS, "wet": DAYS - 7}
    assert stored(url) == {}


def test_a_folder_without_station_files_is_refused(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CAPFALL_DATABASE_URL", url)
    (tmp_path / "empty").mkdir()
    refused = run(tmp_path / "empty")
    assert refused.exit_code == 2
    assert "holds no CSV file of a station" in refused.output
