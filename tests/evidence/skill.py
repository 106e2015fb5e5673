"""Write the measured skill: ``python -m tests.evidence.skill`` rewrites skill.md beside this script.

It hindcasts the open records in ``../shared/data`` (or ``CAPFALL_OPEN_DATA``) as ``capfall hindcast`` does, on all
cores; that takes some ten minutes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from models.bloom.skill import Score
from service.cli import hindcast_tables
from service.ingest.report import counted
from service.usecases.fits import DEFAULT_STAGES
from service.usecases.hindcast import HindcastOptions, HindcastReport, plan_hindcast, run_hindcast
from service.usecases.hindcast_files import read_past
from service.words.forecast import lead_words
from service.workers import Workers
from tests.ingest.test_open_data import open_data

FILE = Path(__file__).with_suffix(".md")

HEAD = """\
# Skill on open records

Written by `python -m tests.evidence.skill`; [DEVELOPERS](../../DEVELOPERS.md#evidence-of-skill) says how to read it.

Nested: for each season the heat rule is chosen and everything is fitted without it, then the season is forecast at
every lead from what was known then. "Past only": from the seasons before it alone, their dates and their weather;
scored are the seasons after the first 8. "Left out": from all other seasons; drift comes from earlier ones only. These
logs are taken as checked every day. Errors are in days. "By dates" is the RMSE of the cultivar's own mean date in the
seasons learned from; skill is 1 - CRPS over the CRPS of those dates. In brackets: 90 % of what comes when the seasons
are drawn again. Bias and the share inside the 80 % interval stand by date and, after the stroke, by season, where each
season counts alike.
"""


@dataclass(frozen=True)
class OpenRecord:
    """One open record: its folder, what it holds, and where it is from. [degree]"""

    folder: str
    title: str
    latitude: float

    @property
    def command(self) -> str:
        """What a reader runs to measure the same."""
        return (
            f".venv/bin/capfall hindcast --temperatures ../shared/data/{self.folder}/temperatures.csv \\\n"
            f"  --bloom-log ../shared/data/{self.folder}/bloom_log.csv --unit C --latitude {self.latitude:g}"
        )

    def hindcast(self) -> HindcastReport:
        """The report of that command."""
        read = read_past(
            open_data(f"{self.folder}/temperatures.csv"),
            open_data(f"{self.folder}/bloom_log.csv"),
            unit="C",
            latitude=self.latitude,
        )
        task = plan_hindcast([read.vineyard], HindcastOptions(stages=DEFAULT_STAGES))
        with Workers() as workers:
            return run_hindcast(task, workers, lambda *_: None)


RECORDS = (
    OpenRecord("prosser_grape", "Grape, 12 cultivars, Prosser", 46.25),
    OpenRecord("klein_altendorf_apple", "Apple, one cultivar, Klein-Altendorf", 50.6),
)


def chapter(record: OpenRecord, report: HindcastReport) -> Iterator[str]:
    """The lines about one record."""
    yield from ("", f"## {record.title}", "", "```sh", record.command, "```", "")
    past, every = (counted(len(rules), "season") for rules in (report.past_rules, report.rules))
    yield f"Past only {past}; left out {every}, each in turn."
    for stage in report.stages:
        for way, scores in (("past only", report.past_scores), ("left out", report.scores)):
            found = [group for group in scores if (group.stage, group.cultivar) == (stage, None)]
            if not found:  # the record has no dates of it
                continue
            yield from ("", f"### {stage}, {way}", "")
            yield "| lead | n | bias | MAE | RMSE | CRPS | by dates | skill | in 80 % |"
            yield "|---|--:|--:|--:|--:|--:|--:|--:|--:|"
            for group in found:
                yield f"| {lead_words(group.lead)} | {' | '.join(_figures(group))} |"
    for heading, rules in (
        ("Heat rules, chosen from the seasons before", report.past_rules),
        ("Heat rules, chosen without the season", report.rules),
    ):
        yield from _points(heading, hindcast_tables.rule_points(rules, us=False))
    yield from _points("Not scored", hindcast_tables.not_scored_points(report))


def _figures(found: Score) -> Iterator[str]:
    yield str(found.n)
    yield f"{found.bias:+.2f} / {found.bias_by_season:+.2f}"
    yield f"{found.mae:.2f}"
    yield f"{found.rmse:.2f} [{found.rmse_low:.1f}, {found.rmse_high:.1f}]"
    yield f"{found.crps:.2f}"
    yield "" if math.isnan(found.baseline_rmse) else f"{found.baseline_rmse:.2f}"
    yield (
        ""
        if math.isnan(found.skill)
        else f"{found.skill:.2f} [{found.skill_low:.2f}, {found.skill_high:.2f}]"
    )
    yield f"{found.coverage:.2f} / {found.coverage_by_season:.2f}"


def _points(heading: str, texts: Iterable[str]) -> Iterator[str]:
    listed = [f"- {text}" for text in texts]
    if listed:
        yield from ("", f"### {heading}", "", *listed)


def page(reports: Iterable[tuple[OpenRecord, HindcastReport]]) -> str:
    """The whole page."""
    lines = [line for record, report in reports for line in chapter(record, report)]
    return HEAD + "\n".join(lines) + "\n"


if __name__ == "__main__":
    FILE.write_text(page((record, record.hindcast()) for record in RECORDS), encoding="utf-8")
