"""A hindcast over HTTP: asked for, followed, read, and lost with the service that ran it."""

from __future__ import annotations

import csv
import io
import json
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from service.store import Store
from service.words.jobs import SAID
from tests.api.asking import VINEYARD, Answer, assert_problem, put_vineyard, send_csv
from tests.conftest import client_of
from tests.hindcast.past import invented_vineyard, log_csv, weather_csv

pytestmark = pytest.mark.slow

STATION = "/v1/stations/hollow-gauge"
HEAT = {"method": "average", "base_c": 10}


@contextmanager
def service(database: Path) -> Iterator[TestClient]:
    with client_of(database) as client:
        yield client


def fitted(client: TestClient) -> str:
    """Path of a fit of a vineyard with six seasons."""
    put_vineyard(client)
    past = invented_vineyard()
    assert send_csv(client, f"{STATION}/temperatures", weather_csv(past.site.temperatures)).status_code == 200
    assert send_csv(client, f"{VINEYARD}/bloom-log", log_csv(past.site.log)).status_code == 200
    fit = client.post("/v1/fits", json={"heat": HEAT})
    assert fit.status_code == 201, fit.text
    return f"/v1/fits/{fit.json()['id']}"


def followed(client: TestClient, job: str) -> tuple[dict[str, Any], list[float]]:
    """The job once it has ended, and how far it was each time it was asked for."""
    progress: list[float] = []
    for _ in range(1200):
        told: dict[str, Any] = client.get(job).json()
        progress.append(told["progress"])
        if told["state"] in ("done", "failed"):
            return told, progress
        time.sleep(0.1)
    raise AssertionError(told)


def until_it_runs(client: TestClient, job: str) -> None:
    for _ in range(300):
        if client.get(job).json()["state"] == "running":
            return
        time.sleep(0.1)
    raise AssertionError(client.get(job).text)


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Answer]:
    """What a service answered, from the fit to the report."""
    got: dict[str, Answer] = {}
    with service(tmp_path_factory.mktemp("hindcast") / "capfall.db") as client:
        fit = fitted(client)
        got["none yet"] = client.get(f"{fit}/hindcast")
        got["asked"] = client.post(f"{fit}/hindcast", json={"leads": [30]})
        got["asked again"] = client.post(f"{fit}/hindcast")
        got["too early"] = client.get(f"{fit}/hindcast")
        job = got["asked"].headers["Location"]
        ended, progress = followed(client, job)
        assert ended["state"] == "done", ended
        assert progress == sorted(progress)
        got["job"] = client.get(job)
        got["report"] = client.get(f"{fit}/hindcast")
        got["in °F"] = client.get(f"{fit}/hindcast", params={"units": "us"})
        got["page"] = client.get("/vineyards/hollow/skill", params={"lead": "30"})
        got["page, others"] = client.get(
            "/vineyards/hollow/skill", params={"lead": "30", "learned_from": "others"}
        )
        got["rows"] = client.get(f"{fit}/hindcast", headers={"Accept": "text/csv"})
    return got


def test_a_job_is_made_and_asking_again_gives_the_same(answers: dict[str, Answer]) -> None:
    asked = answers["asked"]
    assert asked.status_code == answers["asked again"].status_code == 202
    job = asked.json()
    assert asked.headers["Location"] == f"/v1/jobs/{job['job']}"
    assert answers["asked again"].json()["job"] == job["job"]
    assert job["state"] in ("waiting", "running")
    assert job["result"] is None


def test_before_it_has_ended_there_is_no_report(answers: dict[str, Answer]) -> None:
    assert_problem(answers["none yet"], 404, "no hindcast of fit", "POST to the same address")
    assert_problem(answers["too early"], 404, "has not ended", answers["asked"].json()["job"])


def test_the_job_ends_with_where_the_report_is(answers: dict[str, Answer]) -> None:
    job = answers["job"].json()
    assert (job["state"], job["progress"], job["kind"]) == ("done", 1.0, "hindcast")
    assert job["result"] == {"hindcast": f"/v1/fits/{job['fit']}/hindcast"}


def test_the_report_has_scores_rules_and_rows(answers: dict[str, Answer]) -> None:
    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON")

    report = json.loads(answers["report"].text, parse_constant=refuse)
    assert report["leads"] == ["known weather", "30", "others seen"]
    assert report["searched"] is False
    scores = {(one["stage"], one["cultivar"], one["lead"]): one for one in report["scores"]}
    known = scores["full_bloom", None, "known weather"]
    assert known["n"] == 12
    assert known["skill"] > 0.5
    assert scores["full_bloom", "loam-whistle", "30"]["n"] == 6
    assert [one["season"] for one in report["rules"]] == [2001, 2002, 2003, 2004, 2005, 2006]
    assert report["rules"][0]["heat"]["base_c"] == 10.0
    assert answers["in °F"].json()["rules"][0]["heat"]["base_f"] == 50.0
    assert {row["vineyard"] for row in report["rows"]} == {"hollow"}
    assert report["made"].index("Past only") < report["made"].index("Leave one season out")
    assert "CRPS and coverage are those of the interval" in report["made"]
    past = {(one["stage"], one["cultivar"], one["lead"]): one for one in report["past_scores"]}
    assert past["full_bloom", None, "known weather"]["seasons"] == 3
    assert known["seasons"] == 6
    assert 0 <= known["coverage_low"] <= known["coverage"] <= known["coverage_high"] <= 1
    assert known["coverage_by_season"] is not None
    assert known["skill_low"] <= known["skill"] <= known["skill_high"]
    assert [one["season"] for one in report["past_rules"]] == [2004, 2005, 2006]
    assert answers["in °F"].json()["past_rules"][0]["heat"]["base_f"] == 50.0


