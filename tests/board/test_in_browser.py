"""The board in a real browser: what a grower does, on a phone and on a desk."""

from __future__ import annotations

import json
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import demo_weather
from tests.board.scenes import SCENES
from tests.board.serving import DESK, PHONE, Served, Watch, watched

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser
SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])

BOARD = f"/vineyards/{demo_weather.VINEYARD.key}"
DEMO_BOARD = f"{BOARD}?as_of={demo_weather.AS_OF}"
REFUSED_FORM = "the server responded with a status of 422"
NO_CONNECTION = ("ERR_CONNECTION_REFUSED", "Failed to fetch")


def test_first_use_from_files(fresh_service: Served, browser: Browser, tmp_path: Path) -> None:
    files = demo_files(tmp_path)
    with watched(browser, PHONE, touch=True, timezone="America/Chicago") as (page, watch):
        page.goto(fresh_service.address)
        assert "No vineyard yet" in page.inner_text("main")
        sound(page, watch)
        assert page.input_value("#timezone") == "America/Chicago"
        fill_first_use(page, "Low Meadow", files)
        page.get_by_role("button", name="Make the vineyard").click()
        page.wait_for_selector("h1:has-text('Low Meadow is made')")
        assert "No vineyard yet" not in page.inner_text("main")
        made = page.request.get(f"{fresh_service.address}/v1/vineyards/low-meadow").json()
        assert made["timezone"] == "America/Chicago"
        sound(page, watch)  # the gap in the demo's weather and its slip are told
        page.get_by_role("link", name="To the season board").click()
        page.wait_for_selector("h1:has-text('Low Meadow')")
        assert page.locator("details.group").count() > 0
        sound(page, watch)


@SIZES
def test_an_upload_with_errors_names_the_lines_stores_nothing_and_can_be_mended(
    size: dict[str, int], fresh_service: Served, browser: Browser, tmp_path: Path
) -> None:
    files = demo_files(tmp_path)
    good = {name: path.read_text() for name, path in files.items()}
    lines = good["temperatures"].splitlines()
    lines[6] = "2012-02-31,3,9"
    files["temperatures"].write_text("\n".join(lines))
    files["planting"].write_text(
        good["planting"].replace("west-2,Copper Lull,pistillate", "west-2,Copper Lull,sturdy")
    )
    with watched(browser, size) as (page, watch):
        watch.forgiven = (REFUSED_FORM,)
        page.goto(fresh_service.address)
        fill_first_use(page, "Low Meadow", files)
        page.get_by_role("button", name="Make the vineyard").click()
        faults = page.locator("[role=alert]")
        faults.wait_for()
        told = faults.inner_text()
        assert "Line 7" in told
        assert "31 February 2012 does not exist" in told
        assert "Line 3" in told
        assert "sturdy" in told
        page.wait_for_function("document.activeElement.id === 'faults'")
        assert page.input_value("#name") == "Low Meadow"
        assert asked(fresh_service, "/v1/vineyards")["vineyards"] == []
        assert asked(fresh_service, "/v1/stations")["stations"] == []
        assert asked(fresh_service, "/v1/cultivars")["cultivars"] == []
        sound(page, watch)
        for name, path in files.items():
            path.write_text(good[name])
        fill_first_use(page, "Low Meadow", files)
        page.get_by_role("button", name="Make the vineyard").click()
        page.wait_for_selector("h1:has-text('Low Meadow is made')")
        sound(page, watch)


