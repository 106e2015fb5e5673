"""Bad files and bodies: one shape of answer, and nothing half stored."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from tests.api.asking import CSV, STATION, VINEYARD, assert_problem, put_vineyard, send_csv

TEMPERATURES = f"{STATION}/temperatures"
GOOD = "date,tmin_c,tmax_c\n2025-05-01,11.5,24.0\n2025-05-02,12.0,25.5\n"
JULY = "".join(f"2025-07-{day:02d},{70 + day % 4},{93 + day % 5}\n" for day in range(1, 32))

REFUSED_TEMPERATURES = {
    "empty": ("", "the file is empty"),
    "header only": ("date,tmin_c,tmax_c\n", "no row"),
    "no date column": ("when,tmin_c,tmax_c\n2025-05-03,11,24\n", "line 1", "date"),
    "no unit": ("date,tmin,tmax\n2025-05-03,11,24\n", "unit"),
    "31 February": ("date,tmin_c,tmax_c\n2025-05-03,11,24\n2025-02-31,11,24\n", "line 3", "February"),
    "ambiguous dates": ("date,tmin_c,tmax_c\n05/03/2025,11,24\n", "line 2", "date_format"),
    "text for a number": ("date,tmin_c,tmax_c\n2025-05-03,cold,24\n", "line 2", "cold"),
    "one date, two values": ("date,tmin_c,tmax_c\n2025-05-03,11,24\n2025-05-03,11,25\n", "lines 2, 3"),
    "Fahrenheit as Celsius": ("date,tmin_c,tmax_c\n" + JULY, "°F"),
    "swapped columns": (
        "date,tmin_c,tmax_c\n" + "".join(f"2025-05-{day:02d},24,11\n" for day in range(3, 20)),
        "swapped",
    ),
    "one open quote": ('date,tmin_c,tmax_c\n2025-05-03,"11,24\n', "quote"),
}


@pytest.fixture
def vineyard(client: TestClient) -> TestClient:
    """A client whose vineyard and two days of temperatures are there."""
    put_vineyard(client)
    assert send_csv(client, TEMPERATURES, GOOD).status_code == 200
    return client


@pytest.mark.parametrize("name", REFUSED_TEMPERATURES)
def test_a_refused_temperature_file_stores_nothing(vineyard: TestClient, name: str) -> None:
    text, *said = REFUSED_TEMPERATURES[name]
    before = vineyard.get(TEMPERATURES).json()
    problem = assert_problem(send_csv(vineyard, TEMPERATURES, text), 422, *said)
    assert problem["errors"]
    assert vineyard.get(TEMPERATURES).json() == before


def test_a_bad_row_can_be_skipped_and_is_told(vineyard: TestClient) -> None:
    text = "date,tmin_c,tmax_c\n2025-05-03,11,24\n2025-02-31,11,24\n"
    receipt = send_csv(vineyard, TEMPERATURES, text, on_bad_rows="skip").json()
    assert (receipt["rows_read"], receipt["rows_stored"]) == (2, 1)
    assert [row["line"] for row in receipt["bad_rows"]] == [3]


def test_minimum_above_maximum_and_sentinels_are_missing(vineyard: TestClient) -> None:
    text = "date,tmin_c,tmax_c\n2025-05-03,25,14\n2025-05-04,-100.0,-100.0\n2025-05-05,11,24\n"
    receipt = send_csv(vineyard, TEMPERATURES, text).json()
    assert receipt["missing_values"] == 2
    assert receipt["gaps"] == [{"from": "2025-05-03", "to": "2025-05-04", "days": 2}]
    days = vineyard.get(TEMPERATURES, params={"from": "2025-05-03", "to": "2025-05-04"}).json()["days"]
    assert days == [
        {"date": "2025-05-03", "tmin": None, "tmax": None},
        {"date": "2025-05-04", "tmin": None, "tmax": None},
    ]


def test_utf_16_is_read_with_its_mark_and_refused_without(vineyard: TestClient) -> None:
    text = "date,tmin_c,tmax_c\n2025-05-03,11,24\n"
    assert send_csv(vineyard, TEMPERATURES, text.encode("utf-16")).status_code == 200
    assert_problem(send_csv(vineyard, TEMPERATURES, text.encode("utf-16-le")), 422, "UTF-16")


def test_bytes_that_are_no_text_are_refused(vineyard: TestClient) -> None:
    assert_problem(send_csv(vineyard, TEMPERATURES, b"PK\x03\x04workbook"), 422, "CSV")
    assert_problem(send_csv(vineyard, TEMPERATURES, b"date,tmin_c,tmax_c\n\xff\xfe\xfd,1,2\n"), 422, "line 2")


def test_thirty_megabytes_of_one_line_are_refused_by_their_length(vineyard: TestClient) -> None:
    answer = send_csv(vineyard, TEMPERATURES, b"9" * 30_000_000)
    assert_problem(answer, 413, "20000000")
    assert len(vineyard.get(TEMPERATURES).json()["days"]) == 2


def test_a_body_announced_too_large_is_not_read_at_all(vineyard: TestClient) -> None:
    taken: list[bytes] = []

    def chunks() -> Iterator[bytes]:
        taken.append(b"9")
        yield taken[-1]

    headers = {**CSV, "Content-Length": "30000000"}
    assert_problem(vineyard.post(TEMPERATURES, headers=headers, content=chunks()), 413)
    assert not taken


def test_an_endless_body_is_cut_off_while_it_comes(vineyard: TestClient) -> None:
    chunks = (b"9" * 1_000_000 for _ in range(30))
    assert_problem(vineyard.post(TEMPERATURES, headers=CSV, content=chunks), 413)


def test_one_line_below_the_limit_is_refused_too(vineyard: TestClient) -> None:
    assert_problem(send_csv(vineyard, TEMPERATURES, b"9" * 19_000_000), 422, "line 1")


@pytest.mark.parametrize("kind", ["application/json", "application/x-www-form-urlencoded", ""])
def test_another_media_type_is_refused(vineyard: TestClient, kind: str) -> None:
    answer = vineyard.post(TEMPERATURES, headers={"Content-Type": kind}, content=GOOD.encode())
    assert_problem(answer, 415, "text/csv")


def test_a_form_needs_its_file(vineyard: TestClient) -> None:
    assert vineyard.post(TEMPERATURES, files={"file": ("days.csv", GOOD)}).json()["rows_unchanged"] == 2
    assert_problem(vineyard.post(TEMPERATURES, files={"upload": ("days.csv", GOOD)}), 422, "body.file")
    for form in ("multipart/form-data", "multipart/form-data; boundary=x"):
        answer = vineyard.post(TEMPERATURES, headers={"Content-Type": form}, content=b"no form")
        assert_problem(answer, 400)


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"unit": "K"}, "query.unit"),
        ({"kind": "guess"}, "query.kind"),
        ({"kind": "outlook"}, "query.issued_on"),
        ({"kind": "outlook", "issued_on": "2025-06-31"}, "query.issued_on"),
        ({"kind": "outlook", "issued_on": "2025-05-09"}, "past"),
        ({"kind": "observed", "issued_on": "2025-05-01"}, "query.issued_on"),
        ({"on_bad_rows": "ignore"}, "query.on_bad_rows"),
        ({"date_format": "%H"}, "date_format"),
    ],
)
def test_a_wrong_query_is_located(vineyard: TestClient, query: dict[str, str], said: str) -> None:
    assert_problem(send_csv(vineyard, TEMPERATURES, GOOD, **query), 422, said)


def test_temperatures_need_their_station(client: TestClient) -> None:
    assert_problem(send_csv(client, "/v1/stations/nowhere/temperatures", GOOD), 404, "nowhere")
    assert_problem(client.get("/v1/stations/nowhere/temperatures"), 404, "nowhere")


REFUSED_LOGS = {
    "unknown block": ("season,block,bloom_start\n2025,b1,2025-05-12\n2025,b9,2025-05-13\n", "line 3", "b9"),
    "no stage": ("season,block\n2025,b1\n", "stage"),
    "no season": ("block,bloom_start\nb1,2025-05-12\n", "season"),
    "another year": ("season,block,bloom_start\n2025,b1,2024-05-12\n", "line 2", "2024-05-12"),
    "31 February": ("season,block,bloom_start\n2025,b1,2025-02-31\n", "line 2"),
    "two dates": ("season,block,bloom_start\n2025,b1,2025-05-12\n2025,b1,2025-05-14\n", "lines 2, 3"),
}


@pytest.mark.parametrize("name", REFUSED_LOGS)
def test_a_refused_bloom_log_stores_nothing(vineyard: TestClient, name: str) -> None:
    text, *said = REFUSED_LOGS[name]
    problem = assert_problem(send_csv(vineyard, f"{VINEYARD}/bloom-log", text), 422, *said)
    assert problem["errors"]
    assert vineyard.get(f"{VINEYARD}/bloom-log").json()["rows"] == []


def test_stages_out_of_order_are_kept_and_named(vineyard: TestClient) -> None:
    text = "season,block,bloom_start,full_bloom\n2025,b1,2025-05-20,2025-05-12\n"
    receipt = send_csv(vineyard, f"{VINEYARD}/bloom-log", text).json()
    assert receipt["rows_stored"] == 1
    assert "line 2" in receipt["warnings"][0]


def test_a_log_needs_a_vineyard_with_a_station(client: TestClient) -> None:
    put_vineyard(client, station=False)
    text = "season,block,bloom_start\n2025,b1,2025-05-12\n"
    assert_problem(send_csv(client, f"{VINEYARD}/bloom-log", text), 422, "no station", "vineyard.station")
    assert_problem(send_csv(client, "/v1/vineyards/nowhere/bloom-log", text), 404, "nowhere")


REFUSED_PLANTINGS = {
    "no flower type": ("block,cultivar,x_m,y_m\nb1,Thimble Ash,0,0\n", "flower_type"),
    "odd flower type": ("block,cultivar,flower_type,x_m,y_m\nb1,Thimble Ash,shy,0,0\n", "line 2", "shy"),
    "unknown neighbour": (
        "block,cultivar,flower_type,x_m,y_m,neighbours\nb1,Thimble Ash,pistillate,0,0,b7\n",
        "b7",
    ),
}


@pytest.mark.parametrize("name", REFUSED_PLANTINGS)
def test_a_refused_planting_changes_nothing(vineyard: TestClient, name: str) -> None:
    text, *said = REFUSED_PLANTINGS[name]
    before = vineyard.get(f"{VINEYARD}/blocks").json()
    assert_problem(send_csv(vineyard, f"{VINEYARD}/planting", text), 422, *said)
    assert vineyard.get(f"{VINEYARD}/blocks").json() == before


@pytest.mark.parametrize(
    ("visits", "said"),
    [
        ("not json", "body"),
        ({"date": "2025-05-12"}, "body"),
        ([{"date": "2025-05-12", "block": "b1"}], "percent_open or bbch"),
        ([{"date": "2025-05-12", "percent_open": 5}], "a block or a cultivar"),
        ([{"date": "2025-05-12", "block": "b1", "percent_open": 105}], "body.0.percent_open"),
        ([{"date": "2025-02-31", "block": "b1", "percent_open": 5}], "body.0.date"),
        ([{"date": "2025-05-12", "block": "b1", "percent_open": 5, "mood": "fine"}], "body.0.mood"),
        (
            [
                {"date": "2025-05-12", "block": "b1", "percent_open": 5},
                {"date": "2025-05-12", "block": "b9", "percent_open": 5},
            ],
            "body.1",
        ),
        ([{"date": "2025-05-12", "block": "b1", "cultivar": "loam-whistle", "percent_open": 5}], "holds"),
        (
            [
                {"date": "2025-05-12", "block": "b1", "percent_open": 5},
                {"date": "2025-05-12", "block": "b1", "percent_open": 6},
            ],
            "body.1",
        ),
        ([{"date": "2025-05-12", "block": "b1", "bbch": 61, "observer": "x" * 201}], "observer"),
        ([{"date": "2025-05-12", "block": "b1", "bbch": 61, "note": "\u0000"}], "body.0.note"),
    ],
)
def test_refused_visits_store_nothing(vineyard: TestClient, visits: object, said: str) -> None:
    if isinstance(visits, str):
        json_type = {"Content-Type": "application/json"}
        answer = vineyard.post(f"{VINEYARD}/visits", headers=json_type, content=visits.encode())
    else:
        answer = vineyard.post(f"{VINEYARD}/visits", json=visits)
    assert_problem(answer, 422, said)
    assert vineyard.get(f"{VINEYARD}/visits").json()["visits"] == []
