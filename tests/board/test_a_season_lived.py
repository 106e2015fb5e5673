"""A season on a phone, by the pages alone: an invented vineyard of known dates, from first use to the next winter."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.special import expit, logit
from scipy.stats import binom

from models.stages import BLOOM_STAGES
from models.units import FloatArray
from tests.api.past_seasons import (
    AFTER_START,
    SEASONS,
    THIS_SEASON,
    Days,
    days_of,
    log_csv,
    season_heats,
    weather,
)
from tests.board.serving import PHONE, Served, watched
from tests.hindcast.past import weather_csv

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

SEED = 2015
CULTIVARS = ("Amber Wick", "Brook Latch", "Clover Pin", "Dell Ferrule")
BLOCKS = tuple(f"{row}-{number}" for row in ("amber", "brook", "clover", "dell") for number in (1, 2))
BOARD = "/vineyards/ferry-slope"
INTERVAL = 0.8
RARELY = 0.001  # how often so few dates, or fewer, would lie within their intervals by chance
A_WEEK = dt.timedelta(days=7)


@dataclass(frozen=True)
class Truth:
    """Heat at the bloom stages by season and block [°C·day], and the days of it."""

    heats: dict[tuple[int, str], FloatArray]
    days: Days

    def came(self, block: str) -> dict[str, dt.date]:
        """This season's days by stage."""
        return dict(zip(BLOOM_STAGES, self.days[THIS_SEASON, block], strict=True))

    def percent(self, block: str, day: dt.date) -> float:
        """Caps off this season: a logistic in heat through 10 % at the start and 95 % at the end."""
        heat, needed = season_heats()[THIS_SEASON], self.heats[THIS_SEASON, block]
        slope = (logit(0.95) - logit(0.1)) / (needed[2] - needed[0])
        had = heat.accumulated[(day - heat.window.start).days]
        return round(100 * float(expit(logit(0.1) + slope * (had - needed[0]))), 1)