@SIZES
def test_files_stay_chosen_after_an_error_and_are_looked_over_before_they_are_stored(
    size: dict[str, int], demo_service: Served, browser: Browser, tmp_path: Path
) -> None:
    good, bad = tmp_path / "week.csv", tmp_path / "walk.csv"
    good.write_text("date,tmin_c,tmax_c\n2026-05-20,16,29\n2026-05-21,16.5,29.5\n")
    bad.write_text("date,block,percent_open\n2026-05-20,nowhere,3\n")
    with watched(browser, size) as (page, watch):
        watch.forgiven = (REFUSED_FORM,)
        page.goto(f"{demo_service.address}{BOARD}/data")
        page.set_input_files("#temperatures", good)
        page.set_input_files("#visits", bad)
        page.get_by_role("button", name="Look over").click()
        page.locator("[role=alert]").wait_for()
        refused = page.inner_text("[role=alert]")
        assert "nowhere" in refused
        assert "The files stay chosen: choose again only those that you changed." in refused
        page.wait_for_function("document.activeElement.id === 'faults'")
        sound(page, watch)
        bad.write_text("date,block,percent_open\n2026-05-20,west-4,3\n")
        page.set_input_files("#visits", bad)  # the other file is still chosen
        page.get_by_role("button", name="Look over").click()
        page.wait_for_selector("#preview")
        told = page.inner_text("#answer")
        assert "2 new, 0 changed, 0 as before" in told
        assert "1 new, 0 changed, 0 as before" in told
        sound(page, watch)
        assert len(visits(demo_service)) == 12
        page.get_by_role("button", name="Apply").click()
        page.wait_for_url("**/data?change=*")
        assert "Known from 1 January 2012 through 21 May 2026" in page.inner_text("#files")
        assert len(visits(demo_service)) == 13
        page.get_by_role("button", name="Undo").click()
        page.wait_for_url("**/changes?change=*")
        assert len(visits(demo_service)) == 12
        sound(page, watch)


@pytest.mark.parametrize(
    "path",
    ["/data", "/visits", "/log", "/planting", "/block?block=west-1", "/settings", "/changes", "/sheet"],
)
def test_every_page_of_upkeep_is_sound(path: str, demo_service: Served, browser: Browser) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        page.goto(demo_service.address + BOARD + path)
        sound(page, watch)
        page.set_viewport_size({"width": DESK["width"], "height": DESK["height"]})
        sound(page, watch)
        link = page.locator(".rows li a, .log td a").first
        if link.count():  # what opens from a list
            link.click()
            page.wait_for_load_state()
            sound(page, watch)


@SIZES
def test_the_demo_is_one_click_and_twice_is_once(
    size: dict[str, int], fresh_service: Served, browser: Browser
) -> None:
    with watched(browser, size) as (page, watch):
        for _ in range(2):
            page.goto(fresh_service.address)
            page.get_by_role("button", name="Try the demo").click()
            page.wait_for_url(f"**{DEMO_BOARD}")
        levels = [told.strip() for told in page.locator(".cause .level").all_text_contents()]
        assert levels == sorted(levels)
        assert {"Act", "Watch"} <= set(levels)
        assert page.locator("details.group.act", has_text="west-4").count() == 1
        sound(page, watch)
        assert len(asked(fresh_service, "/v1/vineyards")["vineyards"]) == 1
        assert len(asked(fresh_service, "/v1/fits")["fits"]) == 1


@SIZES
def test_a_visit_moves_the_windows(size: dict[str, int], demo_service: Served, browser: Browser) -> None:
    with watched(browser, size) as (page, watch):
        page.goto(demo_service.address + DEMO_BOARD)
        before = window(page, "west-2")
        page.get_by_role("link", name="Record a visit", exact=True).click()
        page.select_option("#block", "west-2")
        sound(page, watch)
        page.get_by_label("75", exact=True).check()
        page.get_by_role("button", name="Record", exact=True).click()
        page.wait_for_selector("#said:has-text('Recorded: west-2')")
        assert page.locator("#kept").is_hidden()
        sound(page, watch)
        page.get_by_role("link", name="To the season board").click()
        page.wait_for_selector("[role=status]:has-text('west-2')")
        after = window(page, "west-2")
        assert after != before
        assert "full bloom seen" in after
        sound(page, watch)


def test_an_exact_number_counts_instead_of_a_tile(demo_service: Served, browser: Browser) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        page.goto(f"{demo_service.address}{BOARD}/visit?as_of=2026-05-20")
        page.select_option("#block", "middle-2")
        page.get_by_label("75", exact=True).check()
        page.locator("summary", has_text="An exact number").click()
        page.fill("#exact", "12.5")
        page.get_by_role("button", name="Record", exact=True).click()
        page.wait_for_selector("#said:has-text('12.5 %')")
        watch.clean()
    stored = [visit for visit in visits(demo_service) if visit["block"] == "middle-2"]
    assert [visit["percent_open"] for visit in stored] == [12.5]


