"""Whatever the API document allows, and what it does not, is answered as the document says: every check, both modes.

``CAPFALL_ASK_SECONDS=600 pytest -s tests/operation/test_any_request.py`` asks for that long; the usual run is a sample.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from tests.operation import any_lines
from tests.operation.processes import serving
from tests.operation.test_two_workers import put_past

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
SECONDS = int(os.environ.get("CAPFALL_ASK_SECONDS", "15"))
CONFIG = Path(__file__).with_name("any_request.toml")


def test_any_request_is_answered_as_the_document_says(tmp_path: Path) -> None:
    with serving(tmp_path) as served:
        with served.client() as client:
            put_past(client)
            assert (
                client.post("/v1/fits", json={"heat": {"method": "average", "base_c": 10}}).status_code == 201
            )
        command = [sys.executable, "-m", "schemathesis.cli", "--config-file", str(CONFIG)]
        command += ["run", f"{served.address}/openapi.json"]
        options = ["--mode", "all", "--phases", "examples,coverage,fuzzing", "--checks", "all", "--no-color"]
        limits = ["--max-time", str(SECONDS), "--seed", "20261126", "--request-timeout", "60"]
        asked = subprocess.run(
            [*command, *options, *limits, "--continue-on-failure", "--suppress-health-check", "all"],
            capture_output=True,
            text=True,
            timeout=SECONDS + 600,
            cwd=tmp_path,
            env={**os.environ, "SCHEMATHESIS_HOOKS": any_lines.__name__, "PYTHONPATH": str(ROOT)},
        )
    told = [json.loads(line) for line in served.log.read_text().splitlines() if line.startswith("{")]
    statuses = Counter(line["status"] // 100 for line in told if line["message"] == "request")
    print(f"{statuses.total()} requests, {statuses[2] / statuses.total():.0%} answered with 2xx: {statuses}")
    if asked.returncode != 0:
        print(asked.stdout)
    assert statuses[5] == 0, asked.stdout[-6000:]
    assert statuses[2] > 0
    assert asked.returncode == 0, asked.stdout[-6000:]