def invented() -> Truth:
    """Eight blocks of four cultivars; what a season shares, and what is a block's own, are drawn."""
    random = np.random.default_rng(SEED)
    heats = {}
    for season in [*SEASONS, THIS_SEASON]:
        shared = random.normal(0, 20)
        for place, block in enumerate(BLOCKS):
            own = np.cumsum([random.normal(0, 10), *random.normal(0, 5, 2)])
            heats[season, block] = 380.0 + 25.0 * (place // 2) + AFTER_START + shared + own
    return Truth(heats, days_of(heats))


def planting_csv() -> str:
    """Two blocks a row, sources and pistillate ones in turn."""
    rows = [
        f"{block},{CULTIVARS[place // 2]},{('perfect', 'pistillate')[place // 2 % 2]},{4 * place},0,12"
        for place, block in enumerate(BLOCKS)
    ]
    return "\n".join(["block,cultivar,flower_type,x_m,y_m,vines", *rows]) + "\n"


def days_csv(first: dt.date, last: dt.date) -> str:
    """Temperatures from one day through another."""
    header, *rows = weather_csv(weather()).strip().splitlines()
    return "\n".join([header, *(row for row in rows if str(first) <= row[:10] <= str(last))]) + "\n"


class Grower:
    """Somebody with a phone, who does all by the pages; the API only judges."""

    def __init__(self, page: Page, address: str, folder: Path) -> None:
        self.page, self.address, self.folder = page, address, folder
        self.compared = 0

    def open(self, path: str = "") -> None:
        """One of the vineyard's pages."""
        self.page.goto(f"{self.address}{BOARD}{path}")
        wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        assert self.page.evaluate(wide) <= 0, path

    def asked(self, path: str) -> Any:
        """What the API says."""
        answer = self.page.request.get(f"{self.address}/v1{path}")
        assert answer.ok, answer.text()
        return answer.json()

    def file(self, name: str, text: str) -> Path:
        """A file on the phone."""
        path = self.folder / f"{name}.csv"
        path.write_text(text)
        return path

    def begin(self, truth: Truth, today: dt.date) -> None:
        """First use: a vineyard from three files."""
        self.page.goto(self.address)
        for field, text in (("name", "Ferry Slope"), ("latitude", "33.5"), ("longitude", "-84")):
            self.page.fill(f"#{field}", text)
        files = {
            "temperatures": days_csv(dt.date.min, today - dt.timedelta(days=1)),
            "planting": planting_csv(),
            "bloom_log": log_csv(truth.days),
        }
        for field, text in files.items():
            self.page.set_input_files(f"#{field}", self.file(field, text))
        self.page.get_by_role("button", name="Make the vineyard").click()
        self.page.wait_for_selector("h1:has-text('Ferry Slope')", timeout=120_000)

    def send(self, field: str, text: str, said: str) -> None:
        """Upload a file: looked over, then stored."""
        self.open("/data")
        self.page.set_input_files(f"#{field}", self.file(field, text))
        self.page.get_by_role("button", name="Look over").click()
        self.page.wait_for_selector(f"#answer:has-text('{said}')")
        self.page.get_by_role("button", name="Apply").click()
        self.page.wait_for_selector("text=Done.")

    def record(self, block: str, percent: float) -> str:
        """Record a visit of today, and what is said of it."""
        self.open("/visit")
        self.page.select_option("#block", block)
        self.page.get_by_text("An exact number").click()
        self.page.fill("#exact", f"{percent:g}")
        self.page.get_by_role("button", name="Record", exact=True).click()
        self.page.wait_for_selector("#said:has-text('Recorded')")
        return self.page.inner_text("#said")

    def undo(self) -> None:
        """Take back what was just recorded."""
        self.page.get_by_role("button", name="Undo").click()
        self.page.wait_for_selector("#said:has-text('Undone')")

    def correct(self, block: str, percent: float) -> None:
        """Change the last visit of a block."""
        self.open("/visits")
        self.page.locator("ul.rows li", has_text=block).first.get_by_role("link").first.click()
        self.page.fill("#percent_open", f"{percent:g}")
        self.page.get_by_role("button", name="Store").click()
        self.page.wait_for_selector("text=Done.")

    def dates(self, today: dt.date) -> dict[tuple[str, str], dict[str, Any]]:
        """What the API tells of each block's stages, once the page was found to say the same."""
        self.open()
        told = self.page.evaluate(
            """() => Object.fromEntries([...document.querySelectorAll("details.group")].map((group) => {
                const tables = [...group.querySelectorAll("table")];
                const rows = [...tables.find((each) => each.caption.textContent.startsWith("Dates")).tBodies[0].rows];
                const text = (cell) => cell.textContent.trim();
                const lines = rows.map((row) => [...row.querySelectorAll("td")].slice(0, 4).map(text));
                return [rows[0].querySelector("th").firstChild.textContent, lines];
            }))"""
        )
        forecast = self.asked(f"{BOARD}/forecast?as_of={today}")
        found = {each["block"]: each["stages"] for each in forecast["blocks"]}
        assert told == {
            block: [_line(stage, it) for stage, it in stages.items()] for block, stages in found.items()
        }
        self.compared += sum(map(len, found.values()))
        return {(block, stage): it for block, stages in found.items() for stage, it in stages.items()}


def _line(stage: str, told: dict[str, Any]) -> list[str]:
    """A line of the page's table, as it has to be."""
    days = [told[name] and dt.date.fromisoformat(told[name]) for name in ("median", "low", "high")]
    shown = [f"{day.day} {day:%b}" if day else "" for day in days]
    return [stage.replace("_", " "), shown[0] or "not this season", *shown[1:]]


def holds(told: dict[str, Any], day: dt.date) -> bool:
    """Whether the day lies in the interval; one that ends after the season is open."""
    return bool(told["low"] <= str(day) and (told["high"] is None or str(day) <= told["high"]))


def test_a_season_by_the_pages_alone(
    fresh_service: Served, browser: Browser, tmp_path: Path, set_clock: Callable[[dt.datetime], None]
) -> None:
    truth = invented()
    first_bloom = min(truth.came(block)["bloom_start"] for block in BLOCKS)
    today = first_bloom - 3 * A_WEEK
    last_told: dict[tuple[str, str], dict[str, Any]] = {}
    with watched(browser, PHONE, touch=True, timezone="America/Chicago") as (page, watch):

        def wake(day: dt.date) -> None:
            moment = dt.datetime.combine(day, dt.time(15), dt.UTC)
            set_clock(moment)
            page.clock.set_fixed_time(moment)

        wake(today)
        grower = Grower(page, fresh_service.address, tmp_path)
        grower.begin(truth, today)

        # what is recorded in each week: a block, and what is wrong about it
        looks: list[list[tuple[str, str]]] = [
            [("dell-1", "wrong")],  # three quarters open, weeks too early: told at once, corrected later
            [("amber-1", "")],
            [("amber-1", ""), ("brook-1", "")],
            [("amber-2", ""), ("clover-1", ""), ("brook-2", "elsewhere")],  # the row beside: undone
            [("clover-2", ""), ("dell-2", "")],
            [("dell-1", "")],
        ]
        for number, visits in enumerate(looks):
            today += A_WEEK
            wake(today)
            grower.send("temperatures", days_csv(today - A_WEEK, today - dt.timedelta(days=1)), "7 new")
            for block, wrong in visits:
                seen = truth.percent(block, today)
                said = grower.record(block, 75.0 if wrong == "wrong" else seen)
                if wrong == "wrong":
                    assert "days earlier than fit and weather say" in said
                    grower.correct(block, seen)
                elif wrong == "elsewhere":
                    grower.undo()
            if number == 1:
                grower.open("/block?block=amber-2")
                page.fill("#x", "6")
                page.get_by_role("button", name="Store").click()
                page.wait_for_selector("text=Done.")
            told = grower.dates(today)
            last_told |= {
                (block, stage): it for (block, stage), it in told.items() if truth.came(block)[stage] >= today
            }
        kept = grower.asked(f"{BOARD}/visits")["visits"]
        assert len(kept) == 9  # ten, of which one was undone
        for each in kept:
            assert each["percent_open"] == truth.percent(each["block"], dt.date.fromisoformat(each["date"]))
        assert grower.asked(f"{BOARD}/blocks/amber-2")["x_m"] == 6

        summer, today = today, dt.date(THIS_SEASON + 1, 1, 10)
        wake(today)
        grower.send("temperatures", days_csv(summer, today), "new")
        grower.send("bloom_log", log_csv(truth.days, [THIS_SEASON]), "8 new")
        used = grower.asked(f"{BOARD}/fit")["fit"]
        grower.open("/data")
        assert "It does not know" in page.inner_text("main")
        page.get_by_role("button", name="Fit again with all that is known").click()
        page.wait_for_selector("text=A new fit is made", timeout=120_000)
        assert grower.asked(f"{BOARD}/fit")["fit"] != used

        grower.open("/calendar")
        page.get_by_role("button", name="Make a link").click()
        feed = page.request.get(page.locator("#link").input_value())
        assert feed.text().startswith("BEGIN:VCALENDAR")

        wake(summer)
        grower.open()
        page.emulate_media(media="print")
        assert not page.locator(".top nav").is_visible()
        assert page.pdf().startswith(b"%PDF")
        watch.clean()

    assert grower.compared == len(looks) * len(BLOCKS) * 3
    within = sum(holds(it, truth.came(block)[stage]) for (block, stage), it in last_told.items())
    dates = len(last_told)
    assert dates == len(BLOCKS) * 3
    said = f"{within} of {dates} dates lay within the {INTERVAL:.0%} interval that was told last before they came"
    print(said)
    assert binom.cdf(within, dates, INTERVAL) > RARELY, said
