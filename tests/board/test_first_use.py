"""First use without a browser: what is stored, what is not, and what is said."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response

import demo_weather
from tests.conftest import client_of
from tests.ingest.workbooks import workbook

pytestmark = pytest.mark.slow

FIELDS = {"name": "Low Meadow", "latitude": "31.1", "longitude": "-87.3"}
FILES = {
    name: demo_weather.files()[f"{name}.csv"] for name in ("temperatures", "planting", "bloom_log", "visits")
}


@pytest.fixture
def client(own_database: Path) -> Iterator[TestClient]:
    with client_of(own_database) as made:
        yield made


def send(client: TestClient, fields: dict[str, str], files: dict[str, bytes]) -> Response:
    sent = {name: (f"{name}.csv", content) for name, content in files.items()}
    return client.post("/vineyards", data=fields, files=sent or None, follow_redirects=False)


def is_empty(client: TestClient) -> bool:
    lists = ("vineyards", "stations", "cultivars", "fits")
    return all(client.get(f"/v1/{name}").json()[name] == [] for name in lists)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"name": " "}, "give the vineyard a name"),
        ({"name": "???"}, "no letter"),
        ({"latitude": "91"}, "91 is outside -90 to 90"),
        ({"latitude": ""}, "is needed"),
        ({"longitude": "west"}, "not a number"),
        ({"reach": "-1"}, "outside 0"),
        ({"unit": "K"}, "from the lists"),
        ({"timezone": "Chicago"}, "is no time zone"),
    ],
)
def test_a_wrong_field_is_named_and_nothing_stored(
    client: TestClient, fields: dict[str, str], said: str
) -> None:
    answer = send(client, FIELDS | fields, FILES)
    assert answer.status_code == 422
    assert said in answer.text
    assert is_empty(client)


@pytest.mark.parametrize("lacking", ["temperatures", "planting"])
def test_a_file_that_is_lacking_is_named(client: TestClient, lacking: str) -> None:
    answer = send(client, FIELDS, {name: content for name, content in FILES.items() if name != lacking})
    assert answer.status_code == 422
    assert "Choose the file" in answer.text or "choose the file" in answer.text
    assert is_empty(client)


def test_either_a_bloom_log_or_visits_is_needed(client: TestClient) -> None:
    without = {name: FILES[name] for name in ("temperatures", "planting")}
    assert "choose a bloom log, visits, or both" in send(client, FIELDS, without).text
    assert is_empty(client)


def test_faults_of_all_files_come_at_once(client: TestClient) -> None:
    broken = FILES | {
        "temperatures": b"date,tmin_c,tmax_c\n2025-01-01,x,3\n",
        "bloom_log": b"season,block,bloom_start\n2024,nowhere,2024-05-01\n",
    }
    text = send(client, FIELDS, broken).text
    assert "Line 2" in text
    assert "nowhere" in text
    assert is_empty(client)


def test_observations_that_fail_while_stored_take_all_with_them(client: TestClient) -> None:
    long = f"date,block,percent_open,observer\n2025-05-01,west-1,0,{'x' * 300}\n".encode()
    answer = send(client, FIELDS, FILES | {"visits": long})
    assert answer.status_code == 422
    assert is_empty(client)


def test_a_name_is_taken_once(client: TestClient) -> None:
    few = {"temperatures": b"date,tmin_c,tmax_c\n2025-01-01,1,3\n", "planting": FILES["planting"]}
    few["visits"] = b"date,block,percent_open\n2025-05-01,west-1,0\n"
    first = send(client, FIELDS, few)
    assert first.status_code == 201
    assert (
        "No forecast yet" in first.text
    )  # one look is no date: the files are kept, and the page says what lacks
    assert "taken already" in send(client, FIELDS | {"name": "low meadow"}, few).text


def test_units_and_ways_to_write_dates(client: TestClient) -> None:
    files = {
        "temperatures": b"date,tmin,tmax\n31/05/2025,50,86\n",
        "planting": FILES["planting"],
        "visits": b"date,block,percent_open\n31/05/2025,west-1,40\n",
    }
    answer = send(
        client,
        FIELDS
        | {
            "unit": "F",
            "temperatures_dates": "day_first",
            "visits_dates": "day_first",
            "reach": "100",
            "reach_unit": "ft",
        }
        | {"timezone": "America/Chicago"},
        files,
    )
    assert answer.status_code == 201
    stored = client.get("/v1/stations/low-meadow/temperatures").json()
    assert [(day["date"], day["tmin"], day["tmax"]) for day in stored["days"]] == [("2025-05-31", 10.0, 30.0)]
    made = client.get("/v1/vineyards/low-meadow").json()
    assert made["reach_m"] == pytest.approx(30.48, abs=1e-9)
    assert made["timezone"] == "America/Chicago"


@pytest.mark.parametrize("name", ["temperatures", "planting", "bloom_log", "visits"])
def test_templates_can_be_read_together(client: TestClient, name: str) -> None:
    answer = client.get(f"/file-templates/{name}.csv")
    assert answer.headers["content-disposition"] == f'attachment; filename="{name}.csv"'
    templates = {each: client.get(f"/file-templates/{each}.csv").content for each in FILES}
    assert send(client, FIELDS, templates).status_code in (201, 303)
    assert client.get("/file-templates/other.csv").status_code == 404


def test_refusals_speak_of_the_page_and_can_be_overridden_there(client: TestClient) -> None:
    few = {
        "temperatures": b"date,tmin_c,tmax_c\n2025-01-01,1,3\n",
        "planting": FILES["planting"],
        "visits": b"date,block,percent_open\n2025-05-01,west-1,0\n1926-05-01,west-1,0\n",
    }
    refused = send(client, FIELDS, few)
    assert refused.status_code == 422
    assert "tick &#39;The dates are right as they are&#39;" in refused.text
    assert 'name="confirm" value="dates"' in refused.text
    assert 'value="units"' not in refused.text
    assert 'name="confirm"' not in client.get("/").text
    assert is_empty(client)
    made = send(client, FIELDS | {"confirm": "dates"}, few)
    assert made.status_code == 201
    assert (
        "Temperatures: 1 day from Wednesday 1 January 2025 to Wednesday 1 January 2025, no gap" in made.text
    )
    assert "Visits: 2 rows" in made.text


def test_dates_are_advised_in_the_words_of_the_page(client: TestClient) -> None:
    few = {name: FILES[name] for name in ("temperatures", "planting")}
    few["visits"] = b"date,block,percent_open\n05/06/2025,west-1,0\n"
    text = send(client, FIELDS, few).text
    assert "choose below the file how its dates are written" in text
    assert "date_format" not in text


def test_workbooks_and_how_often_rows_were_walked(client: TestClient) -> None:
    log = "season,block,bloom_start\n2024,west-1,5/14\n2025,west-1,5/11\n"
    days = [line.split(",") for line in "date,tmin_c,tmax_c\n2025-01-01,1,3".splitlines()]
    files = {
        "temperatures": workbook({"days": days}),
        "planting": FILES["planting"],
        "bloom_log": log.encode(),
    }
    fields = {"bloom_log_dates": "month_day", "checked_every_days": "7"}
    assert send(client, FIELDS | fields | {"checked_every_days": "often"}, files).status_code == 422
    assert send(client, FIELDS | fields, files).status_code == 201
    rows = client.get("/v1/vineyards/low-meadow/bloom-log").json()["rows"]
    assert [(row["dates"]["bloom_start"], row["checked_every_days"]) for row in rows] == [
        ("2024-05-14", 7),
        ("2025-05-11", 7),
    ]


def test_a_planting_vine_by_vine_asks_for_its_spacings_and_takes_feet(client: TestClient) -> None:
    files = {
        "temperatures": b"date,tmin_c,tmax_c\n2025-01-01,1,3\n",
        "planting": b"row,vine,cultivar,flower_type\n1,1,First Name,perfect\n1,2,First Name,\n"
        b"2,1,Second Name,pistillate\n",
        "visits": b"date,block,percent_open\n2025-05-01,row-1-vine-1-2,0\n",
    }
    refused = send(client, FIELDS, files)
    assert refused.status_code == 422
    assert "From row to row" in refused.text.partition("<form")[0]
    half = send(client, FIELDS | {"row_spacing": "12"}, files)
    assert half.status_code == 422
    assert "give it beside the other" in half.text
    assert is_empty(client)
    spacings = {"row_spacing": "12", "vine_spacing": "20", "spacing_unit": "ft"}
    made = send(client, FIELDS | spacings, files)
    assert made.status_code in (201, 303), made.text
    blocks = client.get("/v1/vineyards/low-meadow/blocks").json()["blocks"]
    (long,) = (block for block in blocks if block["vines"] == 2)
    assert abs(long["x2_m"] - long["x_m"]) + abs(long["y2_m"] - long["y_m"]) == pytest.approx(20 * 0.3048)
    again = {name: (f"{name}.csv", files[name]) for name in ("planting",)}
    over = client.post("/vineyards/low-meadow/data", data=spacings | {"step": "preview"}, files=again)
    assert over.status_code == 200, over.text
    assert "0 new, 0 changed, 2 as before" in over.text
