"""The service on a port of this machine, and a real browser that may ask nothing else."""

from __future__ import annotations

import importlib.util
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import uvicorn

from service.app import create_app
from service.settings import Settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Response, Route

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 900}


def why_no_browser() -> str | None:
    """What is lacking for tests in a browser."""
    if not CHROMIUM.exists():
        return f"{CHROMIUM} is not installed (Debian's package chromium)"
    if importlib.util.find_spec("playwright") is None:
        return "playwright is not installed (pip install 'capfall[test]')"
    return None


class Served:
    """The service over one database; can be stopped and started again at the same address."""

    def __init__(self, database: Path) -> None:
        self._database = database
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port: int = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Serve, and return once the service answers."""
        app = create_app(Settings(database_url=f"sqlite:///{self._database}", access="open"))
        config = uvicorn.Config(
            app, host="127.0.0.1", port=self.port, log_level="error", ws="none", timeout_graceful_shutdown=2
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()
        until = time.monotonic() + 30
        while not self._server.started:
            assert self._thread.is_alive(), "the service did not start"
            assert time.monotonic() < until, "the service did not start in 30 s"
            time.sleep(0.02)

    def stop(self) -> None:
        """End, so that connections are refused."""
        self._server.should_exit = True
        self._thread.join(30)
        assert not self._thread.is_alive()


@contextmanager
def served(database: Path) -> Iterator[Served]:
    """The service, ended in the end."""
    service = Served(database)
    service.start()
    try:
        yield service
    finally:
        service.stop()


@contextmanager
def chromium() -> Iterator[Browser]:
    """Debian's Chromium without a window."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        try:
            yield browser
        finally:
            browser.close()


@dataclass
class Watch:
    """What went wrong in a browser's pages, beside what they show."""

    errors: list[str] = field(default_factory=list)
    foreign: list[str] = field(default_factory=list)
    forgiven: tuple[str, ...] = ()

    def clean(self) -> None:
        """Fail on a script error, a console error or a request to another machine."""
        told = [error for error in self.errors if not any(part in error for part in self.forgiven)]
        assert not told, told
        assert not self.foreign, self.foreign


@contextmanager
def watched(
    browser: Browser, size: dict[str, int], *, touch: bool = False, timezone: str | None = None
) -> Iterator[tuple[Page, Watch]]:
    """A page of a fresh browser profile; what it asks of other machines is refused and noted."""
    context = browser.new_context(
        viewport={"width": size["width"], "height": size["height"]}, has_touch=touch, timezone_id=timezone
    )
    context.set_default_timeout(20_000)
    watch = Watch()
    watch_context(context, watch)
    try:
        yield context.new_page(), watch
    finally:
        context.close()


def watch_context(context: BrowserContext, watch: Watch) -> None:
    """Note errors and foreign requests of all pages of a context."""

    def gate(route: Route) -> None:
        if urlsplit(route.request.url).hostname == "127.0.0.1":
            route.continue_()
        else:
            watch.foreign.append(route.request.url)
            route.abort()

    def note(message: ConsoleMessage) -> None:
        if message.type == "error":
            watch.errors.append(f"{message.text} ({message.location.get('url', '')})")

    def answered(response: Response) -> None:
        if response.status >= 500:
            watch.errors.append(f"{response.status} {response.url}")

    context.route("**/*", gate)
    context.on("console", note)
    context.on("weberror", lambda error: watch.errors.append(str(error.error)))
    context.on("response", answered)
