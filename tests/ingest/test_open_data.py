"""The open data sets as they come. What is expected comes from the files or their notes, as comments say."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path

import numpy as np
import pytest

from models.errors import BadInput
from service.ingest.bloom_log import read_bloom_log
from service.ingest.options import ReadOptions
from service.ingest.temperatures import read_temperatures

pytestmark = pytest.mark.open_data

FOLDERS = [Path(__file__).parents[3] / "shared" / "data"]
if "CAPFALL_OPEN_DATA" in os.environ:
    FOLDERS.insert(0, Path(os.environ["CAPFALL_OPEN_DATA"]))


def open_data(name: str) -> bytes:
    for folder in FOLDERS:
        if (folder / name).is_file():
            return (folder / name).read_bytes()
    pytest.skip(f"open data set {name} is neither in ../shared/data nor in CAPFALL_OPEN_DATA")


def test_prosser_marks_missing_days_with_minus_100() -> None:
    data = open_data("prosser_grape/temperatures.csv")
    got = read_temperatures(data, unit=None)
    marked = sum(b"-100.0" in line for line in data.splitlines())
    assert marked > 100
    assert got.missing_values == marked
    assert int(np.isnan(got.daily().tmin_c).sum()) == sum(gap.days for gap in got.gaps)
    assert got.first_date == dt.date(1988, 1, 1)
    assert np.nanmin(got.tmin_c) > -40
    assert got.bad_rows == ()


def test_klein_altendorf_has_45_days_with_tmin_above_tmax() -> None:
    got = read_temperatures(open_data("klein_altendorf_apple/temperatures.csv"), unit=None)
    assert got.missing_values == 45  # as the data set's own notes say
    (warning,) = got.warnings
    assert warning.startswith("45 days have Tmin above Tmax and are stored as missing: lines 6, 799, ")
    assert (got.first_date, got.last_date.year) == (dt.date(1958, 1, 1), 2019)


@pytest.mark.parametrize("name", ["prosser_grape", "klein_altendorf_apple"])
def test_no_other_unit_passes(name: str) -> None:
    data = open_data(f"{name}/temperatures.csv").replace(b"_c", b"", 2)
    assert read_temperatures(data, unit="C").missing_values > 0
    for unit in ("F", "tenths_C"):
        with pytest.raises(BadInput, match="cannot be in"):
            read_temperatures(data, unit=unit)


def test_prosser_bloom_log() -> None:
    data = open_data("prosser_grape/bloom_log.csv")
    got = read_bloom_log(data, blocks=None, latitude=46.25)
    assert got.bad_rows == ()
    assert got.rows_read == len(data.splitlines()) - 1
    assert len({row.cultivar for row in got.rows}) == 12  # as the data set's own notes say
    slips = [warning for warning in got.warnings if "lies before" in warning]
    assert any("bloom_start 1991-" in warning for warning in slips)  # Semillon 1991, as the notes say


def test_klein_altendorf_bloom_log() -> None:
    got = read_bloom_log(
        open_data("klein_altendorf_apple/bloom_log.csv"),
        blocks=None,
        latitude=50.6,
        options=ReadOptions(checked_every_days=1),
    )
    assert len(got.rows) == 61  # seasons, as the data set's own notes say
    assert (got.bad_rows, got.warnings) == ((), ())
