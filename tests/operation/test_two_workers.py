"""Two workers over one database: what either acknowledges is there, and a worker that dies takes only its own along."""

from __future__ import annotations

import os
import signal
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import httpx2
import pytest

from tests.api.asking import CSV
from tests.hindcast.past import invented_vineyard, log_csv, weather_csv
from tests.operation.processes import WORKERS, Serving, serving

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(os.name != "posix", reason="workers are ended by a signal"),
]

VINEYARD = "/v1/vineyards/hollow"
PLANTING = "block,cultivar,flower_type,x_m,y_m\nb1,Thimble Ash,pistillate,0,0\nb2,Loam Whistle,perfect,6,0\n"


def stored(answer: httpx2.Response) -> Any:
    """What a write was answered."""
    assert answer.status_code < 300, answer.text
    return answer.json()


def put_past(client: httpx2.Client) -> None:
    """A vineyard with six seasons."""
    past = invented_vineyard()
    place = {"name": "Hollow", "latitude": 33.5, "longitude": -84.0}
    stored(client.put("/v1/stations/hollow-gauge", json=place))
    stored(client.put(VINEYARD, json={"name": "Hollow", "station": "hollow-gauge"}))
    for path, text in (
        (f"{VINEYARD}/planting", PLANTING),
        ("/v1/stations/hollow-gauge/temperatures", weather_csv(past.site.temperatures)),
        (f"{VINEYARD}/bloom-log", log_csv(past.site.log)),
    ):
        stored(client.post(path, content=text.encode(), headers=CSV))


def workers_of(served: Serving) -> list[int]:
    """The processes that the server started to answer."""
    children = Path(f"/proc/{served.process.pid}/task/{served.process.pid}/children").read_text().split()
    commands = {int(child): Path(f"/proc/{child}/cmdline").read_bytes() for child in children}
    return [child for child, command in commands.items() if b"spawn_main" in command]


def test_two_workers_serve_one_database(url: str, tmp_path: Path) -> None:
    with serving(tmp_path, how=WORKERS, url=url) as served, served.client() as client:
        put_past(client)
        first, second = workers_of(served)

        def visit(day: int) -> int:
            body = [{"date": f"2026-05-{day + 1:02}", "block": "b1", "percent_open": 0, "observer": "Ida"}]
            with served.client() as other:
                return other.post(f"{VINEYARD}/visits", json=body).status_code

        with ThreadPoolExecutor(4) as pool:
            came = list(pool.map(visit, range(20)))
        assert came == [200] * 20
        assert len(client.get(f"{VINEYARD}/visits").json()["visits"]) == 20
        asked = {"heat": {"method": "average", "base_c": 10}}
        prefer = {"Prefer": "respond-async"}
        jobs = [stored(client.post("/v1/fits", json=asked, headers=prefer))["job"] for _ in range(2)]
        os.kill(first, signal.SIGKILL)  # the server starts another in its place
        ended = dict.fromkeys(jobs, "")
        until = time.monotonic() + 120
        while not set(ended.values()) <= {"done", "failed"}:
            assert time.monotonic() < until, ended
            time.sleep(0.5)
            try:
                ended = {job: client.get(f"/v1/jobs/{job}").json()["state"] for job in jobs}
            except httpx2.TransportError:
                continue  # the connection was to the one that is no more
        assert "done" in ended.values()
        assert second in workers_of(served)
        assert len(client.get(f"{VINEYARD}/visits").json()["visits"]) == 20
