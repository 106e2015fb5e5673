"""Take pictures of the board to look at: ``python -m tests.board.pictures FOLDER [SCENE ...]``.

Every scene at 390 and 1280 pixels, the board also as it prints; needs Debian's Chromium and Playwright.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page

from tests.board.scenes import SCENES, build
from tests.board.serving import DESK, PHONE, chromium, served, watched

PAGES = {"board": "", "visit": "/visit", "map": "/map", "skill": "/skill"}


def take(folder: Path, scenes: list[str]) -> None:
    """Take all pictures of some scenes."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place, chromium() as browser:
        for scene in scenes:
            database = Path(place) / f"{scene}.db"
            build(scene, database)
            _, vineyard, as_of = SCENES[scene]
            with served(database) as service:
                for size in (PHONE, DESK):
                    width = size["width"]
                    with watched(browser, size, touch=size is PHONE) as (page, watch):
                        _shoot(page, f"{service.address}/", folder / f"{scene}-start-{width}.png")
                        for name, path in PAGES.items():
                            address = f"{service.address}/vineyards/{vineyard}{path}?as_of={as_of}"
                            _shoot(page, address, folder / f"{scene}-{name}-{width}.png")
                            if name == "board":
                                _open_first(page, folder / f"{scene}-open-{width}.png")
                                if size is DESK:
                                    page.emulate_media(media="print")
                                    page.pdf(
                                        path=folder / f"{scene}-print.pdf",
                                        format="A4",
                                        print_background=False,
                                    )
                                    page.emulate_media(media="screen")
                        watch.clean()


def _shoot(page: Page, address: str, file: Path) -> None:
    page.goto(address, wait_until="networkidle")
    page.wait_for_timeout(300)
    page.screenshot(path=file, full_page=True)


def _open_first(page: Page, file: Path) -> None:
    group = page.locator("details.group").first
    if group.count():
        group.locator("summary").click()
        page.wait_for_timeout(200)
        group.screenshot(path=file)


if __name__ == "__main__":
    take(Path(sys.argv[1]), sys.argv[2:] or list(SCENES))