def test_a_visit_is_kept_without_a_connection_and_sent_later(demo_service: Served, browser: Browser) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        watch.forgiven = NO_CONNECTION
        page.goto(f"{demo_service.address}{BOARD}/visit?as_of=2026-05-20")
        wait_until_kept(page, f"{BOARD}/visit")
        demo_service.stop()
        page.select_option("#block", "west-4")
        page.get_by_label("10", exact=True).check()
        page.get_by_role("button", name="Record", exact=True).click()
        page.wait_for_selector("#said:has-text('No connection')")
        assert "west-4, 2026-05-20: 10 % of caps off" in page.inner_text("#kept-list")
        page.reload()  # the form opens without the service, and still knows of the visit
        page.wait_for_selector("#kept-list li")
        assert "waiting" in page.inner_text("#kept-list")
        serious = serious_violations(page)
        assert serious == []
        demo_service.start()
        page.get_by_role("button", name="Send now").click()
        page.wait_for_selector("#said:has-text('Recorded: west-4')")
        assert page.locator("#kept").is_hidden()
        watch.clean()
    assert [visit["percent_open"] for visit in visits(demo_service) if visit["date"] == "2026-05-20"] == [10]


@pytest.mark.parametrize(
    ("status", "media_type", "body"),
    [
        (200, "text/html", "<html><title>Sign in to this network</title></html>"),
        (403, "text/html", "<html>Forbidden</html>"),
        (200, "application/json", '{"portal": true}'),
        (
            403,
            "application/problem+json",
            '{"type": "/problems/forbidden", "detail": "another key is needed"}',
        ),
    ],
)
def test_a_visit_leaves_the_phone_only_on_the_services_own_receipt(
    status: int, media_type: str, body: str, demo_service: Served, browser: Browser
) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        watch.forgiven = ("status of 403",)
        page.goto(f"{demo_service.address}{BOARD}/visit?as_of=2026-05-20")
        page.route(
            "**/v1/**/visits", lambda route: route.fulfill(status=status, content_type=media_type, body=body)
        )
        record(page, "west-4", "10")
        page.wait_for_selector("#said:has-text('kept on this phone')")
        stands = "not sent: this key may not record" if "forbidden" in body else "waiting"
        assert f"west-4, 2026-05-20: 10 % of caps off – {stands}" in page.inner_text("#kept-list")
        assert page.get_by_text("as soon as the service can be reached").is_visible() == (stands == "waiting")
        page.unroute("**/v1/**/visits")
        page.get_by_role("button", name="Send now").click()
        page.wait_for_selector("#said:has-text('Recorded: west-4')")
        watch.clean()
    assert [visit["percent_open"] for visit in visits(demo_service) if visit["date"] == "2026-05-20"] == [10]


def test_a_trip_leads_from_block_to_block_and_a_visit_can_be_undone_in_sight(
    demo_service: Served, browser: Browser
) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        page.goto(f"{demo_service.address}{BOARD}/visit?as_of=2026-05-20&trip=2026-05-24")
        assert "Trip of Sunday 24 May 2026" in page.inner_text("main")
        page.locator("[data-block=west-2]").click()
        assert page.input_value("#block") == "west-2"
        record(page, None, "10")
        page.wait_for_selector("#today:has-text('west-2: 10 % of caps off')")
        assert page.input_value("#block") == "west-3"  # the next one of the trip
        before = len(visits(demo_service))
        page.get_by_role("button", name="Undo").click()
        page.wait_for_selector("#said:has-text('Undone: that visit counts no more.')")
        assert len(visits(demo_service)) == before - 1
        assert page.locator("#today li").count() == 0
        for percent in ("10", "25"):  # the second takes the place of the first, in the list too
            page.locator("[data-block=west-2]").click()
            record(page, None, percent)
            page.wait_for_selector(f"#today:has-text('west-2: {percent} % of caps off')")
        assert page.locator("#today li").count() == 1
        page.get_by_role("button", name="Undo").click()
        page.wait_for_selector("#said:has-text('Undone: the visit counts again as it was before')")
        assert "west-2: 10 % of caps off" in page.inner_text("#today")
        doubted = json.dumps(
            {
                "vineyard": demo_weather.VINEYARD.key,
                "rows_read": 1,
                "warnings": ["bloom_end not yet on 2026-11-27"],
            }
        )
        page.route(
            "**/v1/**/visits", lambda route: route.fulfill(content_type="application/json", body=doubted)
        )
        record(page, "west-4", "10")
        page.wait_for_selector("#said:has-text('Please look again: bloom end not yet on 2026-11-27')")
        assert (page.locator("#today a").get_attribute("href") or "").startswith(f"{BOARD}/visits/")
        tabs = page.locator(".top nav li")
        places = [tab.bounding_box() for tab in tabs.all()]
        assert len({place["y"] for place in places if place}) == 1  # all in one row
        assert all(
            place and place["x"] >= 0 and place["x"] + place["width"] <= PHONE["width"] for place in places
        )
        sound(page, watch)


