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
from service.usecases.hindcast import GroupScore, HindcastReport
from service.words.forecast import lead_words
from service.words.heat_rules import rule_words
from service.words.set_aside import set_aside_words, why_alike

FIGURES = ("n", "bias", "MAE", "RMSE", "CRPS", "by dates", "skill", "covered")


def score_tables(report: HindcastReport, *, by_cultivar: bool) -> Iterable[RenderableType]:
    """A table a stage: one row a lead, and with ``by_cultivar`` one a cultivar and lead."""
    for stage in report.stages:
        groups = [group for group in report.scores if group.stage == stage]
        if groups:
            yield _table(stage, report.interval, [group for group in groups if group.cultivar is None])
        if groups and by_cultivar:
            yield _table(stage, report.interval, [group for group in groups if group.cultivar is not None])


def _table(stage: str, interval: float, groups: Sequence[GroupScore]) -> Table:
    table = Table(
        box=box.SIMPLE_HEAD, title=stage, title_justify="left", title_style="bold", padding=(0, 1, 0, 0)
    )
    table.width = None if groups[0].cultivar is None else WIDEST
    if groups[0].cultivar is not None:
        table.add_column("cultivar", ratio=1)
    table.add_column("lead", no_wrap=True, min_width=13)
    for name in FIGURES:
        shown = f"in {interval * 100:g} %" if name == "covered" else name
        table.add_column(shown, justify="right", no_wrap=True, min_width=6)
    before = None
    for group in groups:
        cells = [lead_words(group.lead), *_figures(group)]
        if group.cultivar is not None:
            if before not in (None, group.cultivar):
                table.add_section()
            cells.insert(0, group.cultivar if group.cultivar != before else "")
            before = group.cultivar
        table.add_row(*cells)
    return table


def _figures(found: Score) -> tuple[str, ...]:
    days = (found.bias, found.mae, found.rmse, found.crps, found.baseline_rmse)
    return (
        str(found.n),
        f"{found.bias:+.2f}",
        *(_figure(value) for value in days[1:]),
        _figure(found.skill),
        _figure(found.coverage),
    )


def _figure(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:.2f}"


def rule_points(report: HindcastReport, *, us: bool) -> list[str]:
    """Which heat rule each season was forecast with, the most frequent first."""
    seasons_of: dict[str, list[int]] = defaultdict(list)
    for chosen in report.rules:
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
