"""Degree-days over HTTP: the season, the past beside it, gaps and units."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.api.asking import STATION, assert_problem, send_csv

PATH = f"{STATION}/degree-days"


def upload(client: TestClient, rows: dict[dt.date, tuple[float, float]], *, latitude: float = 33.5) -> None:
    """A station with these days, in °C."""
    client.put(STATION, json={"name": "Hollow gauge", "latitude": latitude, "longitude": 0})
    text = "date,tmin_c,tmax_c\n" + "".join(f"{day},{low},{high}\n" for day, (low, high) in rows.items())
    assert send_csv(client, f"{STATION}/temperatures", text).status_code == 200


def steady(first: str, last: str, mean_c: float) -> dict[dt.date, tuple[float, float]]:
    """Days that are all alike, 5 °C to each side of their mean."""
    start, end = dt.date.fromisoformat(first), dt.date.fromisoformat(last)
    days = (start + dt.timedelta(days=step) for step in range((end - start).days + 1))
    return dict.fromkeys(days, (mean_c - 5, mean_c + 5))


def ask(client: TestClient, **query: str | float) -> dict[str, Any]:
    answer = client.get(PATH, params=query)
    assert answer.status_code == 200, answer.text
    body: dict[str, Any] = answer.json()
    return body


def test_a_season_beside_the_median_and_range_of_the_past(client: TestClient) -> None:
    upload(
        client,
        steady("2021-01-01", "2021-12-31", 12)
        | steady("2022-01-01", "2022-12-31", 13)
        | steady("2023-01-01", "2023-12-31", 17)
        | steady("2024-01-01", "2024-03-10", 20),
    )
    body = ask(client)
    assert (body["season"], body["heat_unit"], body["past_seasons"]) == (2024, "degC_day", [2021, 2022, 2023])
    assert body["rule"] == {
        "method": "average",
        "base": 10.0,
        "upper": None,
        "cutoff": "none",
        "accumulate_from": "01-01",
        "gaps": "fill_short",
        "temperature_unit": "degC",
    }
    days = {day["date"]: day for day in body["days"]}
    assert len(days) == 366
    # 31 January: 31 days of 10, 3 (median), 2 and 7 above the base.
    assert days["2024-01-31"] == {
        "date": "2024-01-31",
        "heat": 10.0,
        "accumulated": 310.0,
        "past_median": 93.0,
        "past_low": 62.0,
        "past_high": 217.0,
    }
    # The past years have no 29 February: the day before stands in, and 1 March is their 60th day.
    assert days["2024-02-29"]["past_median"] == days["2024-02-28"]["past_median"] == 59 * 3
    assert days["2024-03-01"]["past_median"] == 60 * 3
    assert (days["2024-03-11"]["accumulated"], days["2024-12-31"]["past_low"]) == (None, 365 * 2)


def test_a_season_that_stops_short_is_set_aside_and_named(client: TestClient) -> None:
    upload(
        client,
        steady("2022-01-01", "2022-02-20", 13)
        | steady("2023-01-01", "2023-04-30", 17)
        | steady("2024-01-01", "2024-03-10", 20),
    )
    body = ask(client)
    assert body["past_seasons"] == [2023]
    (left_out,) = body["set_aside"]
    assert left_out["season"] == 2022
    assert "2022-03-10" in left_out["why"]
    days = {day["date"]: day for day in body["days"]}
    assert days["2024-04-30"]["past_median"] is not None
    assert days["2024-05-01"]["past_median"] is None


def test_a_missing_day_is_never_summed(client: TestClient) -> None:
    rows = steady("2024-01-01", "2024-02-10", 20)
    for day in range(11, 16):
        del rows[dt.date(2024, 1, day)]
    upload(client, rows)
    body = ask(client)
    assert body["gaps"] == [{"from": "2024-01-11", "to": "2024-01-15", "days": 5}]
    accumulated = {day["date"]: day["accumulated"] for day in body["days"]}
    assert (accumulated["2024-01-10"], accumulated["2024-01-11"]) == (100.0, None)
    assert accumulated["2024-02-10"] is None
    assert_problem(client.get(PATH, params={"gaps": "refuse"}), 422, "2024-01-11")


def test_a_short_gap_is_filled_by_default_and_still_told(client: TestClient) -> None:
    rows = steady("2024-01-01", "2024-02-10", 20)
    del rows[dt.date(2024, 1, 11)]
    upload(client, rows)
    body = ask(client)
    assert body["gaps"] == [{"from": "2024-01-11", "to": "2024-01-11", "days": 1}]
    assert {day["date"]: day["accumulated"] for day in body["days"]}["2024-02-10"] == 410.0


def test_fahrenheit_in_the_query_and_in_the_answer(client: TestClient) -> None:
    # 35 and 60 °F with a base of 50 °F: average 0 (Nugent, Michigan State University Extension,
    # "Calculating Growing Degree Days"); single sine 2.8087, derived by integrating the curve.
    client.put(STATION, json={"name": "Hollow gauge", "latitude": 33.5, "longitude": 0})
    text = "date,tmin_f,tmax_f\n2024-01-01,35,60\n"
    send_csv(client, f"{STATION}/temperatures", text)
    for method, heat in {"average": 0.0, "single_sine": 2.81}.items():
        body = ask(client, method=method, base=50, units="us")
        assert body["days"][0]["heat"] == heat
        assert (body["heat_unit"], body["rule"]["temperature_unit"]) == ("degF_day", "degF")
    # 65 and 90 °F between 50 and 86 °F, both clamped: 25.5 (University of Wisconsin Extension column,
    # Waushara Argus, 25 April 2018).
    send_csv(client, f"{STATION}/temperatures", "date,tmin_f,tmax_f\n2024-01-01,65,90\n")
    body = ask(client, method="clamped_average", upper=86, units="us")
    assert (body["rule"]["base"], body["days"][0]["heat"]) == (50.0, 25.5)


def test_south_of_the_equator_a_season_begins_in_july(client: TestClient) -> None:
    upload(client, steady("2023-07-01", "2024-02-10", 15), latitude=-34.0)
    body = ask(client)
    assert (body["season"], body["rule"]["accumulate_from"]) == (2024, "07-01")
    assert (body["days"][0]["date"], body["days"][-1]["date"]) == ("2023-07-01", "2024-06-30")


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"method": "guess"}, "query.method"),
        ({"base": "nan"}, "query.base"),
        ({"upper": 30}, "cutoff"),
        ({"cutoff": "vertical"}, "upper"),
        ({"base": 20, "upper": 10, "cutoff": "vertical"}, "above"),
        ({"accumulate_from": "02-29"}, "accumulate_from"),
        ({"accumulate_from": "March"}, "accumulate_from"),
        ({"season": 1999}, "1999"),
        ({"season": 0}, "query.season"),
        ({"units": "imperial"}, "query.units"),
    ],
)
def test_a_wrong_question(client: TestClient, query: dict[str, Any], said: str) -> None:
    upload(client, steady("2024-01-01", "2024-01-05", 15))
    assert_problem(client.get(PATH, params=query), 422, said)


def test_without_temperatures(client: TestClient) -> None:
    assert_problem(client.get(PATH), 404)
    client.put(STATION, json={"name": "Hollow gauge", "latitude": 33.5, "longitude": 0})
    assert_problem(client.get(PATH), 422, "no temperatures")


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"base": "50"}, "50 °C is outside"),
        ({"base": "10", "units": "us"}, "-12.22 °C is outside"),
        ({"base": "10", "upper": "86", "cutoff": "horizontal"}, "86 °C is outside"),
    ],
)
def test_a_base_in_the_other_unit_is_refused(client: TestClient, query: dict[str, str], said: str) -> None:
    upload(client, steady("2025-05-01", "2025-05-03", 15))
    assert_problem(client.get(PATH, params=query), 422, said, "units=us")
