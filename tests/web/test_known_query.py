"""A query parameter that a route does not know is refused under /v1, feeds aside."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from tests.api.asking import STATION, VINEYARD, assert_problem, put_vineyard, send_csv


@pytest.mark.parametrize(
    ("path", "query", "said"),
    [
        (f"{VINEYARD}/forecast", "asof=2025-05-01", "did you mean as_of?"),
        (f"{VINEYARD}/forecast", "AS_OF=2025-05-01", "did you mean as_of?"),
        (
            f"{VINEYARD}/forecast",
            "season=2025",
            "this route knows as_of, fit, frost_limit, grower, interval, units",
        ),
        (f"{VINEYARD}/pollination", "as-of=2025-05-01", "did you mean as_of?"),
        (f"{VINEYARD}/scouting", "weekday=tue", "did you mean weekdays?"),
        (f"{STATION}/degree-days", "base_c=10", "did you mean base?"),
        (f"{STATION}/temperatures", "form=2025-05-01", "did you mean from?"),
        (STATION, "units=us", "this route knows grower"),
        ("/healthz", "units=us", "takes no query parameters"),
        (f"{VINEYARD}/forecast", "as_of=2025-05-01&as_of=2025-06-01", "given 2 times"),
    ],
)
def test_an_unknown_parameter_is_refused(client: TestClient, path: str, query: str, said: str) -> None:
    put_vineyard(client)
    problem = assert_problem(client.get(f"{path}?{query}"), 422, said)
    assert [error["where"] for error in problem["errors"]] == [f"query.{query.partition('=')[0]}"]


def test_an_unknown_parameter_of_an_upload_stores_nothing(client: TestClient) -> None:
    put_vineyard(client)
    path = f"{STATION}/temperatures"
    answer = send_csv(client, path, "date,tmin_c,tmax_c\n2025-05-01,11,24\n", on_bad_row="skip")
    assert_problem(answer, 422, "did you mean on_bad_rows?")
    assert client.get(path).json()["days"] == []


def test_a_calendar_program_may_add_parameters_of_its_own(client: TestClient) -> None:
    put_vineyard(client)
    known = client.get(f"{VINEYARD}/calendar.ics")
    added = client.get(f"{VINEYARD}/calendar.ics?cachebuster=1")
    assert (added.status_code, added.headers["content-type"]) == (
        known.status_code,
        known.headers["content-type"],
    )
