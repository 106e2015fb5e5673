"""A hindcast's report as text for a terminal, no wider than 100 columns."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence

from rich import box
from rich.console import RenderableType
from rich.table import Table

from models.bloom.set_aside import SetAside
from models.bloom.skill import Score
from service.cli.tables import WIDEST
from service.ingest.report import counted
from service.usecases.hindcast import GroupScore, HindcastReport, SeasonRule
from service.words.forecast import lead_words
from service.words.heat_rules import rule_words
from service.words.set_aside import set_aside_words, why_alike

FIGURES = (
    "n",
    "bias",
    "by\nseason",
    "MAE",
    "RMSE",
    "90 %\nrange",
    "CRPS",
    "by\ndates",
    "skill",
    "90 %\nrange",
)


def score_tables(
    scores: Sequence[GroupScore], report: HindcastReport, *, by_cultivar: bool
) -> Iterable[RenderableType]:
    """A table a stage: one row a lead, and with ``by_cultivar`` one a cultivar and lead."""
    for stage in report.stages:
        groups = [group for group in scores if group.stage == stage]
        if groups:
            yield _table(stage, report.interval, [group for group in groups if group.cultivar is None])
        if groups and by_cultivar:
            yield _table(stage, report.interval, [group for group in groups if group.cultivar is not None])


def _table(stage: str, interval: float, groups: Sequence[GroupScore]) -> Table:
    """Of all cultivars together, or of each; the latter is too wide to have ranges too."""
    table = Table(box=box.SIMPLE_HEAD, title=stage, title_justify="left", title_style="bold", padding=0)
    each = groups[0].cultivar is not None
    table.width = WIDEST if each else None
    if each:
        table.add_column("cultivar", ratio=1)
    table.add_column("lead", no_wrap=True, min_width=13)
    for name in (*FIGURES, f"inside\n{interval * 100:g} %", "by\nseason"):
        if not (each and "range" in name):
            table.add_column(name, justify="right", no_wrap=True, min_width=4)
    before = None
    for group in groups:
        cells = [lead_words(group.lead), *_figures(group, ranges=not each)]
        if group.cultivar is not None:
            if before not in (None, group.cultivar):
                table.add_section()
            cells.insert(0, group.cultivar if group.cultivar != before else "")
            before = group.cultivar
        table.add_row(*cells)
    return table


def _figures(found: Score, *, ranges: bool) -> tuple[str, ...]:
    def with_range(value: float, low: float, high: float, digits: int) -> tuple[str, ...]:
        range_told = "-" if math.isnan(low) else f"{low:.{digits}f}..{high:.{digits}f}"
        return (_figure(value), range_told) if ranges else (_figure(value),)

    return (
        str(found.n),
        _signed(found.bias),
        _signed(found.bias_by_season),
        _figure(found.mae),
        *with_range(found.rmse, found.rmse_low, found.rmse_high, 1),
        _figure(found.crps),
        _figure(found.baseline_rmse),
        *with_range(found.skill, found.skill_low, found.skill_high, 2),
        _figure(found.coverage),
        _figure(found.coverage_by_season),
    )


def _signed(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:+.2f}"


def _figure(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:.2f}"


def rule_points(rules: Sequence[SeasonRule], *, us: bool) -> list[str]:
    """Which heat rule each season was forecast with, the most frequent first."""
    seasons_of: dict[str, list[int]] = defaultdict(list)
    for chosen in rules:
        seasons_of[rule_words(chosen.heat, us=us)].append(chosen.season)
    ranked = sorted(seasons_of.items(), key=lambda item: -len(item[1]))
    return [
        f"{text}: {counted(len(seasons), 'season')}{'' if place == 0 else f' ({_years(seasons)})'}"
        for place, (text, seasons) in enumerate(ranked)
    ]


def not_scored_points(report: HindcastReport) -> list[str]:
    """What was not scored; dates with one reason are told together."""
    by_reason: dict[str, list[SetAside]] = defaultdict(list)
    for slip in report.not_scored:
        by_reason[why_alike(slip.why)].append(slip)
    texts = []
    for why, those in by_reason.items():
        if len(those) == 1:
            texts.append(set_aside_words(those[0]))
        else:
            texts.append(f"{len(those)} dates of {_years(sorted({slip.season for slip in those}))}: {why}")
    return texts


def _years(years: Sequence[int]) -> str:
    return ", ".join(map(str, years))
