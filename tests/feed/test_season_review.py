"""A season looked back on, over HTTP and on the page."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

from tests.api import past_seasons as past
from tests.api.asking import VINEYARD
from tests.conftest import client_of
from tests.feed.conftest import A_DAY, MORNING, all_days

REVIEW = f"{VINEYARD}/season-review"
PAGE = "/vineyards/hollow/review"


def test_what_was_told_is_laid_beside_what_came(
    database: Path, set_clock: Callable[[dt.datetime], None]
) -> None:
    truth = all_days()
    with client_of(database) as client:
        for day in range(0, 28, 7):
            set_clock(MORNING + day * A_DAY)
            assert client.post(f"{VINEYARD}/news").status_code == 200
        set_clock(MORNING + 120 * A_DAY)
        past.send(client, "bloom-log", past.log_csv(truth, [past.THIS_SEASON]))
        review = client.get(REVIEW).json()
        assert (review["season"], review["kept"]) == (2015, True)
        assert review["days_told"] == ["2015-03-20", "2015-03-27", "2015-04-03", "2015-04-10"]
        came = {(each["block"], each["stage"]): each["came"] for each in review["stages"]}
        assert came == {
            (block, stage): str(day)
            for (season, block), days in truth.items()
            if season == past.THIS_SEASON
            for stage, day in zip(("bloom_start", "full_bloom", "bloom_end"), days, strict=True)
        }
        told = [each for stage in review["stages"] for each in stage["foretold"]]
        assert {each["told_on"] for each in told} <= set(review["days_told"])
        for stage in review["stages"]:
            for each in stage["foretold"]:
                off = dt.date.fromisoformat(each["median"]) - dt.date.fromisoformat(stage["came"])
                assert each["off_days"] == off.days
                assert each["inside"] == (each["low"] <= stage["came"] <= each["high"])
        rows = client.get(REVIEW, headers={"Accept": "text/csv"}).text.splitlines()
        assert rows[0].startswith("block,stage,came,lead,told_on,median")
        assert len(rows) == 1 + len(told)
        newest = review["beside"][0]
        assert (newest["season"], [each["stage"] for each in newest["stages"]]) == (
            2015,
            ["bloom_start", "full_bloom", "bloom_end"],
        )
        starts = sorted(days[0] for (season, _), days in truth.items() if season == past.THIS_SEASON)
        assert (newest["stages"][0]["first"], newest["stages"][0]["last"]) == (
            str(starts[0]),
            str(starts[-1]),
        )
        heat = past.season_heats()[past.THIS_SEASON]
        at_first = float(heat.accumulated[heat.window.day_index(starts[0])])
        assert newest["stages"][0]["heat"] == round(at_first, 1)
        assert 0 < newest["cover"] <= 1
        assert newest["set"] is None
        assert len(review["beside"]) == 5
        shown = client.get(PAGE).text
        assert review["said"] in shown
        assert "It rests on what was told on 4 days." in shown
        assert all(each["said"] in shown.replace("&#39;", "'") for each in review["warnings"])


def test_a_season_in_which_nothing_was_told_is_computed_anew_and_says_so(
    database: Path, set_clock: Callable[[dt.datetime], None]
) -> None:
    set_clock(MORNING)
    with client_of(database) as client:
        review = client.get(REVIEW, params={"season": 2012}).json()
        assert not review["kept"]
        assert "computed anew" in review["said"]
        assert "has learned from this season" in review["said"]
        leads = {each["lead"]: each for each in review["by_lead"]}
        assert leads[7]["stages"] >= 8
        assert leads[7]["mean_absolute_error"] < leads[28]["mean_absolute_error"]
        assert [each["season"] for each in review["beside"]] == [2012, 2011, 2010, 2009, 2008]
        assert client.get(REVIEW, params={"season": 2016}).status_code == 422
        assert client.get(PAGE, params={"season": 2012}).status_code == 200
