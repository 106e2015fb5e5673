"""A phone in a minute: two browsers, one of them phone-sized, over TLS on an address that is not the usual one."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import uvicorn

from service.app import create_app
from service.settings import Settings
from service.store import Store
from service.usecases.keys import make_key
from tests.access.certificates import self_signed
from tests.board.conftest import browser
from tests.board.serving import DESK, PHONE
from tests.board.test_in_browser import serious_violations

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

__all__ = ["browser"]

pytestmark = pytest.mark.browser

ADDRESS = "127.0.0.2"  # for a browser it is this machine, but not the address that open access is used at


@contextmanager
def served(database: Path, folder: Path) -> Iterator[str]:
    """The service with keys and a certificate of its own making."""
    cert, key = self_signed(folder, ADDRESS)
    app = create_app(Settings(database_url=f"sqlite:///{database}", access="keys"))
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            host=ADDRESS,
            port=0,
            log_level="error",
            ws="none",
            ssl_keyfile=key,
            ssl_certfile=cert,
            timeout_graceful_shutdown=2,
        )
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 60
    while not server.started:
        assert thread.is_alive()
        assert time.monotonic() < until
        time.sleep(0.05)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        yield f"https://{ADDRESS}:{port}"
    finally:
        server.should_exit = True
        thread.join(30)


@contextmanager
def opened(browser: Browser, size: dict[str, int], problems: list[str]) -> Iterator[Page]:
    """A page of a fresh profile, which takes the certificate as it is; what goes wrong in it is noted."""
    context = browser.new_context(
        viewport={"width": size["width"], "height": size["height"]}, ignore_https_errors=True
    )
    context.set_default_timeout(30_000)
    context.on("weberror", lambda error: problems.append(str(error.error)))
    context.on("response", lambda answer: problems.append(answer.url) if answer.status >= 500 else None)
    try:
        yield context.new_page()
    finally:
        context.close()


def test_a_desk_signs_in_a_phone_is_added_records_a_visit_and_is_revoked(
    browser: Browser, demo_database: Path, tmp_path: Path
) -> None:
    database = tmp_path / "demo.db"
    shutil.copy(demo_database, database)
    store = Store(f"sqlite:///{database}")
    with store.access() as access:
        access.rename_grower("local", "hill-farm")
        _, secret = make_key(access, name="Ann", role="manage", growers=["hill-farm"])
    problems: list[str] = []
    with (
        served(database, tmp_path) as service,
        opened(browser, DESK, problems) as desk,
        opened(browser, PHONE, problems) as phone,
    ):
        desk.goto(f"{service}/phones")
        assert serious_violations(desk) == []
        desk.get_by_label("Your key").fill(secret)
        desk.get_by_role("button", name="Sign in").click()
        desk.get_by_label("Whose phone it is").fill("Ida")
        assert serious_violations(desk) == []
        desk.get_by_role("button", name="Show the picture").click()
        assert desk.locator("svg.qr").bounding_box() is not None
        assert serious_violations(desk) == []
        link = desk.get_by_label("Or send the link").input_value()
        assert link.startswith(service)

        phone.goto(link)
        assert serious_violations(phone) == []
        phone.get_by_role("button", name="Add this phone").click()
        phone.wait_for_url("**/visit*")  # its one vineyard's form
        phone.goto(f"{service}/vineyards/sandlark-bend/visit?as_of=2026-05-20")
        phone.locator("select[name=block]").select_option(index=1)
        phone.locator(".tiles label").nth(3).click()
        phone.locator("form#visit button.thumb").click()
        phone.wait_for_selector("#said:has-text('Recorded')")
        with store.transaction("hill-farm", read_only=True) as records:
            assert records.changes.all(limit=1)[0].by == "Ida"

        phone.goto(f"{service}/roster?as_of=2026-05-20")
        assert serious_violations(phone) == []
        assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert "you are signed in as Ida" in phone.inner_text("main").replace("You", "you")
        phone.goto(f"{service}/vineyards/sandlark-bend/calendar")
        phone.get_by_role("button", name="Make a link").click()
        address = phone.locator("#link").input_value()
        assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert serious_violations(phone) == []
        calendar = phone.context.browser.new_context(ignore_https_errors=True)  # type: ignore[union-attr]
        assert calendar.request.get(address).text().startswith("BEGIN:VCALENDAR")

        desk.goto(f"{service}/phones")
        desk.get_by_label("Revoke Ida,").first.click()
        desk.get_by_role("button", name="Revoke Ida now").first.click()
        desk.wait_for_load_state()
        # Chromium runs no service worker behind a certificate of one's own making: what it would keep is put there
        phone.evaluate("caches.open('capfall-pages-1').then(c => c.put('/kept', new Response('kept')))")
        phone.goto(f"{service}/roster")
        assert phone.get_by_label("Your key").is_visible()
        phone.wait_for_function("caches.has('capfall-pages-1').then(kept => !kept)")
        assert calendar.request.get(address).status == 401
        calendar.close()
        assert problems == []
    store.close()