def test_the_page_shows_the_past_alone_first_and_says_which_score_it_is(answers: dict[str, Answer]) -> None:
    report = answers["report"].json()
    for page, scores, chosen in (("page", "past_scores", "past"), ("page, others", "scores", "others")):
        text = answers[page].text
        assert f'<option value="{chosen}" selected>' in text
        assert "known only to lie after the visit before" in text
        (told,) = [
            one
            for one in report[scores]
            if (one["stage"], one["cultivar"], one["lead"]) == ("full_bloom", None, "30")
        ]
        cells = re.findall(r"<td>(.*?)</td>", text.split('<th scope="row">30 days ahead</th>')[1])[:7]
        assert cells[0] == str(told["n"])
        assert cells[1:3] == [f"{told['bias']:+.1f}", f"{told['bias_by_season']:+.1f}"]
        assert cells[5].startswith(f"{told['skill']:.2f}")
    assert answers["page"].text != answers["page, others"].text


def test_the_rows_come_as_a_table(answers: dict[str, Answer]) -> None:
    assert answers["rows"].headers["content-type"].startswith("text/csv")
    table = list(csv.DictReader(io.StringIO(answers["rows"].text)))
    report = answers["report"].json()
    rows = report["past_rows"] + report["rows"]
    assert report["past_rows"]
    assert [row["observed"] for row in table] == [row["observed"] for row in rows]
    assert [float(row["crps"]) for row in table] == [row["crps"] for row in rows]


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"interval": 1.5}, "body.interval"),
        ({"leads": [-3]}, "body.leads"),
        ({"lead": [3]}, "body.lead"),
        ({"leads": list(range(21))}, "body.leads"),
    ],
)
def test_what_cannot_be_asked_is_refused(client: TestClient, body: dict[str, Any], said: str) -> None:
    assert_problem(client.post("/v1/fits/f1/hindcast", json=body), 422, said)


def test_unknown_fits_and_jobs_are_not_found(client: TestClient) -> None:
    assert_problem(client.post("/v1/fits/nowhere/hindcast"), 404, "fit 'nowhere'")
    assert_problem(client.get("/v1/fits/nowhere/hindcast"), 404, "fit 'nowhere'")
    assert_problem(client.get("/v1/jobs/nowhere"), 404, "job 'nowhere'")


def test_a_fit_of_another_grower_has_no_seasons_to_leave_out(tmp_path: Path) -> None:
    with service(tmp_path / "mine.db") as client:
        shared = client.get(f"{fitted(client)}/document").json()
    with service(tmp_path / "theirs.db") as client:
        fit = client.post("/v1/fits/import", json=shared).json()["id"]
        assert_problem(client.post(f"/v1/fits/{fit}/hindcast"), 422, "another grower")


def test_a_service_that_stops_fails_its_job_and_says_so(tmp_path: Path) -> None:
    database = tmp_path / "capfall.db"
    with service(database) as client:
        fit = fitted(client)
        job = client.post(f"{fit}/hindcast").headers["Location"]
        until_it_runs(client, job)
    with service(database) as client:
        told = client.get(job).json()
        assert (told["state"], told["message"]) == ("failed", SAID["stopped"])
        assert_problem(client.get(f"{fit}/hindcast"), 404, SAID["stopped"])
        assert client.post(f"{fit}/hindcast").headers["Location"] != job


def test_jobs_are_listed_and_called_off(tmp_path: Path) -> None:
    with service(tmp_path / "capfall.db") as client:
        fit = fitted(client)
        job = client.post(f"{fit}/hindcast").headers["Location"]
        later = client.post("/v1/fits", json={"heat": HEAT}, headers={"Prefer": "respond-async"})
        assert later.status_code == 202
        until_it_runs(client, job)
        waiting = client.get("/v1/jobs", params={"state": "waiting"}).json()["jobs"]
        assert [each["job"] for each in waiting] == [later.json()["job"]]
        assert [each["kind"] for each in client.get("/v1/jobs").json()["jobs"]] == ["fit", "hindcast"]
        first = client.get("/v1/jobs", params={"limit": 1}).json()
        second = client.get("/v1/jobs", params={"limit": 1, "cursor": first["next"]}).json()
        assert [each["kind"] for each in (*first["jobs"], *second["jobs"])] == ["fit", "hindcast"]
        assert client.delete(later.headers["Location"]).json()["state"] == "cancelled"
        assert client.delete(job).json()["state"] == "cancelled"
        # What was asked for later comes in seconds, as the cancelled hindcast gives way.
        again = client.post("/v1/fits", json={"heat": HEAT}, headers={"Prefer": "respond-async"})
        assert followed(client, again.headers["Location"])[0]["state"] == "done"
        assert client.get(job).json()["state"] == "cancelled"
        assert client.delete(again.headers["Location"]).json()["state"] == "done"
        assert client.get("/v1/jobs", headers={"Accept": "text/csv"}).text.startswith(
            "job,kind,fit,state,progress"
        )
        assert_problem(client.get("/v1/jobs", params={"state": "lost"}), 422, "query.state")
        assert_problem(client.delete("/v1/jobs/nowhere"), 404)


def test_a_job_that_a_crash_left_running_has_failed_at_the_next_start(tmp_path: Path) -> None:
    database = tmp_path / "capfall.db"
    store = Store(f"sqlite:///{database}")
    store.migrate()
    with store.transaction("local") as records:
        records.jobs.add("j1", "hindcast", subject="f1")
        records.jobs.update("j1", state="running", progress=0.4)
    store.close()
    with service(database) as client:
        told = client.get("/v1/jobs/j1").json()
        assert (told["state"], told["message"], told["progress"]) == ("failed", SAID["crashed"], 0.4)
