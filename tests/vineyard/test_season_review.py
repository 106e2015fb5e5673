"""What was told against what came."""

from __future__ import annotations

import datetime as dt

from models.records import StageInterval
from models.vineyard.pollen_warnings import WarningCode
from models.vineyard.season_review import LeadSummary, came_of, season_review
from models.vineyard.told import ToldWarning
from tests.vineyard.test_told import BLOOM, DAY, KEY, days, told

GAP: tuple[str, WarningCode] = ("b1", "pollen_gap")
CAME = {KEY: BLOOM}


def test_each_lead_shows_the_last_day_that_was_told_before_it() -> None:
    """Bloom came 18 days after the first day that was told; it was told 4 days late, then 2, then right."""
    said = [told(0, moved=4), told(4, moved=2), told(10, moved=0)]
    review = season_review(said, told(60), CAME)
    (stage,) = review.stages
    assert (stage.block, stage.stage, stage.came) == (*KEY, BLOOM)
    assert [(each.lead, each.told_on, each.off_days, each.inside) for each in stage.foretold] == [
        (14, DAY + days(4), 2, True),
        (7, DAY + days(10), 0, True),
    ]
    assert review.by_lead == (LeadSummary(14, 1, 2.0, 2.0, 1.0), LeadSummary(7, 1, 0.0, 0.0, 1.0))
    late = season_review([told(0, moved=4)], told(60), CAME)
    assert [(each.lead, each.off_days, each.inside) for each in late.stages[0].foretold] == [(14, 4, False)]


def test_a_warning_is_judged_by_what_is_known_after_the_season() -> None:
    def verdict(chance: float | None, came: dict[tuple[str, str], dt.date] = CAME) -> str:
        after = {} if chance is None else {GAP: ToldWarning("watch", chance, past=True)}
        (review,) = season_review([told(0), told(3)], told(60, warnings=after), came).warnings
        assert (review.first_told, review.last_told, review.level) == (DAY, DAY + days(3), "watch")
        return review.verdict

    assert verdict(0.9) == "came"
    assert verdict(0.3) == "unclear"
    assert verdict(0.1) == "did_not_come"
    assert verdict(None) == "did_not_come"
    assert verdict(0.9, {}) == "not_seen"


def test_what_came_and_was_never_told_is_missed_and_what_stands_is_no_forecast() -> None:
    spans = ((BLOOM, BLOOM + days(2)),)
    single: tuple[str, WarningCode] = ("b1", "single_pollen_source")
    after = told(60, warnings={GAP: ToldWarning("act", 0.8, spans), single: ToldWarning("act", 1.0, spans)})
    (review,) = season_review([told(0, warnings={})], after, CAME).warnings
    assert (review.code, review.verdict, review.first_told) == ("pollen_gap", "missed", None)
    assert season_review([told(40, warnings={})], after, CAME).warnings == ()  # nothing was told in time
    standing = told(0, warnings={("b1", "no_viable_pollen"): ToldWarning("act", 1.0)})
    assert season_review([standing], told(60, warnings={}), CAME).warnings == ()


def test_a_date_is_the_middle_of_the_days_between_which_it_came() -> None:
    def seen(block: str | None, after: int | None, by: int | None, season: int = 2026) -> StageInterval:
        at = [None if each is None else DAY + days(each) for each in (after, by)]
        return StageInterval(season, "ash", block, "bloom_start", *at)

    intervals = [seen("a", 0, 1), seen("b", 0, 7), seen("c", None, 7), seen("d", 7, None), seen(None, 0, 1)]
    assert came_of([*intervals, seen("e", 0, 1, 2025)], 2026) == {
        ("a", "bloom_start"): DAY + days(1),
        ("b", "bloom_start"): DAY + days(4),
    }
