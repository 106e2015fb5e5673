"""Who has sent half a request does not hold up the end of the service."""

from __future__ import annotations

import os
import signal
import socket
import time
from pathlib import Path

import pytest

from tests.operation.processes import serving

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(os.name != "posix", reason="the service is stopped by a signal"),
]


@pytest.mark.parametrize(
    "half",
    [b"GET /healthz HT", b"POST /v1/fits HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 99\r\n\r\n{"],
)
def test_half_a_request_does_not_hold_up_a_stop(tmp_path: Path, half: bytes) -> None:
    with serving(tmp_path) as served, socket.create_connection(("127.0.0.1", served.port)) as slow:
        slow.sendall(half)
        time.sleep(0.3)
        began = time.monotonic()
        served.process.send_signal(signal.SIGTERM)
        served.process.wait(30)
        assert time.monotonic() - began < 12
