"""The fit in use on the pages: made in the background, chosen where there is none, and told."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from tests.board.scenes import AS_OF, build
from tests.conftest import client_of

pytestmark = pytest.mark.slow

BOARD = "/vineyards/few"
DAY = f"as_of={AS_OF}"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """A vineyard whose seasons are few, so that its fit is quickly made."""
    build("few_seasons", tmp_path / "few.db")
    with client_of(tmp_path / "few.db") as client:
        yield client


def waited(client: TestClient, address: str) -> str:
    """The page once the job that it tells of has ended."""
    for _ in range(600):
        text = client.get(address).text
        if "data-job" not in text:
            return text
        time.sleep(0.2)
    raise AssertionError(text)


def test_fit_again_runs_in_the_background_and_tells_what_it_learned(client: TestClient) -> None:
    first = client.post("/v1/fits", json={"vineyards": ["few"]}).json()["id"]
    again = client.post(f"{BOARD}/fit?{DAY}", follow_redirects=False)
    assert again.status_code == 303
    job = re.search(r"fitting=(fit-\w+)", again.headers["location"])
    assert job is not None
    text = waited(client, again.headers["location"])
    made = client.get(f"/v1/jobs/{job[1]}").json()["fit"]
    assert made == first
    assert "Nothing new was learned" in text
    row = b"season,block,bloom_start\n2021,west-1,2021-05-16\n"
    assert client.post(f"/v1{BOARD}/bloom-log", content=row, headers={"Content-Type": "text/csv"}).is_success
    assert "1 row of 1 season" in client.get(f"{BOARD}?{DAY}").text
    address = client.post(f"{BOARD}/fit?{DAY}", follow_redirects=False).headers["location"]
    text = waited(client, address)
    assert "A new fit is made" in text
    assert "1 row of 1 season" not in text
    assert client.get(f"/v1{BOARD}/fit").json()["fit"] != first
    assert client.get(f"{BOARD}?{DAY}&fitting=nothing").status_code == 404


def test_a_vineyard_without_a_fit_can_take_one_that_there_is(client: TestClient) -> None:
    fit = client.get(f"/v1{BOARD}/fit").json()["fit"]
    station = client.get(f"/v1{BOARD}").json()["station"]
    client.put("/v1/vineyards/beside", json={"name": "Beside", "station": station})
    planting = b"block,cultivar,flower_type,x_m,y_m\na,Stray Bell,perfect,0,0\n"
    csv = {"Content-Type": "text/csv"}
    assert client.post("/v1/vineyards/beside/planting", content=planting, headers=csv).is_success
    page = client.get(f"/vineyards/beside?{DAY}")
    assert page.status_code == 409
    assert f'<option value="{fit}">' in page.text
    used = client.post(f"/vineyards/beside/fit-in-use?{DAY}", data={"fit": fit}, follow_redirects=False)
    assert (used.status_code, used.headers["location"]) == (303, f"/vineyards/beside?{DAY}")
    board = client.get(used.headers["location"])
    assert board.status_code == 200
    assert "come from vineyard few" in board.text
    assert client.post("/vineyards/beside/fit-in-use", data={"fit": "none"}).status_code == 404


@pytest.mark.parametrize(
    ("start", "kind", "again"),
    [("skill", "hindcast", "/vineyards/few/skill"), ("fit", "fit", "/vineyards/few/fit")],
)
def test_long_work_is_stopped_with_one_click_and_begun_again(
    client: TestClient, start: str, kind: str, again: str
) -> None:
    fit = client.get(f"/v1{BOARD}/fit").json()["fit"]
    page = client.post(f"{BOARD}/{start}").text
    stop = re.search(rf'action="({BOARD}/jobs/({kind}-\w+)/stop)"', page)
    assert stop is not None, page
    told = client.post(stop[1])
    assert client.get(f"/v1/jobs/{stop[2]}").json()["state"] == "cancelled"
    assert f"The {kind} was stopped" in told.text
    assert f'action="{again}"><button>Begin again' in told.text
    assert "data-job" not in client.get(f"{BOARD}/skill").text
    assert client.get(f"/v1{BOARD}/fit").json()["fit"] == fit
    assert client.post(f"{BOARD}/jobs/nothing/stop").status_code == 404