def test_a_form_from_yesterday_asks_for_today(demo_service: Served, browser: Browser) -> None:
    with watched(browser, PHONE, touch=True, timezone="Pacific/Kiritimati") as (page, watch):
        page.goto(f"{demo_service.address}{BOARD}/visit")
        page.evaluate("document.querySelector('#date').value = '2020-01-01'")
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        there = page.evaluate("new Intl.DateTimeFormat('en-CA').format(new Date())")
        assert page.input_value("#date") == there
        page.fill("#date", "2026-05-01")  # what was chosen stays
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        assert page.input_value("#date") == "2026-05-01"
        watch.clean()


def test_the_board_of_the_last_visit_can_be_read_without_a_connection(
    demo_service: Served, browser: Browser
) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        watch.forgiven = NO_CONNECTION
        page.goto(demo_service.address + BOARD)
        wait_until_kept(page, BOARD)
        page.reload()
        told = page.inner_text(".state")
        demo_service.stop()
        page.goto(demo_service.address + DEMO_BOARD)
        assert page.inner_text(".state") == told
        assert "No answer from the service. This page is as it was on" in page.inner_text("main")
        assert serious_violations(page) == []
        demo_service.start()
        page.goto(demo_service.address + DEMO_BOARD)
        assert "No answer" not in page.inner_text("main")
        watch.clean()


def test_a_refused_visit_says_why_and_can_be_discarded(demo_service: Served, browser: Browser) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        watch.forgiven = (REFUSED_FORM,)
        page.goto(f"{demo_service.address}{BOARD}/visit?as_of=2026-05-20")
        page.evaluate("document.querySelector('#block').add(new Option('gone', 'gone'))")
        page.select_option("#block", "gone")
        page.get_by_label("10", exact=True).check()
        page.get_by_role("button", name="Record", exact=True).click()
        page.wait_for_selector("#kept-list:has-text('Refused, and not sent again: ')")
        assert page.get_by_text("as soon as the service can be reached").is_hidden()
        page.get_by_role("button", name="Discard").click()
        assert page.locator("#kept").is_hidden()
        watch.clean()


def test_a_calendar_link_leads_to_a_calendar(demo_service: Served, browser: Browser) -> None:
    with watched(browser, DESK) as (page, watch):
        page.goto(demo_service.address + DEMO_BOARD)
        page.get_by_role("link", name="Calendar", exact=True).click()
        page.get_by_role("button", name="Make a link").click()
        assert serious_violations(page) == []
        answer = page.request.get(page.get_by_label("The address").input_value())
        assert answer.ok
        assert answer.headers["content-type"].startswith("text/calendar")
        assert "BEGIN:VEVENT" in answer.text()
        page.goto(f"{demo_service.address}/everything")
        sound(page, watch)


@SIZES
def test_day_interval_and_units_can_be_changed(
    size: dict[str, int], demo_service: Served, browser: Browser
) -> None:
    with watched(browser, size) as (page, watch):
        page.goto(demo_service.address + DEMO_BOARD)
        assert "°C·day" in page.inner_text("main")
        narrow = band_width(page)
        page.locator("summary", has_text="Look back").click()
        page.select_option("#interval", "0.95")
        page.select_option("#units", "us")
        page.fill("#as_of", "2026-05-12")
        page.get_by_role("button", name="Show").click()
        page.wait_for_url("**as_of=2026-05-12**")
        assert "°F·day" in page.inner_text("main")
        assert "Tuesday 12 May 2026" in page.inner_text(".asof")
        assert "50 ft" in page.inner_text("main")
        assert band_width(page) > narrow
        sound(page, watch)
        page.get_by_role("link", name="Map").click()
        assert "50 ft" in page.inner_text("main")
        sound(page, watch)


