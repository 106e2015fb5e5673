"""The service as a process of its own, so that it can be killed."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx2

ROOT = Path(__file__).parents[2]
SERVE = ("-c", "from service.cli import app; app()", "serve")
WORKERS = ("-m", "uvicorn", "service.asgi:app", "--workers", "2", "--timeout-graceful-shutdown", "3")


@dataclass(frozen=True)
class Serving:
    """A process that serves, where it listens, and what it logs."""

    process: subprocess.Popen[bytes]
    port: int
    log: Path

    @property
    def address(self) -> str:
        """Before all paths."""
        return f"http://127.0.0.1:{self.port}"

    def client(self, seconds: float = 60) -> httpx2.Client:
        """Speaks with it."""
        return httpx2.Client(
            base_url=self.address, timeout=seconds, verify=False
        )  # reading certificates takes long


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


@contextmanager
def serving(
    folder: Path, *, how: Sequence[str] = SERVE, url: str | None = None, port: int | None = None
) -> Iterator[Serving]:
    """The service over ``capfall.db`` in a folder, or another database; ended in the end, if it still runs."""
    port = port or free_port()
    environment = {key: value for key, value in os.environ.items() if not key.startswith("CAPFALL_")}
    environment["PYTHONPATH"] = str(ROOT)
    if url is not None:
        environment["CAPFALL_DATABASE_URL"] = url
    log = folder / "service.log"
    with (
        log.open("ab") as told,
        subprocess.Popen(
            [sys.executable, *how, "--port", str(port)], cwd=folder, env=environment, stdout=told, stderr=told
        ) as process,
    ):
        served = Serving(process, port, log)
        try:
            wait_until_ready(served)
            yield served
        finally:
            if process.poll() is None:
                process.terminate()
            process.wait(60)


def wait_until_ready(served: Serving, seconds: float = 120) -> None:
    """Return once the service answers."""
    until = time.monotonic() + seconds
    with served.client(5) as client:
        while time.monotonic() < until:
            assert served.process.poll() is None, served.log.read_text()
            try:
                if client.get("/readyz").status_code == 200:
                    return
            except httpx2.TransportError:
                time.sleep(0.1)
    raise AssertionError(served.log.read_text())
