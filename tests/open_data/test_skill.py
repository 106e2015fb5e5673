"""The skill reached on open data, held against goals that were set before it was measured. Nested, with search.

First goals, which hold: RMSE with the weather known of 3.7, 4.3 and 4.4 days on the grapes, 4.8 and 5.2 days (start and
end) on the apple, where the simplest method has 4.4, 5.1, 5.2 and 5.7, 6.2; CRPS skill of 0.47, and at 14, 30 and 60
days of 0.28, 0.14 and never below 0; 2.7 days for cultivars still to start once another was seen. Higher goals came
after those: 3.3, 3.7, 4.0 and 3.7, 5.0 days; once others were seen 2.2, 3.0 and 3.2; skill of 0.19 and 0.33 at 30 and
14 days on the grapes, 0.47 and 0.56 on the apple; from the past alone at 60 days 0.05 and 0.2. In each state of
knowledge 80 % intervals are to hold 0.76 to 0.86, of the dates and, every season counted alike, of the seasons. Where
no goal was set, the simplest method or the forecast without the look is to be beaten.

What falls short is expected to fail, with its figure, so that a change that mends it is seen; tests/evidence/tried.md
says what was tried. Minutes a set; leads are three of seven, to save time. tests/evidence/skill.md has the tables.
"""

from __future__ import annotations

import os
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from models.bloom.hindcast import KNOWN_WEATHER, OTHERS_SEEN, Lead
from models.bloom.skill import Score
from service.usecases.hindcast import GroupScore, HindcastOptions, HindcastReport, plan_hindcast, run_hindcast
from service.usecases.hindcast_files import read_past
from service.workers import Workers

pytestmark = pytest.mark.open_data

FOLDERS = [Path(__file__).parents[3] / "shared" / "data"]
if "CAPFALL_OPEN_DATA" in os.environ:
    FOLDERS.insert(0, Path(os.environ["CAPFALL_OPEN_DATA"]))


def hindcast_of(name: str, *, latitude: float, stages: tuple[str, ...]) -> HindcastReport:
    folder = next((folder / name for folder in FOLDERS if (folder / name).is_dir()), None)
    if folder is None:
        pytest.skip(f"open data set {name} is neither in ../shared/data nor in CAPFALL_OPEN_DATA")
    past = read_past(
        (folder / "temperatures.csv").read_bytes(),
        (folder / "bloom_log.csv").read_bytes(),
        latitude=latitude,
    )
    task = plan_hindcast([past.vineyard], HindcastOptions(stages=stages, leads=(60, 30, 14)))
    with Workers() as workers:
        return run_hindcast(task, workers, lambda *_: None)


def score_of(
    report: HindcastReport, stage: str, lead: Lead, scores: tuple[GroupScore, ...] | None = None
) -> Score:
    (found,) = [
        group
        for group in (report.scores if scores is None else scores)
        if group.cultivar is None and (group.stage, group.lead) == (stage, lead)
    ]
    return found


@pytest.fixture(scope="module")
def grape() -> HindcastReport:
    stages = ("budbreak", "bloom_start", "full_bloom", "fruit_set")
    return hindcast_of("prosser_grape", latitude=46.25, stages=stages)


@pytest.fixture(scope="module")
def apple() -> HindcastReport:
    stages = ("bloom_start", "full_bloom", "bloom_end")
    return hindcast_of("klein_altendorf_apple", latitude=50.6, stages=stages)


KNOWN_STAGES = ("bloom_start", "full_bloom", "fruit_set")
APPLE_STAGES = ("bloom_start", "full_bloom", "bloom_end")
LEADS: tuple[Lead, ...] = (KNOWN_WEATHER, 60, 30, 14)
# Coverage by date, and with every season counted alike, where it is not 0.76 to 0.86. On the grapes the seasons that
# were missed have few dates, so what holds by season holds too many dates: no one width holds both.
GRAPE_COVERAGE_MISSED: dict[tuple[str, Lead, str], float] = {
    ("bloom_start", KNOWN_WEATHER, "coverage"): 0.873,
    ("full_bloom", KNOWN_WEATHER, "coverage"): 0.874,
    ("fruit_set", 60, "coverage"): 0.862,
    ("fruit_set", 60, "coverage_by_season"): 0.869,
    ("fruit_set", 14, "coverage"): 0.898,
}
# One date a season: both are the same.
APPLE_COVERAGE_MISSED: dict[tuple[str, Lead, str], float] = {
    ("bloom_start", 30, "coverage"): 0.902,
    ("bloom_start", 30, "coverage_by_season"): 0.902,
    ("full_bloom", 30, "coverage"): 0.885,
    ("full_bloom", 30, "coverage_by_season"): 0.885,
}


def short_of(goal: str, measured: float) -> pytest.MarkDecorator:
    return pytest.mark.xfail(strict=True, raises=AssertionError, reason=f"{goal} measured: {measured:g}")


def coverages(
    stages: tuple[str, ...], leads: tuple[Lead, ...], missed: dict[tuple[str, Lead, str], float]
) -> list[Any]:
    every = product(stages, leads, ("coverage", "coverage_by_season"))
    return [
        pytest.param(*one, marks=[short_of("share held", missed[one])] if one in missed else [])
        for one in every
    ]


@pytest.mark.parametrize(
    ("stage", "goal", "dates"),
    [("bloom_start", 3.7, 205), ("full_bloom", 4.3, 214), ("fruit_set", 4.4, 196)],
)
def test_grape_with_known_weather(grape: HindcastReport, stage: str, goal: float, dates: int) -> None:
    found = score_of(grape, stage, KNOWN_WEATHER)
    assert found.n == dates
    assert found.rmse <= goal


