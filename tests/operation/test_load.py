"""While many forecasts are asked for at once, the service still says that it lives, and sends away what is too much."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from subprocess import PIPE

import httpx2
import pytest

import demo_weather
from tests.operation.processes import serving

pytestmark = pytest.mark.slow

ASKED = 60  # at once
LONGEST_LOOK_SECONDS = 2.0  # it was 12.6 behind 40 forecasts
# In a process of its own, which the many requests of this one do not hold up.
LOOK = """
import http.client, select, sys, time
while not select.select([sys.stdin], [], [], 0.05)[0]:
    began = time.monotonic()
    asked = http.client.HTTPConnection("127.0.0.1", int(sys.argv[1]), timeout=60)
    asked.request("GET", "/healthz")
    assert asked.getresponse().read() == b'{"status":"ok"}'
    asked.close()
    print(time.monotonic() - began, flush=True)
"""
PATH = f"/v1/vineyards/{demo_weather.VINEYARD.key}/forecast"


def test_health_waits_for_no_forecast_and_too_many_are_sent_away(demo_database: Path, tmp_path: Path) -> None:
    shutil.copy(demo_database, tmp_path / "capfall.db")
    with serving(tmp_path) as served, served.client(300) as client:
        # Each another day, so that nothing is answered from what was computed before.
        days = [f"2026-05-{1 + day % 28:02}" for day in range(ASKED)]
        assert client.get(PATH, params={"as_of": "2026-04-30"}).status_code == 200

        def ask(asked: tuple[httpx2.Client, str]) -> tuple[int, bool]:
            answer = asked[0].get(PATH, params={"as_of": asked[1]})
            return answer.status_code, "retry-after" in answer.headers

        with subprocess.Popen(
            [sys.executable, "-c", LOOK, str(served.port)], stdin=PIPE, stdout=PIPE
        ) as looking:
            with ExitStack() as clients, ThreadPoolExecutor(ASKED) as pool:
                asking = [(clients.enter_context(served.client(300)), day) for day in days]
                came = Counter(pool.map(ask, asking))
            looks = [float(took) for took in looking.communicate(b"over")[0].split()]
        print(f"{came}; {len(looks)} looks, the longest {max(looks):.2f} s")
        assert set(came) <= {(200, False), (503, True)}
        assert came[503, True] > 0
        assert came[200, False] > 0
        assert max(looks) < LONGEST_LOOK_SECONDS
        assert client.get(PATH, params={"as_of": days[0]}).status_code == 200
