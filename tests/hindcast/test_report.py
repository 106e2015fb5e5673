"""The report of a hindcast: what is scored, and that its figures are those of its rows."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from models.bloom.hindcast import KNOWN_WEATHER, OTHERS_SEEN, hindcast_season
from models.bloom.set_aside import NoOtherSeason, SetAside
from models.bloom.site import Site
from models.errors import BadInput, CapfallError, NotEnoughData
from models.records import BloomLogRow, DailyTemperatures
from service.usecases.hindcast import (
    HindcastOptions,
    HindcastReport,
    plan_hindcast,
    run_hindcast,
)
from service.usecases.hindcast_documents import HindcastDocument, rows_as_csv
from service.words.hindcast import how_made
from service.words.set_aside import set_aside_words
from service.workers import Workers
from tests.hindcast.past import LATITUDE, RULE, STAGES, invented_vineyard

OPTIONS = HindcastOptions(stages=("budbreak", *STAGES), rule=RULE, leads=(14, 30))
RARE = BloomLogRow(2003, "rare-bell", None, {"bloom_start": dt.date(2003, 4, 20)})


@pytest.fixture(scope="module")
def report(workers: Workers) -> HindcastReport:
    vineyard = invented_vineyard()
    site = vineyard.site
    vineyard = replace(vineyard, site=replace(site, log=(*site.log, RARE)))
    told: list[tuple[float, str]] = []
    made = run_hindcast(plan_hindcast([vineyard], OPTIONS), workers, lambda *all: told.append(all))
    shares = [progress for progress, _ in told]
    assert shares == sorted(shares)
    assert (shares[0], told[-1]) == (0.0, (1.0, "seasons 6/6"))
    return made


def test_every_date_is_scored_once_a_lead(report: HindcastReport) -> None:
    keys = [(row.season, row.block, row.stage, row.lead) for row in report.rows]
    assert len(set(keys)) == len(keys)
    for lead in (KNOWN_WEATHER, 30, 14):
        assert sum(key[3] == lead for key in keys) == 6 * 2 * 2  # seasons, cultivars, stages
    assert {(row.block, row.lead) for row in report.rows if row.lead == OTHERS_SEEN} == {
        ("loam-whistle", OTHERS_SEEN)
    }
    assert report.leads == (KNOWN_WEATHER, 30, 14, OTHERS_SEEN)
    assert [chosen.season for chosen in report.rules] == [2001, 2002, 2003, 2004, 2005, 2006]


def test_the_later_half_is_forecast_from_the_past_alone_too(report: HindcastReport) -> None:
    assert [chosen.season for chosen in report.past_rules] == [2004, 2005, 2006]
    found, (later, *_) = {row.lead for row in report.past_rows}, report.past_scores
    assert found == {KNOWN_WEATHER, 30, 14, OTHERS_SEEN}
    assert (later.seasons, later.n) == (3, 6)
    both = {(row.season, row.block, row.stage, row.lead): row for row in report.rows}
    alike = [
        row.error == both[row.season, row.block, row.stage, row.lead].error
        for row in report.past_rows
        if row.lead == 30
    ]
    assert len(alike) == 3 * 2 * 2
    assert not all(alike)


def test_scores_are_those_of_the_rows(report: HindcastReport) -> None:
    groups = {(group.stage, group.cultivar, group.lead): group for group in report.scores}
    assert len(groups) == len(report.scores)
    for (stage, cultivar, lead), score in groups.items():
        errors = np.array(
            [
                row.error
                for row in report.rows
                if (row.stage, row.lead) == (stage, lead) and cultivar in (None, row.cultivar)
            ]
        )
        assert score.n == errors.size > 0
        assert score.rmse == pytest.approx(np.sqrt(np.mean(errors**2)))
    known = groups["full_bloom", None, KNOWN_WEATHER]
    assert known.n == 12
    assert known.rmse < known.baseline_rmse
    assert known.skill > 0.5


def test_a_date_on_either_end_of_its_interval_is_covered() -> None:
    # Every year is like the others, so the narrowest interval around the median is the day itself, both its ends.
    dates = np.arange(np.datetime64("2001-01-01"), np.datetime64("2010-01-01"))
    weather = DailyTemperatures(dates, np.full(dates.size, 14.0), np.full(dates.size, 26.0))
    day = dt.timedelta(days=99)
    seen = tuple(
        BloomLogRow(year, "thimble-ash", None, {"bloom_start": dt.date(year, 1, 1) + day})
        for year in range(2001, 2009)
    )
    site = Site("hollow", LATITUDE, weather, seen)
    season = hindcast_season([site], 2005, stages=["bloom_start"], heat=RULE, interval=0.01, leads=[14])
    assert [row.lead for row in season.rows] == [KNOWN_WEATHER, 14]
    for row in season.rows:
        assert row.low == row.observed == row.high
        assert row.covered


def test_a_date_is_covered_from_low_to_high(report: HindcastReport) -> None:
    covered = [row.covered for row in report.rows]
    assert covered == [
        bool(row.low and row.high and row.low <= row.observed <= row.high) for row in report.rows
    ]
    assert 0 < sum(covered) < len(covered)


def test_what_is_not_scored_is_named(report: HindcastReport) -> None:
    slip = SetAside(2003, "rare-bell", "bloom_start", NoOtherSeason("rare-bell"))
    assert report.not_scored == (slip,)
    kept = json.loads(HindcastDocument.model_validate(report).model_dump_json())
    assert HindcastDocument.model_validate(kept).not_scored == (slip,)
    old = kept | {"not_scored": ["2003 rare-bell bloom_start: no other season of rare-bell"]}
    (text,) = HindcastDocument.model_validate(old).not_scored
    assert set_aside_words(text) == set_aside_words(slip)


def test_the_document_is_json_without_nan_and_its_rows_make_a_table(report: HindcastReport) -> None:
    lone = [replace(row, crps=np.nan) for row in report.rows[:1]]
    group = replace(report.scores[0], skill=np.nan)
    kept = HindcastDocument.model_validate(replace(report, rows=(*lone, *report.rows[1:]), scores=(group,)))
    document = kept.model_dump(mode="json")
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert HindcastDocument.model_validate(document) == kept
    assert document["leads"] == ["known weather", "30", "14", "others seen"]
    assert document["rows"][0]["crps"] is None
    assert document["scores"][0]["skill"] is None
    assert document["scores"][0]["n"] == group.n
    table = list(csv.DictReader(io.StringIO(rows_as_csv(kept))))
    assert len(table) == len(report.past_rows) + len(report.rows)
    assert [row["learned_from"] for row in table] == ["past"] * len(report.past_rows) + ["others"] * len(
        report.rows
    )
    first = report.past_rows[0]
    assert table[0]["observed"] == str(first.observed)
    assert table[0]["median"] == str(first.median)
    assert table[0]["covered"] == ("true" if first.covered else "false")


def test_the_search_is_made_for_each_season_without_it(workers: Workers) -> None:
    vineyard = invented_vineyard()
    options = replace(OPTIONS, rule=None, leads=())
    report = run_hindcast(plan_hindcast([vineyard], options), workers, lambda *_: None)
    assert report.searched
    assert {chosen.heat for chosen in report.rules} == {RULE}  # five seasons are too few: the trade default
    assert "its heat rule chosen" in how_made(searched=report.searched, interval=report.interval)


def test_seasons_that_are_excluded_or_not_over_are_left_out() -> None:
    vineyard = invented_vineyard()
    running = BloomLogRow(2008, "thimble-ash", None, {"bloom_start": dt.date(2008, 4, 20)})
    site = vineyard.site
    vineyard = replace(vineyard, site=replace(site, log=(*site.log, running)))
    task = plan_hindcast([vineyard], replace(OPTIONS, exclude_seasons=(2002,)))
    assert task.seasons == (2001, 2003, 2004, 2005, 2006)
    assert {seen.season for site in task.sites for seen in site.seen} == set(task.seasons)
    assert task.options.leads == (30, 14)
    assert all(site.latitude == LATITUDE for site in task.sites)


@pytest.mark.parametrize(
    ("change", "error", "said"),
    [
        ({"stages": ("bud_swell",)}, BadInput, "unknown stage"),
        ({"stages": ("harvest",)}, NotEnoughData, "none"),
        ({"exclude_seasons": (2002, 2003, 2004, 2005, 2006)}, NotEnoughData, "is 1$"),
        ({"interval": 1.0}, BadInput, "probability"),
        ({"leads": (-1,)}, BadInput, "leads"),
        ({"leads": tuple(range(21))}, BadInput, "leads"),
    ],
)
def test_what_cannot_be_hindcast_is_refused(
    change: dict[str, Any], error: type[CapfallError], said: str
) -> None:
    with pytest.raises(error, match=said):
        plan_hindcast([invented_vineyard()], replace(OPTIONS, **change))
