"""The page of measured skill is what its script writes."""

from __future__ import annotations

import datetime as dt
import math
import re

from models.bloom.hindcast import Lead
from models.bloom.set_aside import DaysMissing, SetAside
from models.records import HeatRule
from service.usecases.hindcast import GroupScore, HindcastReport, SeasonRule
from tests.evidence.skill import FILE, HEAD, RECORDS, page

FIGURES = ("bias", "mae", "rmse", "crps", "baseline_rmse", "skill", "coverage")
RANGES = {"rmse_low": 1.5, "rmse_high": 2.5, "skill_low": 0.1, "skill_high": 0.4, "coverage_low": 0.0}


def group(cultivar: str | None, lead: Lead, n: int, figures: tuple[float, ...]) -> GroupScore:
    told = dict(zip(FIGURES, figures, strict=True)) | RANGES
    told |= {"bias_by_season": 0.5, "coverage_high": 1.0, "coverage_by_season": 0.7}
    return GroupScore(n=n, seasons=2, **told, stage="bloom_start", cultivar=cultivar, lead=lead)


REPORT = HindcastReport(
    stages=("bloom_start",),
    interval=0.8,
    leads=(14, "others seen"),
    searched=True,
    scores=(
        group(None, 14, 9, (-0.126, 1.0, 2.0, 3.0, 4.0, 0.25, 0.805)),
        group("elder", 14, 1, (9.0,) * 7),
        group(None, "others seen", 2, (0.5, 1.0, 2.0, 3.0, math.nan, math.nan, 1.0)),
    ),
    rules=(SeasonRule(2001, HeatRule("single_sine", 10.0)), SeasonRule(2002, HeatRule("single_sine", 10.0))),
    rows=(),
    past_scores=(group(None, 14, 3, (1.0, 2.0, 3.0, 4.0, 5.0, 0.5, 0.75)),),
    past_rules=(SeasonRule(2002, HeatRule("average", 7.0)),),
    past_rows=(),
    not_scored=tuple(
        SetAside(2001, block, "bloom_start", DaysMissing(days, dt.date(2001, 1, 1), dt.date(2001, 5, 1)))
        for block, days in (("b1", 9), ("b2", 12))
    ),
    seconds=1.0,
)


def test_a_report_as_a_chapter() -> None:
    told = page([(RECORDS[0], REPORT)])
    assert told.startswith(HEAD)
    assert f"\n## {RECORDS[0].title}\n" in told
    assert RECORDS[0].command in told
    assert "Past only 1 season; left out 2 seasons, each in turn." in told
    assert told.index("### bloom_start, past only") < told.index("### bloom_start, left out")
    table = re.findall(r"^\| .*$", told, re.MULTILINE)
    assert [line for line in table if "ahead" in line or "seen" in line] == [
        "| 14 days ahead | 3 | +1.00 / +0.50 | 2.00 | 3.00 [1.5, 2.5] | 4.00 | 5.00 | 0.50 [0.10, 0.40] "
        "| 0.75 / 0.70 |",
        "| 14 days ahead | 9 | -0.13 / +0.50 | 1.00 | 2.00 [1.5, 2.5] | 3.00 | 4.00 | 0.25 [0.10, 0.40] "
        "| 0.81 / 0.70 |",
        "| others seen | 2 | +0.50 / +0.50 | 1.00 | 2.00 [1.5, 2.5] | 3.00 |  |  | 1.00 / 0.70 |",
    ]
    assert "- average above 7 °C, from the season's first day on: 1 season" in told
    assert "- single sine above 10 °C, from the season's first day on: 2 seasons" in told
    assert "- 2 dates of 2001: too many days without temperatures" in told


def test_the_page_that_is_kept_has_the_scripts_form() -> None:
    kept = FILE.read_text(encoding="utf-8")
    assert kept.startswith(HEAD)
    assert re.findall(r"^## (.*)$", kept, re.MULTILINE) == [record.title for record in RECORDS]
    header = next(line for line in page([(RECORDS[0], REPORT)]).splitlines() if line.startswith("| lead"))
    assert kept.count(header) == 14  # four stages of the grapes, three of the apple, two ways each
    assert all(record.command in kept for record in RECORDS)