def test_a_block_opens_by_keyboard_and_tells_its_numbers(demo_service: Served, browser: Browser) -> None:
    with watched(browser, DESK) as (page, watch):
        page.goto(demo_service.address + DEMO_BOARD)
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "To the content"
        group = page.locator("details.group", has_text="west-4").first
        group.locator("summary").focus()
        page.keyboard.press("Enter")
        assert "bloom start" in group.inner_text()
        assert "source west-3" in group.inner_text()
        assert "Lost without it" in group.inner_text()
        sound(page, watch)


def test_the_first_screen_of_a_phone_says_how_it_stands_and_what_to_do(
    demo_service: Served, browser: Browser
) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        page.goto(demo_service.address + DEMO_BOARD)
        state = page.inner_text(".state")
        assert state.startswith("West-1 is in bloom, west-2 and west-3 are due any day")
        assert "3 of 7 pistillate blocks are likely to lack pollen, first east-2 from 1 June" in state
        week = page.locator(".week")
        place = week.bounding_box()
        assert place is not None
        assert place["y"] + place["height"] < PHONE["height"]
        week.get_by_role("link", name="west-3").click()
        page.wait_for_url("**/visit?**block=west-3**")
        assert "west-3" in page.inner_text("main")
        watch.clean()


def test_now_and_two_weeks_hold_what_blooms_then(demo_service: Served, browser: Browser) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        page.goto(demo_service.address + DEMO_BOARD)
        blocks = page.locator("details.group")
        assert blocks.count() == 13
        page.get_by_role("link", name="Now 3").click()
        assert page.locator(".group > summary .who > b").all_text_contents() == ["west-1", "west-2", "west-3"]
        page.get_by_role("link", name="14 days").click()
        told = page.locator(".group > summary .who > b").all_text_contents()
        assert "middle-1" in told
        assert "north-1" not in told  # its interval begins on 6 June
        sound(page, watch)


@pytest.mark.parametrize("scene", ["forty_blocks"])
def test_forty_blocks_stand_on_eight_screens_of_a_phone(scene_service: Served, browser: Browser) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        for day in ("2026-05-20", "2026-05-29", "2026-06-05"):
            page.goto(f"{scene_service.address}/vineyards/forty?as_of={day}")
            assert page.evaluate("document.documentElement.scrollHeight") < 8 * PHONE["height"]
        watch.clean()


def test_paper_holds_what_the_screen_folds_away(demo_service: Served, browser: Browser) -> None:
    with watched(browser, DESK) as (page, watch):
        page.goto(demo_service.address + DEMO_BOARD)
        hidden = page.get_by_text("depends mostly on one pollen source").first
        assert not hidden.is_visible()
        page.pdf()
        assert hidden.is_visible()
        watch.clean()


def test_a_tap_on_the_heat_chart_gives_the_numbers(demo_service: Served, browser: Browser) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        page.goto(demo_service.address + DEMO_BOARD)
        page.locator("summary", has_text="Heat this season").click()
        chart = page.locator("#heat-chart svg.plot")
        chart.scroll_into_view_if_needed()
        place = chart.bounding_box()
        assert place is not None
        assert "past:" not in page.inner_text("#heat-chart")
        page.touchscreen.tap(place["x"] + 200, place["y"] + 150)
        page.wait_for_selector("#heat-chart [data-reading]:has-text('past:')")
        page.locator("summary", has_text="Heat as a table").click()
        assert "past median" in page.inner_text("main")
        watch.clean()


