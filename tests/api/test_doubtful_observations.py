"""Observations that contradict each other, or lie weeks off: taken, told everywhere, and easily removed."""

from __future__ import annotations

import datetime as dt
import html
import re
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

from models.stages import BLOOM_STAGES
from service.words.forecast import stage_words
from service.words.plain import with_year
from tests.api.asking import VINEYARD
from tests.api.past_seasons import (
    THIS_SEASON,
    block_heats,
    days_of,
    fitted,
    forecast,
    log_csv,
    plant,
    send,
    stage_of,
)

BOARD = "/vineyards/hollow"
Seen = tuple[dt.date, float] | tuple[dt.date, float, str]


@pytest.fixture
def grower(client: TestClient) -> TestClient:
    plant(client)
    days = days_of(block_heats(np.random.default_rng(5), between_seasons=30, within=20))
    send(client, "bloom-log", log_csv(days))
    fitted(client)
    return client


def median(client: TestClient, stage: str) -> dt.date:
    """Of block b, by the season's whole weather."""
    told = stage_of(forecast(client, dt.date(THIS_SEASON, 12, 1)), "b", stage)
    return dt.date.fromisoformat(told["median"])


def visit(client: TestClient, *seen: Seen) -> dict[str, Any]:
    visits = [
        {"date": str(day), "block": "b", "percent_open": percent, "observer": "".join(who) or None}
        for day, percent, *who in seen
    ]
    answer = client.post(f"{VINEYARD}/visits", json=visits)
    assert answer.status_code == 200
    receipt: dict[str, Any] = answer.json()
    return receipt


def told_of(told: dict[str, Any], words: str) -> list[str]:
    return [caution for caution in told["cautions"] if words in caution]


def width(stage: dict[str, Any]) -> int:
    low, high = (dt.date.fromisoformat(stage[name]) for name in ("low", "high"))
    return (high - low).days


def as_read(said: str) -> str:
    """A sentence as a page says it: dates and stages in words."""
    dated = re.sub(r"\d{4}-\d\d-\d\d", lambda day: with_year(dt.date.fromisoformat(day[0])), said)
    return re.sub("|".join(BLOOM_STAGES), lambda stage: stage_words(stage[0]), dated)


def page_of(client: TestClient, as_of: dt.date) -> str:
    return html.unescape(client.get(BOARD, params={"as_of": str(as_of)}).text)


def test_visits_that_contradict_each_other_are_told_and_widen(grower: TestClient) -> None:
    full = median(grower, "full_bloom")
    first, second, last = (full + dt.timedelta(days=days) for days in (-6, -3, 0))
    visit(grower, (first, 0), (second, 5), (last, 12))
    agreed = stage_of(forecast(grower, last, interval=0.95), "b", "full_bloom")
    assert not told_of(forecast(grower, last), "contradict")
    receipt = visit(grower, (first, 60), (second, 5), (last, 0))
    told = forecast(grower, last)
    (said,) = told_of(told, "contradict each other")
    assert said in receipt["warnings"]
    assert f"60 % on {first}, 5 % on {second} and 0 % on {last}" in said
    doubtful = stage_of(forecast(grower, last, interval=0.95), "b", "full_bloom")
    assert width(doubtful) > width(agreed)
    page = page_of(grower, last)
    assert as_read(said) in page
    assert page.count("Delete this visit") == 3
    feed = grower.get(f"{VINEYARD}/calendar.ics", params={"as_of": str(last)}).text.replace("\r\n ", "")
    assert "contradict each other" in feed


def test_observers_of_one_day_who_disagree_are_told_and_widen(grower: TestClient) -> None:
    full = median(grower, "full_bloom")
    before, day, after = (full + dt.timedelta(days=days) for days in (-4, 0, 4))
    visit(grower, (before, 20), (day, 55, "Wren"), (after, 90))
    agreed = stage_of(forecast(grower, after), "b", "full_bloom")
    visit(grower, (day, 40, "Moss"))
    told = forecast(grower, after)
    assert told_of(told, f"40 % (Moss) on {day} and 55 % (Wren) on {day}")
    assert width(stage_of(told, "b", "full_bloom")) > width(agreed)


def test_a_visit_weeks_off_is_taken_and_told_and_the_page_removes_it(grower: TestClient) -> None:
    start = median(grower, "bloom_start")
    early = start - dt.timedelta(days=35)
    as_of = early + dt.timedelta(days=1)
    before = forecast(grower, as_of)
    receipt = visit(grower, (early, 50))
    told = forecast(grower, as_of)
    (said,) = told_of(told, "days earlier than fit and weather say")
    assert receipt["warnings"][-1].partition(": ")[0] == said.partition(": ")[0]
    assert "days earlier than fit and weather say" in receipt["warnings"][-1]
    assert str(early) in said
    assert stage_of(told, "b", "full_bloom")["status"] == "observed"
    page = page_of(grower, as_of)
    assert as_read(said) in page
    (address,) = re.findall(r'action="(/vineyards/hollow/visits/[^"]+)"', page)
    assert grower.post(address, follow_redirects=False).status_code == 303
    assert forecast(grower, as_of) == before
    assert "Delete this visit" not in page_of(grower, as_of)


