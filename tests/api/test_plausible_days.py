"""Days on which nothing can have been seen are refused; bloom far from all other bloom is taken and named."""

from __future__ import annotations

import datetime as dt

import pytest
from fastapi.testclient import TestClient

from service import clock
from tests.api.asking import STATION, VINEYARD, assert_problem, put_vineyard, send_csv

TEMPERATURES, LOG, VISITS = f"{STATION}/temperatures", f"{VINEYARD}/bloom-log", f"{VINEYARD}/visits"
TODAY = dt.date(2026, 6, 10)


@pytest.fixture
def vineyard(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> TestClient:
    """A vineyard on 10 June 2026."""
    monkeypatch.setattr(clock, "now", lambda: dt.datetime(2026, 6, 10, 12, tzinfo=dt.UTC))
    put_vineyard(client)
    return client


def visit(date: str, percent: float = 50, **more: object) -> list[dict[str, object]]:
    return [{"date": date, "block": "b1", "percent_open": percent, **more}]


@pytest.mark.parametrize(
    ("path", "text", "said"),
    [
        (TEMPERATURES, "date,tmin_c,tmax_c\n2026-06-10,15,27\n2026-06-12,15,28\n", "line 3"),
        (TEMPERATURES, "date,tmin_c,tmax_c\n2026-06-08,5,6\n2026-06-09,5,7\n2026-06-10,6,7\n1926-06-11,5,8\n",
         "line 5"),
        (LOG, "season,block,bloom_start\n2026,b1,2026-05-20\n2026,b2,2026-06-25\n", "line 3"),
        (LOG, "season,block,bloom_start\n2025,b1,2025-05-20\n2027,b1,2027-05-20\n", "line 3"),
        (LOG, "season,block,bloom_start\n2025,b1,2025-05-20\n1926,b1,1926-05-20\n", "line 3"),
        (LOG, "season,block,bloom_start\n2023,b1,2023-05-20\n2024,b1,2024-05-20\n2025,b1,2025-05-20\n"
         "1996,b1,1996-05-20\n",
         "line 5"),
        (VISITS, "date,block,percent_open\n2026-06-10,b1,50\n2026-06-12,b1,60\n", "line 3"),
        (VISITS, "date,block,percent_open\n2026-06-10,b1,50\n1926-06-09,b1,40\n", "line 3"),
    ],
)  # fmt: skip
def test_days_to_come_and_of_another_century(vineyard: TestClient, path: str, text: str, said: str) -> None:
    problem = assert_problem(send_csv(vineyard, path, text), 422, "confirm=dates")
    assert [error["where"] for error in problem["errors"]] == [said]
    rest = send_csv(vineyard, path, text, on_bad_rows="skip", preview="true").json()
    assert [f"line {row['line']}" for row in rest["bad_rows"]] == [said]
    assert send_csv(vineyard, path, text, confirm="dates").status_code == 200


@pytest.mark.parametrize("date", ["2026-06-12", "2027-05-20", "1926-06-09"])
def test_visits_in_json(vineyard: TestClient, date: str) -> None:
    assert_problem(vineyard.post(VISITS, json=visit(date)), 422, "body.0", date, "confirm=dates")
    assert vineyard.post(VISITS, json=visit(date), params={"confirm": "dates"}).status_code == 200
    assert vineyard.post(VISITS, json=visit("2026-06-11")).status_code == 200


def test_a_visit_is_not_moved_into_the_future(vineyard: TestClient) -> None:
    vineyard.post(VISITS, json=visit("2026-06-10"))
    (stored,) = vineyard.get(VISITS).json()["visits"]
    answer = vineyard.patch(f"{VISITS}/{stored['visit']}", json={"date": "2026-07-10"})
    assert_problem(answer, 422, "2026-07-10", "confirm=dates")


@pytest.mark.parametrize(("issued_on", "last"), [("2026-06-12", "2026-06-14"), ("2026-06-10", "2027-06-10")])
def test_outlooks(vineyard: TestClient, issued_on: str, last: str) -> None:
    text = f"date,tmin_c,tmax_c\n{last},15,28\n"
    query = {"kind": "outlook", "issued_on": issued_on}
    assert_problem(send_csv(vineyard, TEMPERATURES, text, **query), 422, "issued_on", "confirm=dates")
    assert send_csv(vineyard, TEMPERATURES, text, **query, confirm="dates").status_code == 200


def test_bloom_in_november_is_taken_and_named(vineyard: TestClient) -> None:
    log = "season,block,bloom_start,full_bloom,checked_every_days\n" + "".join(
        f"{year},{block},{year}-05-{10 + year % 7},{year}-05-{16 + year % 7},1\n"
        for year in range(2021, 2026)
        for block in ("b1", "b2")
    )
    receipt = send_csv(vineyard, LOG, log, checked_every_days="1").json()
    assert receipt["warnings"] == []
    (warning,) = vineyard.post(VISITS, json=visit("2025-11-12")).json()["warnings"]
    assert "block b1 on 2025-11-12" in warning
    assert "from the other bloom dates" in warning
    (warning,) = vineyard.post(VISITS, json=visit("2025-11-13", 0)).json()["warnings"]
    assert "50 % on 2025-11-12 and 0 % on 2025-11-13" in warning  # no odd day, but at odds
    assert vineyard.post(VISITS, json=visit("2026-06-02")).json()["warnings"] == []


@pytest.mark.parametrize(("latitude", "date", "odd"), [(33.5, "2025-11-12", True), (33.5, "2025-05-12", False),
                                                       (-33.5, "2025-11-12", False), (-33.5, "2025-05-12", True),
                                                       (3.5, "2025-11-12", False)])  # fmt: skip
def test_bloom_in_winter_where_nothing_is_known(
    vineyard: TestClient, latitude: float, date: str, odd: bool
) -> None:
    vineyard.put(STATION, json={"name": "Hollow gauge", "latitude": latitude, "longitude": 0})
    warnings = vineyard.post(VISITS, json=visit(date)).json()["warnings"]
    assert bool(warnings) is odd


@pytest.mark.parametrize(("percent", "bbch"), [(60, 57), (5, 65), (90, 63), (0, 69), (20, 71)])
def test_a_percentage_beside_a_code_that_says_otherwise(
    vineyard: TestClient, percent: float, bbch: int
) -> None:
    answer = vineyard.post(VISITS, json=visit("2026-06-09", percent, bbch=bbch))
    assert_problem(answer, 422, "body.0", f"bbch {bbch}")
    text = f"date,block,percent_open,bbch\n2026-06-09,b1,{percent},{bbch}\n"
    assert_problem(send_csv(vineyard, VISITS, text), 422, "line 2", f"bbch {bbch}")


@pytest.mark.parametrize(("percent", "bbch"), [(0, 57), (10, 61), (12.5, 61), (50, 65), (60, 64), (100, 69)])
def test_a_percentage_beside_its_code(vineyard: TestClient, percent: float, bbch: int) -> None:
    receipt = vineyard.post(VISITS, json=visit("2026-06-09", percent, bbch=bbch)).json()
    assert receipt["warnings"] == []


def test_a_share_of_one_in_json_is_told(vineyard: TestClient) -> None:
    (warning,) = vineyard.post(VISITS, json=visit("2026-06-09", 0.5)).json()["warnings"]
    assert "not as fractions" in warning
    two = visit("2026-06-08", 0.5) + visit("2026-06-09", 40)
    assert "0.5 was read as per cent" in vineyard.post(VISITS, json=two).json()["warnings"][0]