@SIZES
def test_the_map_marks_the_uncovered_blocks_in_words(
    size: dict[str, int], demo_service: Served, browser: Browser
) -> None:
    with watched(browser, size) as (page, watch):
        page.goto(f"{demo_service.address}{BOARD}/map?as_of=2026-05-20")
        assert "No viable pollen source within 15.24 m of east-2 and north-1." in page.inner_text("main")
        assert page.locator("svg.planting text.alarm:text-is('no pollen')").count() == 2
        assert page.locator("svg.planting path.uncovered").count() == 2
        assert page.locator("svg.planting").is_visible() == (size == DESK)  # a phone has the list
        assert page.locator(".key circle.reach").is_visible() == (size == DESK)
        assert page.get_by_text("Turn the phone").is_visible() == (size == PHONE)
        if size == PHONE:
            page.set_viewport_size({"width": PHONE["height"], "height": PHONE["width"]})
            assert page.locator("svg.planting").is_visible()
        assert "no pollen likely from 5 June" in page.inner_text(".places")
        sound(page, watch)


@pytest.mark.parametrize(
    "path", ["?as_of=2026-05-20", "/visit", "/map?as_of=2026-05-20", "/data", "/log", "/sheet"]
)
def test_pages_can_be_read_in_the_dark(path: str, demo_service: Served, browser: Browser) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        page.emulate_media(color_scheme="dark")
        page.goto(demo_service.address + BOARD + path)
        background = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
        assert background == "rgb(28, 25, 23)"
        sound(page, watch)


def test_pages_in_spanish_are_sound_and_a_visit_is_answered_in_it(
    demo_service: Served, browser: Browser
) -> None:
    with watched(browser, PHONE, touch=True) as (page, watch):
        page.goto(f"{demo_service.address}{DEMO_BOARD}&lang=es", wait_until="networkidle")
        sound(page, watch)  # axe holds the page against its lang attribute too
        page.goto(f"{demo_service.address}{BOARD}/sheet?as_of=2026-05-20")
        assert "Cómo estimar" in page.inner_text("main")
        sound(page, watch)
        page.goto(f"{demo_service.address}{BOARD}/visit?as_of=2026-05-20")
        page.select_option("#block", "west-4")
        page.get_by_label("10", exact=True).check()
        page.get_by_role("button", name="Registrar", exact=True).click()
        page.wait_for_selector("#said:has-text('Registrado: west-4, 2026-05-20: 10 % de capuchones caídos')")
        page.get_by_role("button", name="Deshacer").click()
        page.wait_for_selector("#said:has-text('esa visita ya no cuenta')")
        sound(page, watch)
        page.get_by_role("link", name="English").click()
        page.wait_for_url("**lang=en")
        assert "Record a visit" in page.inner_text("h1")


@pytest.mark.parametrize("scene", SCENES)
def test_every_page_of_every_scene_is_sound(scene: str, scene_service: Served, browser: Browser) -> None:
    _, vineyard, as_of = SCENES[scene]
    with watched(browser, PHONE) as (page, watch):
        for path in ("", "/visit", "/map", "/skill"):
            address = f"{scene_service.address}/vineyards/{vineyard}{path}?as_of={as_of}"
            page.goto(address, wait_until="networkidle")
            sound(page, watch)
            page.set_viewport_size({"width": DESK["width"], "height": DESK["height"]})
            sound(page, watch)
            page.set_viewport_size({"width": PHONE["width"], "height": PHONE["height"]})


