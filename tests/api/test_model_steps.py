"""Every step of "The model" in DEVELOPERS.md as its users get it, from files to answer: each fails without its step.

The seasons are invented, and their truth is known; what a step is worth is held against that truth, or against the
same request with the step switched off.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

from models.bloom import draws, estimation
from models.bloom.thresholds import Fit
from models.records import HeatRule
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from tests.api.asking import forget_answers
from tests.api.past_seasons import (
    CULTIVARS,
    SEASONS,
    THIS_SEASON,
    block_heats,
    days_of,
    fitted,
    forecast,
    log_csv,
    plant,
    send,
    stage_of,
    threshold,
    visits_csv,
    weekly_percents,
)

FIRST, HEAT_A_DAY = 380.0, 12.0
APRIL = dt.date(THIS_SEASON, 4, 1)


def random(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def spread_days(fit: dict[str, Any], part: str) -> list[float]:
    """Standard deviations at the bloom stages. [day]"""
    return [fit["spread"]["stages"][stage][f"{part}_days"] for stage in BLOOM_STAGES]


def test_1_dates_of_weekly_checks_are_intervals(client: TestClient) -> None:
    """The first check that saw a stage comes three days late on average; the interval since the last one knows."""
    plant(client)
    heats = block_heats(random(), between_seasons=10, within=5)
    checked = {
        (season, block): [
            date + dt.timedelta(days=(season - date.toordinal()) % 7) for date in dates
        ]  # all of a season's checks are a week apart
        for (season, block), dates in days_of(heats).items()
    }
    send(client, "bloom-log", log_csv(checked, checked_every_days=7))
    fit = fitted(client)
    off = [
        threshold(fit, cultivar, "bloom_start") - np.mean([heats[s, cultivar[0]][0] for s in SEASONS])
        for cultivar in CULTIVARS
    ]
    assert abs(np.mean(off)) < 0.8 * HEAT_A_DAY


def test_2_a_cultivar_seen_in_late_seasons_only_is_judged_by_the_others(client: TestClient) -> None:
    plant(client)
    heats = block_heats(random(), between_seasons=40, within=5)
    by_lateness = sorted(SEASONS, key=lambda season: heats[season, "a"][0])
    few = {
        place: needed for place, needed in heats.items() if place[1] != "d" or place[0] in by_lateness[-2:]
    }
    send(client, "bloom-log", log_csv(days_of(few)))
    fit = fitted(client)
    alone = np.mean([few[season, "d"][0] for season in by_lateness[-2:]])
    true = np.mean([heats[season, "d"][0] for season in SEASONS])
    assert alone - true > 35
    assert abs(threshold(fit, "dogwood", "bloom_start") - true) < 0.4 * (alone - true)


def test_3_spreads_are_learned(client: TestClient) -> None:
    """Against what is assumed before the data speak: 4 days between seasons, 2.5 within."""
    plant(client)
    send(client, "bloom-log", log_csv(days_of(block_heats(random(), between_seasons=10, within=60))))
    fit = fitted(client)
    assert max(spread_days(fit, "between_seasons")) < 3.0  # truth: under one day
    assert (
        min(spread_days(fit, "within")) > 3.0
    )  # truth: five; a t of such tails has three quarters of it as scale


def test_4_one_season_far_off_widens_no_other(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    plant(client)
    heats = block_heats(random(), between_seasons=12, within=6)
    far = {place: needed + 150.0 * (place[0] == SEASONS[5]) for place, needed in heats.items()}
    send(client, "bloom-log", log_csv(days_of(far)))

    def widened() -> float:
        every, usual = fitted(client), fitted(client, exclude_seasons=[SEASONS[5]])
        assert not every["set_aside"]
        return float(
            np.mean(np.divide(spread_days(every, "between_seasons"), spread_days(usual, "between_seasons")))
        )

    with_tails = widened()
    monkeypatch.setattr(estimation, "tail_weight", lambda distance, _: np.ones_like(distance))
    assert with_tails < 1.3
    assert widened() > 1.6


def test_5_a_slip_is_named_and_moves_nothing(client: TestClient) -> None:
    plant(client)
    days = days_of(block_heats(random(), between_seasons=20, within=8))
    send(client, "bloom-log", log_csv(days))
    honest = fitted(client)
    days[2008, "b"][2] += dt.timedelta(days=35)
    send(client, "bloom-log", log_csv(days))
    slipped = fitted(client)
    assert honest["set_aside"] == []
    (slip,) = slipped["set_aside"]
    assert (slip["season"], slip["block"], slip["stage"]) == (2008, "b", "bloom_end")
    for cultivar in CULTIVARS:
        moved = threshold(slipped, cultivar, "bloom_end") - threshold(honest, cultivar, "bloom_end")
        assert abs(moved) < 0.3 * HEAT_A_DAY


def test_6_percentages_sharpen_what_visits_tell(client: TestClient) -> None:
    """The same looks, the same days of "not yet" and "come": only percentages tell where between them a stage came."""
    plant(client)
    looks = weekly_percents(block_heats(random(), between_seasons=20, within=6))
    send(client, "visits", visits_csv(looks, as_codes=True))
    codes = fitted(client)
    send(client, "visits", visits_csv(looks))
    percents = fitted(client)
    fell = np.subtract(spread_days(codes, "within"), spread_days(percents, "within"))
    assert np.all(fell > 0.05)
    assert np.mean(fell) > 0.15
    errors = [
        np.mean(
            [each["stages"][stage]["standard_error"] for each in fit["cultivars"] for stage in BLOOM_STAGES]
        )
        for fit in (codes, percents)
    ]
    assert errors[1] < 0.9 * errors[0]


def test_7_a_calibrated_spread_is_what_forecasts_are_made_with(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    plant(client)
    # seasons that do not differ at all, which the model's assumption of some days makes too wide
    send(client, "bloom-log", log_csv(days_of(block_heats(random(), between_seasons=0, within=6))))
    few = fitted(client, exclude_seasons=list(SEASONS[7:]))
    fit = fitted(client)

    def factors(fit: dict[str, Any]) -> list[float]:
        return [fit["spread"]["stages"][stage]["calibration"] for stage in BLOOM_STAGES]

    assert factors(few) == [1.0, 1.0, 1.0]
    assert max(factors(fit)) < 0.8

    def widths() -> float:
        told = forecast(client, dt.date(THIS_SEASON, 12, 31), fit=fit["id"], interval=0.9)
        stages = [stage_of(told, block, stage) for block in "abcd" for stage in BLOOM_STAGES]
        return float(
            np.mean(
                [(dt.date.fromisoformat(s["high"]) - dt.date.fromisoformat(s["low"])).days for s in stages]
            )
        )

    calibrated = widths()
    monkeypatch.setattr(Fit, "calibrated", property(lambda self: self.spread))
    forget_answers(client)
    assert calibrated < 0.9 * widths()


def test_8_the_heat_rule_is_the_one_that_foresees(client: TestClient) -> None:
    plant(client)
    true = HeatRule("average", 4.0, accumulate_from="03-01")
    heats = block_heats(random(), between_seasons=4, within=4, first=450)
    send(client, "bloom-log", log_csv(days_of(heats, true)))
    fit = fitted(client, heat=None, search=True, stages=["bloom_start"])
    assert (fit["heat"]["base_c"], fit["heat"]["accumulate_from"]) == (4.0, "03-01")
    best, default = fit["search"]["candidates"][0], fit["search"]["candidates"][-1]
    assert best["score"] > default["score"]


def test_9_what_is_seen_this_season_moves_the_other_blocks(client: TestClient) -> None:
    plant(client)
    heats = block_heats(random(), between_seasons=30, within=6)
    send(client, "bloom-log", log_csv(days_of(heats)))
    fitted(client)
    as_of = days_of(heats)[THIS_SEASON, "a"][0]
    before = forecast(client, as_of)
    early = as_of - dt.timedelta(days=7)
    send(
        client,
        "visits",
        f"date,block,percent_open\n{early - dt.timedelta(days=2)},a,0\n{early},a,20\n",
    )
    after = forecast(client, as_of)
    for block in "bcd":
        earlier, was = (
            dt.date.fromisoformat(stage_of(told, block, "full_bloom")["median"]) for told in (after, before)
        )
        assert (was - earlier).days >= 2


def test_10_draws_share_the_season(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """Late or early, the season is so for all: which of two cultivars ends first is the same in every one.

    Truth: seasons differ by 90 °C·day (standard deviation), cultivars c and d come 50 and 75 °C·day after their source
    a. Together they leave no doubt that a ends first. Were each in a season of its own, their difference would vary by
    90 √2 = 127 °C·day, and a would end last with a chance of Φ(-50 / 127) = 0.35 and Φ(-75 / 127) = 0.28.
    """
    plant(client)
    heats = block_heats(random(), between_seasons=90, within=4)
    send(client, "bloom-log", log_csv(days_of(heats)))
    fitted(client)

    def from_a() -> dict[str, dict[str, Any]]:
        blocks = forecast(client, APRIL, "pollination")["pistillate_blocks"]
        return {block["block"]: block["sources"][0] for block in blocks}

    joint = from_a()
    assert min(joint[block]["chance_ends_first"] for block in "cd") > 0.98
    assert max(joint[block]["chance_starts_late"] for block in "cd") < 0.01
    ends = stage_of(forecast(client, APRIL), "a", "full_bloom")
    width = (dt.date.fromisoformat(ends["high"]) - dt.date.fromisoformat(ends["low"])).days
    overlap = [joint[block]["overlap_days"] for block in "bcd"]
    # what blocks share moves their bloom, not the overlap
    assert np.mean([days["high"] - days["low"] for days in overlap]) < width / 2
    assert min(days["low"] for days in overlap) >= 3
    drawn = draws._draw_effects

    def apart(*given: Any) -> FloatArray:
        """Each cultivar in a season of its own."""
        effects = drawn(*given)
        for cultivar in range(effects.shape[1] - 1):
            effects[:, cultivar] += np.roll(effects[:, -1], 7 * cultivar + 1, axis=0)
        effects[:, -1] = 0
        return effects

    monkeypatch.setattr(draws, "_draw_effects", apart)
    forget_answers(client)
    alone = from_a()
    assert [alone[block]["chance_ends_first"] for block in "cd"] == pytest.approx([0.65, 0.72], abs=0.05)
    assert min(alone[block]["chance_starts_late"] for block in "cd") > 0.2
    assert {alone[block]["overlap_days"]["low"] for block in "bcd"} == {0}


def test_10_draws_follow_past_seasons_weather_as_far_as_this_ones_is_not_known(client: TestClient) -> None:
    plant(client)
    send(client, "bloom-log", log_csv(days_of(block_heats(random(), between_seasons=4, within=4))))
    fitted(client)

    def days_open(as_of: dt.date) -> int:
        stage = stage_of(forecast(client, as_of), "a", "bloom_start")
        return (dt.date.fromisoformat(stage["high"]) - dt.date.fromisoformat(stage["low"])).days

    assert days_open(dt.date(THIS_SEASON, 3, 1)) >= days_open(dt.date(THIS_SEASON, 12, 31)) + 4


def test_10_draws_keep_what_was_seen_and_the_order_of_the_stages(client: TestClient) -> None:
    plant(client)
    heats = block_heats(random(), between_seasons=30, within=30)
    send(client, "bloom-log", log_csv(days_of(heats)))
    fitted(client)
    seen = days_of(heats)[THIS_SEASON, "a"][0] - dt.timedelta(days=5)  # much earlier than the model thinks
    day_before = seen - dt.timedelta(days=1)
    send(client, "visits", f"date,block,percent_open\n{day_before},a,1\n{seen},a,15\n")
    told = forecast(client, seen + dt.timedelta(days=1), interval=0.99)
    start, full, end = (stage_of(told, "a", stage) for stage in BLOOM_STAGES)
    assert start["low"] == start["high"] == str(seen)
    assert str(seen) < full["low"] <= end["low"]
    assert full["high"] <= end["high"]
