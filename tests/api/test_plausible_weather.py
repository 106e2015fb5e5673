"""Weather that cannot be right is refused over HTTP with the word that overrides it, and nothing is stored."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from tests.api.asking import STATION, assert_problem, put_vineyard, send_csv
from tests.ingest.test_against_record import weather

TEMPERATURES = f"{STATION}/temperatures"
PLACE = {"name": "Hollow gauge", "latitude": 33.5, "longitude": -84.0}


def rows(first: str, last: str, header: str = "date,tmin_c,tmax_c") -> str:
    days = weather(first, last)
    lines = zip(days.dates.tolist(), days.tmin_c.tolist(), days.tmax_c.tolist(), strict=True)
    return f"{header}\n" + "".join(f"{day},{low},{high}\n" for day, low, high in lines)


@pytest.fixture
def stored(client: TestClient) -> TestClient:
    put_vineyard(client)
    assert send_csv(client, TEMPERATURES, rows("2024-01-01", "2026-05-19")).status_code == 200
    return client


def test_celsius_sent_as_fahrenheit_over_stored_days(stored: TestClient) -> None:
    before = stored.get(TEMPERATURES).json()
    again = "\n".join(
        rows("2024-01-01", "2026-05-19", "date,tmin,tmax").splitlines()[:1]
        + rows("2024-01-01", "2026-05-19").splitlines()[-139:]
    )
    problem = assert_problem(
        send_csv(stored, TEMPERATURES, again, unit="F"), 422, "are these °C", "confirm=units"
    )
    assert [error["where"] for error in problem["errors"]] == ["lines 2 to 140"]
    assert stored.get(TEMPERATURES).json() == before
    receipt = send_csv(stored, TEMPERATURES, again, unit="F", confirm="units").json()
    assert receipt["rows_replaced"] == 139
    # and a wrong file that was confirmed locks no right one out
    assert_problem(send_csv(stored, TEMPERATURES, again, unit="C"), 422, "confirm=units")
    assert send_csv(stored, TEMPERATURES, again, unit="C", confirm="units").json()["rows_replaced"] == 139
    assert stored.get(TEMPERATURES).json() == before


def test_an_outlook_beyond_the_record(stored: TestClient) -> None:
    text = "date,tmin_c,tmax_c\n2026-05-20,14,27\n2026-05-21,15,55\n"
    query = {"kind": "outlook", "issued_on": "2026-05-20"}
    assert_problem(send_csv(stored, TEMPERATURES, text, **query), 422, "line 3", "confirm=units")
    assert send_csv(stored, TEMPERATURES, text, **query, confirm="units").status_code == 200


def test_an_outlook_of_fifty_degrees_at_a_new_station(client: TestClient) -> None:
    put_vineyard(client)
    query = {"kind": "outlook", "issued_on": "2026-05-20"}
    text = "date,tmin_c,tmax_c\n2026-05-20,14,27\n2026-05-21,15,50\n"
    assert_problem(send_csv(client, TEMPERATURES, text, **query), 422, "line 3", "confirm=units")


def test_a_measured_value_beyond_the_record_is_told(stored: TestClient) -> None:
    receipt = send_csv(stored, TEMPERATURES, "date,tmin_c,tmax_c\n2026-05-20,14,55\n").json()
    assert any("perhaps a slip: line 2" in warning for warning in receipt["warnings"])


def test_a_latitude_that_turns_the_seasons_round(stored: TestClient) -> None:
    south = PLACE | {"latitude": -33.5}
    assert_problem(stored.put(STATION, json=south), 422, "is the sign right", "confirm=latitude")
    assert stored.get(STATION).json()["latitude"] == 33.5
    assert stored.put(STATION, json=south, params={"confirm": "latitude"}).status_code == 200
    text = rows("2024-01-01", "2024-12-31")
    assert_problem(send_csv(stored, TEMPERATURES, text), 422, "confirm=latitude")
    assert send_csv(stored, TEMPERATURES, text, confirm="latitude").status_code == 200


def test_a_unit_that_a_table_itself_belies_can_be_confirmed(client: TestClient) -> None:
    put_vineyard(client)
    hot = "date,tmin_c,tmax_c\n" + "".join(
        f"2025-07-{day:02d},{30 + day},{50 + day}\n" for day in range(1, 11)
    )
    assert_problem(send_csv(client, TEMPERATURES, hot), 422, "confirm=units")
    assert send_csv(client, TEMPERATURES, hot, confirm="units").json()["missing_values"] == 0


def test_a_sensor_that_is_stuck_is_told(client: TestClient) -> None:
    put_vineyard(client)
    text = "date,tmin_c,tmax_c\n" + "".join(f"2025-05-0{day},9,20\n" for day in range(1, 8))
    (warning,) = send_csv(client, TEMPERATURES, text).json()["warnings"]
    assert "from 2025-05-01 to 2025-05-07 minimum and maximum never change" in warning
