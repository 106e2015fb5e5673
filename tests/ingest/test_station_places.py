"""A list of stations: where each stands, or which line is wrong."""

from __future__ import annotations

import pytest

from models.errors import BadInput
from service.ingest.station_places import StationPlace, read_station_places


def test_places_are_read_in_any_order_of_columns() -> None:
    data = b"name,lat,key,elevation_m,lon\nHill gauge,33.5,Hill Gauge,,-84\n,-31,low-gauge,12.5,115\n"
    assert read_station_places(data) == (
        StationPlace("hill-gauge", "Hill gauge", 33.5, -84.0),
        StationPlace("low-gauge", "low-gauge", -31.0, 115.0, 12.5),
    )


@pytest.mark.parametrize(
    ("rows", "line", "said"),
    [
        ("hill,,33.5,-84,\nlow,,93.5,-84,\n", "line 3", "latitude: 93.5 is outside -90 to 90"),
        ("hill,,33.5,-184,\n", "line 2", "longitude: -184 is outside -180 to 180"),
        ("hill,,33.5,-84,9500\n", "line 2", "elevation_m: 9500 is outside -500 to 9000"),
        ("hill,,north,-84,\n", "line 2", "latitude: 'north' is not a number"),
        ("!,,33.5,-84,\n", "line 2", "key: '!' holds no letter"),
        (f"hill,{'n' * 201},33.5,-84,\n", "line 2", "name: longer than 200 characters"),
        (
            "hill,,33.5,-84,\nhill,,33.6,-84,\n",
            "lines 2, 3",
            "the station hill is given with different values",
        ),
    ],
)
def test_what_is_wrong_is_told_with_its_line(rows: str, line: str, said: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_station_places(f"key,name,latitude,longitude,elevation_m\n{rows}".encode())
    assert [fault.where for fault in refused.value.problems] == [line]
    assert said in refused.value.problems[0].problem


def test_a_list_without_a_place_is_refused() -> None:
    with pytest.raises(BadInput) as refused:
        read_station_places(b"key,name,latitude\nhill,Hill,33.5\n")
    assert "longitude" in refused.value.problems[0].problem
