"""The skill reached on open data, held against goals that were set before it was measured. Nested, with search.

The goals, with the weather known: RMSE of 3.7, 4.3 and 4.4 days on the grapes, 4.8 and 5.2 days (start and end) on the
apple, where the simplest method has 4.4, 5.1, 5.2 and 5.7, 6.2; CRPS skill of 0.47, and at 14, 30 and 60 days of
0.28, 0.14 and never below 0; 2.7 days for cultivars still to start once another was seen; and 80 % intervals that hold
0.76 to 0.86. Where no goal was set, the simplest method or the forecast without the look is to be beaten.

What falls short is expected to fail, with its figure, so that a change that mends it is seen. Two minutes a set; leads
are three of seven, to save time. tests/evidence/skill.md has the tables.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from models.bloom.hindcast import KNOWN_WEATHER, OTHERS_SEEN, Lead
from models.bloom.skill import Score
from service.usecases.hindcast import HindcastOptions, HindcastReport, plan_hindcast, run_hindcast
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


def score_of(report: HindcastReport, stage: str, lead: Lead) -> Score:
    (found,) = [
        group
        for group in report.scores
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
SHORT = pytest.mark.xfail(
    strict=True, raises=AssertionError, reason="coverage measured: 0.73 to 0.74, where 0.80 is said"
)


@pytest.mark.parametrize(
    ("stage", "goal", "dates"),
    [("bloom_start", 3.7, 205), ("full_bloom", 4.3, 214), ("fruit_set", 4.4, 196)],
)
def test_grape_with_known_weather(grape: HindcastReport, stage: str, goal: float, dates: int) -> None:
    found = score_of(grape, stage, KNOWN_WEATHER)
    assert found.n == dates
    assert found.rmse <= goal
    assert_calibrated(found)


def assert_calibrated(found: Score) -> None:
    assert 0.76 <= found.coverage <= 0.86


@pytest.mark.parametrize(("lead", "goal"), [(KNOWN_WEATHER, 0.47), (14, 0.28), (30, 0.14), (60, 0.0)])
def test_grape_bloom_start_beats_the_cultivars_own_dates(
    grape: HindcastReport, lead: Lead, goal: float
) -> None:
    found = score_of(grape, "bloom_start", lead)
    assert found.skill >= goal
    assert_calibrated(found)


def test_grape_once_others_were_seen_is_off_by_the_goal_at_most(grape: HindcastReport) -> None:
    assert score_of(grape, "bloom_start", OTHERS_SEEN).rmse <= 2.7


@pytest.mark.parametrize("stage", KNOWN_STAGES)
def test_a_look_at_others_sharpens_the_forecast(grape: HindcastReport, stage: str) -> None:
    # The first block, which is easy, is not among those scored then; all the same they come closer.
    found, before = (score_of(grape, stage, lead) for lead in (OTHERS_SEEN, KNOWN_WEATHER))
    assert found.n > 150
    assert found.crps < 0.9 * before.crps


@pytest.mark.parametrize(
    "stage",
    [
        "bloom_start",
        pytest.param("full_bloom", marks=SHORT),
        pytest.param("fruit_set", marks=SHORT),
    ],
)
def test_intervals_hold_their_share_once_others_were_seen(grape: HindcastReport, stage: str) -> None:
    assert_calibrated(score_of(grape, stage, OTHERS_SEEN))


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


@pytest.mark.parametrize(
    "stage",
    [
        pytest.param(
            "bloom_start",
            marks=pytest.mark.xfail(
                strict=True, raises=AssertionError, reason="coverage measured: 0.87, where 0.80 is said"
            ),
        ),
        "full_bloom",
        "bloom_end",
    ],
)
def test_apple_intervals_hold_their_share(apple: HindcastReport, stage: str) -> None:
    assert_calibrated(score_of(apple, stage, KNOWN_WEATHER))


# The goals set for the grapes; the apple blooms weeks earlier or later from year to year, so its skill is higher.
@pytest.mark.parametrize(("lead", "goal"), [(KNOWN_WEATHER, 0.47), (14, 0.28), (30, 0.14), (60, 0.0)])
def test_apple_bloom_start_beats_its_own_dates(apple: HindcastReport, lead: Lead, goal: float) -> None:
    assert score_of(apple, "bloom_start", lead).skill >= goal


def test_the_rule_was_chosen_without_the_season(grape: HindcastReport) -> None:
    assert grape.searched
    assert len(grape.rules) == len({rule.season for rule in grape.rules}) >= 30