@pytest.mark.parametrize("scene", ["few_seasons"])
def test_the_hindcast_runs_with_a_bar_and_ends_in_pictures(scene_service: Served, browser: Browser) -> None:
    with watched(browser, DESK) as (page, watch):
        page.goto(f"{scene_service.address}/vineyards/few/skill")
        assert "No hindcast of this fit was run yet" in page.inner_text("main")
        page.get_by_role("button", name="Run the hindcast").click()
        page.locator("progress").wait_for()
        sound(page, watch)
        page.locator("#scatter").wait_for(timeout=120_000)
        for chart in ("scatter-chart", "error-chart", "coverage-chart"):
            page.locator(f"#{chart} svg.plot").first.wait_for()
        assert page.locator("table", has_text="Own past dates").locator("tbody tr").count() > 3
        sound(page, watch)
        page.select_option("#lead", "known weather")
        page.select_option("#stage", "bloom_end")
        page.get_by_role("button", name="Show").click()
        page.wait_for_selector("h2:has-text('bloom end, known weather')")
        page.set_viewport_size({"width": PHONE["width"], "height": PHONE["height"]})
        sound(page, watch)
        api = f"{scene_service.address}/v1/vineyards/few"
        earlier = page.request.get(f"{api}/fit").json()["fit"]
        row = {"Content-Type": "text/csv"}, "season,block,bloom_start\n2021,west-1,2021-05-16\n"
        assert page.request.post(f"{api}/bloom-log", headers=row[0], data=row[1]).ok
        rule = {"method": "average", "base_c": 10, "accumulate_from": "01-01"}
        made = page.request.post(
            f"{scene_service.address}/v1/fits", data={"vineyards": ["few"], "heat": rule}
        )
        assert made.ok, made.text()
        page.goto(f"{scene_service.address}/vineyards/few/skill")
        assert "No hindcast of this fit was run yet" in page.inner_text("main")
        page.get_by_text("Hindcasts of other fits").click()
        page.get_by_role("link", name=earlier).click()
        page.locator("#scatter-chart svg.plot").wait_for()
        assert f"This is fit {earlier}, which is not in use" in page.inner_text("main")
        assert page.get_by_role("button", name="Run the hindcast").count() == 0
        sound(page, watch)


@pytest.mark.parametrize("scene", ["overdue"])
def test_an_overdue_block_says_so(scene_service: Served, browser: Browser) -> None:
    with watched(browser, PHONE) as (page, watch):
        page.goto(f"{scene_service.address}{BOARD}?as_of=2026-06-12")
        assert "overdue, visits say not yet later than usual" in window(page, "west-4")
        assert "presumed past, not seen" in window(page, "east-2")
        watch.clean()


def sound(page: Page, watch: Watch) -> None:
    """No error, nothing asked of another machine, nothing wider than the window, no serious violation of WCAG."""
    assert serious_violations(page) == []
    too_wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert too_wide <= 0
    watch.clean()


def serious_violations(page: Page) -> list[str]:
    """What axe-core finds on the page as it stands."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page).response["violations"]
    return [
        f"{each['id']}: {each['nodes'][0]['html'][:200]}"
        for each in found
        if each["impact"] in ("serious", "critical")
    ]


def demo_files(folder: Path) -> dict[str, Path]:
    """The demo's files on disk, by the field of the form that takes them."""
    paths = {}
    for name in ("temperatures", "planting", "bloom_log", "visits"):
        paths[name] = folder / f"{name}.csv"
        paths[name].write_bytes(demo_weather.files()[f"{name}.csv"])
    return paths


def fill_first_use(page: Page, name: str, files: dict[str, Path]) -> None:
    """Fill in the form for a new vineyard."""
    page.fill("#name", name)
    page.fill("#latitude", "31.1")
    page.fill("#longitude", "-87.3")
    for field, path in files.items():
        page.set_input_files(f"#{field}", path)


def record(page: Page, block: str | None, percent: str) -> None:
    """Fill in the form for a visit, and send it."""
    if block is not None:
        page.select_option("#block", block)
    page.get_by_label(percent, exact=True).check()
    page.get_by_role("button", name="Record", exact=True).click()


def wait_until_kept(page: Page, path: str) -> None:
    """Wait until a page can be opened without a connection."""
    page.evaluate(
        """async (path) => {
            const cache = await caches.open("capfall-pages-2");
            while (!(await cache.match(path))) await new Promise((go) => setTimeout(go, 50));
        }""",
        path,
    )


def window(page: Page, block: str) -> str:
    """What the board says beside a block's name, in its first row."""
    row = page.locator(".row", has=page.locator(f".who b:text-is('{block}')")).first
    return row.locator(".unseen").inner_text()


def band_width(page: Page) -> float:
    """How wide the first interval is drawn, in pixels."""
    box = page.locator(".season .band").first.bounding_box()
    assert box is not None
    return box["width"]


def asked(service: Served, path: str) -> Any:
    """What the API answers."""
    with urllib.request.urlopen(service.address + path) as answer:
        return json.load(answer)


def visits(service: Served) -> list[dict[str, Any]]:
    """All visits of the demo's vineyard."""
    found: list[dict[str, Any]] = asked(service, f"/v1{BOARD}/visits")["visits"]
    return found