def test_what_had_come_at_the_first_look_is_told_as_come_by_then(grower: TestClient) -> None:
    day = median(grower, "full_bloom")
    visit(grower, (day, 40))
    assert f"open at the first look on {day.day} " in page_of(grower, day)
    visit(grower, (day - dt.timedelta(days=6), 0))
    assert "at the first look" not in page_of(grower, day)


def test_half_open_in_november_is_told(grower: TestClient) -> None:
    november = dt.date(THIS_SEASON, 11, 10)
    visit(grower, (november, 50))
    (said,) = told_of(forecast(grower, november), "days later than fit and weather say")
    assert f"b, bloom_end not yet on {november}" in said


def test_an_ordinary_early_or_late_look_is_not_told(grower: TestClient) -> None:
    start = median(grower, "bloom_start")
    for days in (-4, 4):
        receipt = visit(grower, (start + dt.timedelta(days=days), 6 + days))
        assert not any("fit and weather say" in said for said in receipt["warnings"])
    assert not told_of(forecast(grower, start + dt.timedelta(days=5)), "fit and weather say")


@pytest.mark.parametrize("seen_come", [True, False])
def test_a_log_date_that_visits_exclude_is_told_and_which_of_them_counts(
    grower: TestClient, seen_come: bool
) -> None:
    """Visits that saw bloom start come, having looked before, count against the log; "not yet" alone does not."""
    start = median(grower, "bloom_start")
    as_of = start + dt.timedelta(days=4)
    not_yet, come = start + dt.timedelta(days=1), start + dt.timedelta(days=3)
    visit(grower, (not_yet, 4), *([(come, 14)] if seen_come else []))
    assert not told_of(forecast(grower, as_of), "the bloom log says")
    logged = start - dt.timedelta(days=2)
    receipt = send(grower, "bloom-log", f"season,block,bloom_start\n{THIS_SEASON},b,{logged}\n")
    told = forecast(grower, as_of)
    (said,) = told_of(told, "the bloom log says")
    assert said in receipt["warnings"]
    by_visits = f"not yet on {not_yet}" + (f" and come by {come}" if seen_come else "")
    assert f"b, bloom_start: the bloom log says {logged}, the visits say {by_visits}. The " in said
    assert ("The visits are taken" in said) is seen_come
    stage = stage_of(told, "b", "bloom_start")
    if seen_come:
        assert str(not_yet) < stage["low"] <= stage["high"] <= str(come)
    else:
        assert stage["low"] == stage["high"] == str(logged)
    assert as_read(said) in page_of(grower, as_of)


def test_what_is_doubtful_of_a_visit_is_said_on_its_page(grower: TestClient) -> None:
    odd = {"block": "b", "date": f"{THIS_SEASON}-11-20", "percent_open": "50"}
    answer = grower.post(f"{BOARD}/visit", data=odd, follow_redirects=False)
    assert answer.status_code == 200
    shown = html.unescape(answer.text)
    assert f"Recorded: b, 20 November {THIS_SEASON}: 50 % of caps off." in shown
    (stored,) = [
        each for each in grower.get(f"{VINEYARD}/visits").json()["visits"] if each["date"] == odd["date"]
    ]
    receipt = grower.post(f"{VINEYARD}/visits", json=[{**odd, "percent_open": 50}]).json()
    assert receipt["warnings"]
    for warning in receipt["warnings"]:
        assert warning.partition(": ")[2] in shown  # before it stage and day, which a page names in words
    grower.delete(f"{VINEYARD}/visits/{stored['visit']}")
    plain = odd | {"date": str(median(grower, "full_bloom"))}
    assert grower.post(f"{BOARD}/visit", data=plain, follow_redirects=False).status_code == 303


def test_a_date_of_a_past_season_that_visits_exclude_is_told_too(grower: TestClient) -> None:
    row = next(each for each in grower.get(f"{VINEYARD}/bloom-log").json()["rows"] if each["block"] == "b")
    logged = dt.date.fromisoformat(row["dates"]["full_bloom"])
    as_of = dt.date(THIS_SEASON, 5, 1)
    assert not told_of(forecast(grower, as_of), "the bloom log says")
    receipt = visit(grower, (logged - dt.timedelta(days=9), 40), (logged - dt.timedelta(days=6), 60))
    assert [each for each in receipt["warnings"] if f"b, full_bloom: the bloom log says {logged}" in each]
    (said,) = told_of(forecast(grower, as_of), "the bloom log says")
    assert f"b, full_bloom: the bloom log says {logged}" in said
    assert "and fit again" in said
    assert said.partition(". ")[2] in page_of(grower, as_of)