@pytest.mark.parametrize(
    ("stage", "lead", "goal"),
    [
        pytest.param("bloom_start", KNOWN_WEATHER, 3.3, marks=short_of("RMSE", 3.43)),
        pytest.param("full_bloom", KNOWN_WEATHER, 3.7, marks=short_of("RMSE", 3.91)),
        pytest.param("fruit_set", KNOWN_WEATHER, 4.0, marks=short_of("RMSE", 4.17)),
        pytest.param("bloom_start", OTHERS_SEEN, 2.2, marks=short_of("RMSE", 2.33)),
        pytest.param("full_bloom", OTHERS_SEEN, 3.0, marks=short_of("RMSE", 3.28)),
        pytest.param("fruit_set", OTHERS_SEEN, 3.2, marks=short_of("RMSE", 3.54)),
    ],
)
def test_grape_reaches_the_higher_goal(grape: HindcastReport, stage: str, lead: Lead, goal: float) -> None:
    assert score_of(grape, stage, lead).rmse <= goal


@pytest.mark.parametrize(
    ("stage", "lead", "way"), coverages(KNOWN_STAGES, (*LEADS, OTHERS_SEEN), GRAPE_COVERAGE_MISSED)
)
def test_grape_intervals_hold_their_share(grape: HindcastReport, stage: str, lead: Lead, way: str) -> None:
    assert 0.76 <= getattr(score_of(grape, stage, lead), way) <= 0.86


@pytest.mark.parametrize(
    ("lead", "goal"),
    [
        pytest.param(30, 0.19, marks=short_of("skill", 0.178)),
        pytest.param(14, 0.33, marks=short_of("skill", 0.308)),
    ],
)
def test_grape_reaches_the_higher_skill(grape: HindcastReport, lead: Lead, goal: float) -> None:
    assert score_of(grape, "bloom_start", lead).skill >= goal


def test_grape_has_skill_two_months_ahead_from_the_past_alone(grape: HindcastReport) -> None:
    found = score_of(grape, "bloom_start", 60, grape.past_scores)
    assert found.skill > 0.05
    assert found.seasons == 18
    assert {chosen.season for chosen in grape.past_rules} == {chosen.season for chosen in grape.rules[8:]}


@pytest.mark.parametrize(("lead", "goal"), [(KNOWN_WEATHER, 0.47), (14, 0.28), (30, 0.14), (60, 0.0)])
def test_grape_bloom_start_beats_the_cultivars_own_dates(
    grape: HindcastReport, lead: Lead, goal: float
) -> None:
    assert score_of(grape, "bloom_start", lead).skill >= goal


def test_grape_once_others_were_seen_is_off_by_the_goal_at_most(grape: HindcastReport) -> None:
    assert score_of(grape, "bloom_start", OTHERS_SEEN).rmse <= 2.7


@pytest.mark.parametrize("stage", KNOWN_STAGES)
def test_a_look_at_others_sharpens_the_forecast(grape: HindcastReport, stage: str) -> None:
    # The first block, which is easy, is not among those scored then; all the same they come closer.
    found, before = (score_of(grape, stage, lead) for lead in (OTHERS_SEEN, KNOWN_WEATHER))
    assert found.n > 150
    assert found.crps < 0.9 * before.crps


@pytest.mark.parametrize(
    ("stage", "goal"),
    [
        ("bloom_start", 4.8),
        ("full_bloom", 6.6),  # no goal: the simplest method's
        pytest.param(
            "bloom_end",
            5.2,
            marks=pytest.mark.xfail(strict=True, raises=AssertionError, reason="RMSE measured: 5.23 days"),
        ),
    ],
)
def test_apple_with_known_weather(apple: HindcastReport, stage: str, goal: float) -> None:
    found = score_of(apple, stage, KNOWN_WEATHER)
    assert found.n == 61
    assert found.rmse <= goal


@pytest.mark.parametrize(("stage", "lead", "way"), coverages(APPLE_STAGES, LEADS, APPLE_COVERAGE_MISSED))
def test_apple_intervals_hold_their_share(apple: HindcastReport, stage: str, lead: Lead, way: str) -> None:
    assert 0.76 <= getattr(score_of(apple, stage, lead), way) <= 0.86


@pytest.mark.parametrize(
    ("stage", "goal"),
    [("bloom_start", 3.7), pytest.param("bloom_end", 5.0, marks=short_of("RMSE", 5.27))],
)
def test_apple_reaches_the_higher_goal(apple: HindcastReport, stage: str, goal: float) -> None:
    assert score_of(apple, stage, KNOWN_WEATHER).rmse <= goal


@pytest.mark.parametrize(
    ("lead", "goal"),
    [
        pytest.param(30, 0.47, marks=short_of("skill", 0.456)),
        pytest.param(14, 0.56, marks=short_of("skill", 0.541)),
    ],
)
def test_apple_reaches_the_higher_skill(apple: HindcastReport, lead: Lead, goal: float) -> None:
    assert score_of(apple, "bloom_start", lead).skill >= goal


def test_apple_has_skill_two_months_ahead_from_the_past_alone(apple: HindcastReport) -> None:
    assert score_of(apple, "bloom_start", 60, apple.past_scores).skill > 0.2


# The goals set for the grapes; the apple blooms weeks earlier or later from year to year, so its skill is higher.
@pytest.mark.parametrize(("lead", "goal"), [(KNOWN_WEATHER, 0.47), (14, 0.28), (30, 0.14), (60, 0.0)])
def test_apple_bloom_start_beats_its_own_dates(apple: HindcastReport, lead: Lead, goal: float) -> None:
    assert score_of(apple, "bloom_start", lead).skill >= goal


def test_the_rule_was_chosen_without_the_season(grape: HindcastReport) -> None:
    assert grape.searched
    assert len(grape.rules) == len({rule.season for rule in grape.rules}) >= 30
