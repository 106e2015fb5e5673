"""The pages of the year in a real browser: sound on a phone and on a desk, and used by keyboard and thumb alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.board.serving import Served, watched
from tests.board.test_in_browser import BOARD, SIZES, sound

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser


@SIZES
def test_layout_set_news_and_review_are_sound(
    size: dict[str, int], demo_service: Served, browser: Browser
) -> None:
    with watched(browser, size) as (page, watch):
        page.goto(f"{demo_service.address}{BOARD}/layout")
        sound(page, watch)
        page.select_option("#spare", "none")
        page.get_by_role("button", name="Search").click()
        page.wait_for_selector("h2:has-text('Answer')")
        assert "changed: all 14 past seasons" in page.inner_text("main")
        sound(page, watch)
        page.goto(f"{demo_service.address}{BOARD}/set")
        sound(page, watch)
        for day, field, count in (("2025-05-12", "#flowers", "50"), ("2025-06-20", "#berries", "14")):
            page.select_option("#block", "west-2")
            page.fill("#date", day)
            page.fill("#cluster", "7")
            page.fill(field, count)
            page.get_by_role("button", name="Record").click()
            page.wait_for_selector("h2:has-text('What the counts say')")
        assert "28 %" in page.inner_text("main")
        sound(page, watch)
        for name in ("news?since=2026-05-20", "review?season=2025"):
            page.goto(f"{demo_service.address}{BOARD}/{name}")
            assert page.locator("h1").count() == 1
            sound(page, watch)
