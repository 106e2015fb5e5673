"""Files as growers and their stations have them, over HTTP: read right, or refused with their lines."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from fastapi.testclient import TestClient

from service.web.uploads import XLSX
from tests.api.asking import CSV, STATION, VINEYARD, assert_problem, put_vineyard, send_csv
from tests.ingest.workbooks import workbook

TEMPERATURES, LOG, VISITS = f"{STATION}/temperatures", f"{VINEYARD}/bloom-log", f"{VINEYARD}/visits"
DAYS = [(dt.date(2025, 5, 1), 11.5, 24.0), (dt.date(2025, 5, 2), 12.0, 25.5)]


@pytest.fixture
def vineyard(client: TestClient) -> TestClient:
    put_vineyard(client)
    return client


def stored_days(client: TestClient) -> list[tuple[str, float | None, float | None]]:
    return [(day["date"], day["tmin"], day["tmax"]) for day in client.get(TEMPERATURES).json()["days"]]


AS_SENT = [(str(date), low, high) for date, low, high in DAYS]


@pytest.mark.parametrize("as_form", [False, True])
def test_a_workbook(vineyard: TestClient, as_form: bool) -> None:
    rows: list[list[Any]] = [["Hollow, all days"], ["date", "tmin", "tmax"], ["", "°C", "°C"]]
    data = workbook({"days": rows + [[day, *values] for day, *values in DAYS]})
    if as_form:
        answer = vineyard.post(TEMPERATURES, files={"file": ("days.xlsx", data, XLSX)})
    else:
        answer = vineyard.post(TEMPERATURES, headers={"Content-Type": XLSX}, content=data)
    assert answer.status_code == 200, answer.text
    assert stored_days(vineyard) == AS_SENT


def test_a_workbook_as_csv_is_read_all_the_same(vineyard: TestClient) -> None:
    data = workbook({"days": [["date", "tmin_c", "tmax_c"], *[[str(day), *values] for day, *values in DAYS]]})
    assert vineyard.post(TEMPERATURES, headers=CSV, content=data).status_code == 200
    assert stored_days(vineyard) == AS_SENT


@pytest.mark.parametrize(
    "above",
    [
        "Hollow gauge\nall days of May\n\ndate,tmin,tmax\n,°C,°C\n",
        "Hollow gauge (°C)\ndate,min,max\n",
        "sep=,\ndate,tmin_c,tmax_c\n",
        ",°C,°C\ndate,tmin,tmax\n",
        "# made by a logger\n# 2 days\nDate,Low,High\nYYYY-MM-DD,degC,degC\n",
    ],
)
def test_titles_and_units_above_and_below_the_header(vineyard: TestClient, above: str) -> None:
    text = above + "".join(f"{day},{low},{high}\n" for day, low, high in DAYS)
    assert send_csv(vineyard, TEMPERATURES, text).status_code == 200
    assert stored_days(vineyard) == AS_SENT


@pytest.mark.parametrize(
    ("header", "stamp", "query"),
    [
        ("timestamp,temp_c", "%Y-%m-%dT%H:%M", {}),
        ("Date Time,Temperature (°C)", "%Y-%m-%d %H:%M:%S", {}),
        ("date,temp_c", "%m/%d/%Y %I:%M %p", {"date_format": "%m/%d/%Y"}),
        ("date,hour,air temp (°C)", "%Y-%m-%d,%H", {}),
    ],
)
def test_hourly_rows_become_daily_extremes(
    vineyard: TestClient, header: str, stamp: str, query: dict[str, str]
) -> None:
    start = dt.datetime(2025, 5, 1, tzinfo=dt.UTC)
    lines = [header]
    for hour in range(24 * 3):
        if 48 <= hour < 55:
            continue  # the third day has 17 hours
        lines.append(
            f"{(start + dt.timedelta(hours=hour)).strftime(stamp)},{10 + hour % 24 + hour // 24 / 10:.1f}"
        )
    receipt = send_csv(vineyard, TEMPERATURES, "\n".join(lines), **query).json()
    assert stored_days(vineyard) == [
        ("2025-05-01", 10.0, 33.0), ("2025-05-02", 10.1, 33.1), ("2025-05-03", None, None)]  # fmt: skip
    assert any("20 hours; 1 day had fewer" in warning for warning in receipt["warnings"])


def test_readings_three_hours_apart_are_refused(vineyard: TestClient) -> None:
    rows = "".join(f"2025-05-01T{hour:02d}:00,{hour}\n" for hour in range(0, 24, 3))
    assert_problem(send_csv(vineyard, TEMPERATURES, "time,temp_c\n" + rows), 422, "more than 8 hours")


def test_a_daily_mean_is_no_pair_of_extremes(vineyard: TestClient) -> None:
    text = "date,temp_c\n2025-05-01,17\n2025-05-02,18\n"
    assert_problem(send_csv(vineyard, TEMPERATURES, text), 422, "one value a day")


def test_marks_behind_values_are_told(vineyard: TestClient) -> None:
    text = "date,tmin_c,tmax_c\n2025-05-01,11.5*,24.0 E\n2025-05-02,12.0,25.5†\n"
    receipt = send_csv(vineyard, TEMPERATURES, text).json()
    assert stored_days(vineyard) == AS_SENT
    assert any("3 values with a mark" in warning for warning in receipt["warnings"])


LOG_DATES = {
    ("b1", "bloom_start"): "2024-05-18",
    ("b1", "full_bloom"): "2024-05-23",
    ("b2", "bloom_start"): "2024-05-20",
}


def logged(client: TestClient) -> dict[tuple[str, str], str]:
    rows = client.get(LOG).json()["rows"]
    return {(row["block"], stage): date for row in rows for stage, date in row["dates"].items()}


@pytest.mark.parametrize(
    ("text", "query"),
    [
        ("season,block,bloom_start,full_bloom\n2024,b1,5/18,5/23\n2024,b2,5/20,\n", {"date_format": "%m/%d"}),
        ("season,block,bloom_start,full_bloom\n2024,b1,139,144\n2024,b2,141,\n", {"date_format": "%j"}),
        ("season,block,bloom_start,full_bloom\n2024,b1,18 May,23 May\n2024,b2,20 May,\n", {"date_format": "%d %b"}),
        ("season,block,stage,date\n2024,b1,bloom start,2024-05-18\n2024,b1,65,2024-05-23\n"
         "2024,b2,BBCH 61,2024-05-20\n", {}),
        ("block,stage,date\nb1,bloom_start,2024-05-18\nb1,full_bloom,2024-05-23\nb2,bloom_start,2024-05-20\n", {}),
        ("season;block;stage;date\n2024;b1;bloom_start;18.5.\n2024;b1;full_bloom;23.5.\n2024;b2;bloom_start;20.5.\n",
         {"date_format": "%d.%m."}),
    ],
)  # fmt: skip
def test_logs(vineyard: TestClient, text: str, query: dict[str, str]) -> None:
    answer = send_csv(vineyard, LOG, text, **query)
    assert answer.status_code == 200, answer.text
    assert logged(vineyard) == LOG_DATES


@pytest.mark.parametrize(
    ("cell", "advice"),
    [("5/18", "date_format=%m/%d"), ("5/6", "date_format=%d/%m or %m/%d"), ("139", "date_format=%j")],
)
def test_days_without_a_year_are_not_guessed(vineyard: TestClient, cell: str, advice: str) -> None:
    answer = send_csv(vineyard, LOG, f"season,block,bloom_start\n2024,b1,{cell}\n")
    assert_problem(answer, 422, "line 2", advice)


def test_percentages_as_people_write_them(vineyard: TestClient) -> None:
    cells = {"~50%": 50.0, "ca. 20": 20.0, "<5": 2.5, ">95 %": 97.5, "25*": 25.0, "12.5 %": 12.5}
    text = "date,block,percent_open\n" + "".join(
        f"2025-05-{18 + n},b1,{cell}\n" for n, cell in enumerate(cells)
    )
    receipt = send_csv(vineyard, VISITS, text).json()
    assert [visit["percent_open"] for visit in vineyard.get(VISITS).json()["visits"]] == list(cells.values())
    taken = [warning for warning in receipt["warnings"] if "was taken for" in warning]
    assert len(taken) == 5
    assert taken[2] == "line 4: '<5' was taken for 2.5 %"


@pytest.mark.parametrize("cell", ["<50", ">50", "10-20", "some", "5?5", "<0", ">100"])
def test_bounds_that_do_not_tell_the_stage(vineyard: TestClient, cell: str) -> None:
    text = f"date,block,percent_open\n2025-05-18,b1,{cell}\n"
    assert_problem(send_csv(vineyard, VISITS, text), 422, "line 2", "percent_open")


def test_visits_without_a_year_take_that_of_their_season(vineyard: TestClient) -> None:
    text = "season,date,block,percent_open\n2025,5/18,b1,12\n"
    assert send_csv(vineyard, VISITS, text, date_format="%m/%d").status_code == 200
    assert vineyard.get(VISITS).json()["visits"][0]["date"] == "2025-05-18"
    bare = "date,block,percent_open\n5/18,b1,12\n"
    assert_problem(send_csv(vineyard, VISITS, bare, date_format="%m/%d"), 422, "names no season")
    wrong = "season,date,block,percent_open\n2024,2025-05-18,b1,12\n"
    assert_problem(send_csv(vineyard, VISITS, wrong), 422, "is not in season 2024")


def weekly_log(weekday: int, seasons: range) -> str:
    lines = ["season,block,bloom_start,full_bloom,bloom_end"]
    for season in seasons:
        first = dt.date(season, 5, 10)
        first += dt.timedelta(days=(weekday + season - first.weekday()) % 7)
        for place, block in enumerate(("b1", "b2")):
            dates = [str(first + dt.timedelta(days=7 * (each + place))) for each in range(3)]
            lines.append(f"{season},{block},{','.join(dates)}")
    return "\n".join(lines)


def test_a_log_of_weekly_walks_is_told(vineyard: TestClient) -> None:
    text = weekly_log(0, range(2022, 2026))
    (warning,) = send_csv(vineyard, LOG, text).json()["warnings"]
    assert "once a week" in warning
    assert "checked_every_days=7" in warning
    assert send_csv(vineyard, LOG, text, checked_every_days="7").json()["warnings"] == []
    assert {row["checked_every_days"] for row in vineyard.get(LOG).json()["rows"]} == {7}


@pytest.mark.parametrize(("every", "said"), [("1", "every 7 days, yet they count"), ("7", None)])
def test_a_forecast_on_weekly_walks_says_so(demo_client: TestClient, every: str, said: str | None) -> None:
    path = "/v1/vineyards/sandlark-bend"
    rows = demo_client.get(f"{path}/bloom-log").json()["rows"]
    lines = ["season,block,bloom_start,full_bloom,bloom_end,checked_every_days"]
    for row in rows:
        dates = {stage: dt.date.fromisoformat(date) for stage, date in row["dates"].items()}
        mondays = {stage: date + dt.timedelta(days=-date.weekday() % 7) for stage, date in dates.items()}
        cells = [str(mondays.get(stage, "")) for stage in ("bloom_start", "full_bloom", "bloom_end")]
        lines.append(f"{row['season']},{row['block']},{','.join(cells)},{every}")
        for stage in ("budbreak", "fruit_set", "veraison", "harvest"):
            demo_client.delete(f"{path}/bloom-log/{row['season']}/{row['block']}", params={"stage": stage})
    receipt = send_csv(demo_client, f"{path}/bloom-log", "\n".join(lines))
    assert receipt.status_code == 200, receipt.text
    cautions = demo_client.get(f"{path}/forecast", params={"as_of": "2026-05-20"}).json()["cautions"]
    found = [caution for caution in cautions if "the bloom log" in caution.casefold()]
    assert len(found) == (0 if said is None else 1)
    assert said is None or said in found[0]


def test_a_log_that_does_not_say_how_often_is_told_what_was_assumed(vineyard: TestClient) -> None:
    text = "season,block,bloom_start\n2024,b1,2024-05-18\n2025,b1,2025-05-13\n"
    (warning,) = send_csv(vineyard, LOG, text).json()["warnings"]
    assert "every day was assumed" in warning
    assert send_csv(vineyard, LOG, text, checked_every_days="1").json()["warnings"] == []


def test_equal_faults_are_told_once(vineyard: TestClient) -> None:
    text = "date,tmin_c,tmax_c\n" + "".join(f"5/{day}/2025,11,24\n" for day in range(13, 31))
    problem = assert_problem(send_csv(vineyard, TEMPERATURES, text), 422, "date_format=%m/%d/%Y")
    assert [error["where"] for error in problem["errors"]] == ["lines 2 to 19"]
