"""Hindcast a grower's past seasons, from those before and from all others, and report how good the forecasts were."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

from models.bloom.hindcast import (
    FIRST_SEASONS,
    KNOWN_WEATHER,
    LEADS,
    OTHERS_SEEN,
    Hindcast,
    Lead,
    SeasonHindcast,
    hindcast_season,
    seasons_to_score,
)
from models.bloom.search import Prepared, prepare
from models.bloom.set_aside import SetAside
from models.bloom.site import Site
from models.bloom.skill import Score, score
from models.errors import BadInput, NotEnoughData, Problem, Remedy
from models.records import GapRule, HeatRule, check_base
from models.stages import in_season_order
from service import clock
from service.jobs import Tell
from service.usecases.vineyard_records import VineyardRecords
from service.workers import Workers

FEWEST_SEASONS = 2
LONGEST_LEAD = 200  # [day]
MOST_LEADS = 20
# Share of the whole work that goes into the candidates of the search, about.
SHARE_OF_SEARCH = 0.05


@dataclass(frozen=True)
class HindcastOptions:
    """What to score, and how.

    Attributes
    ----------
    stages : tuple of str
        Stage keys; what was never observed is left out.
    rule : HeatRule or None
        How heat is summed; None: chosen for each season from the others.
    exclude_seasons : tuple of int
        Season labels that are neither scored nor learned from.
    interval : float
        Probability of the intervals whose coverage is scored.
    leads : tuple of int
        Days before a stage's mean date on which to forecast. [day]
    """

    stages: tuple[str, ...]
    rule: HeatRule | None = None
    gap_rule: GapRule = "fill_short"
    exclude_seasons: tuple[int, ...] = ()
    interval: float = 0.8
    leads: tuple[int, ...] = LEADS


@dataclass(frozen=True, kw_only=True)
class GroupScore(Score):
    """Scores of all forecasts of a stage at a lead: of one cultivar, or of all together (None)."""

    stage: str
    cultivar: str | None
    lead: Lead


@dataclass(frozen=True)
class SeasonRule:
    """The heat rule with which a season was forecast."""

    season: int
    heat: HeatRule


@dataclass(frozen=True, kw_only=True)
class HindcastReport:
    """How good the forecasts of past seasons were.

    ``past_scores``, ``past_rules`` and ``past_rows`` are from earlier seasons alone, the others from later ones too.
    ``seconds`` is how long it took.
    """

    stages: tuple[str, ...]
    interval: float
    leads: tuple[Lead, ...]
    searched: bool
    scores: tuple[GroupScore, ...]
    rules: tuple[SeasonRule, ...]
    rows: tuple[Hindcast, ...]
    past_scores: tuple[GroupScore, ...]
    past_rules: tuple[SeasonRule, ...]
    past_rows: tuple[Hindcast, ...]
    not_scored: tuple[SetAside, ...]
    seconds: float


@dataclass(frozen=True, eq=False)
class HindcastTask:
    """All that a hindcast needs; nothing is read while it runs."""

    sites: tuple[Site, ...]
    seasons: tuple[int, ...]
    options: HindcastOptions


def plan_hindcast(vineyards: Sequence[VineyardRecords], options: HindcastOptions) -> HindcastTask:
    """Check what is asked for, and gather the past of the vineyards, without the season that is not over.

    Raises
    ------
    BadInput
        If a stage is unknown, the interval is no probability, a lead is none, or the base is out of bounds.
    NotEnoughData
        If there are fewer than two seasons with observations.
    """
    stages = in_season_order(options.stages)
    if options.rule is not None:
        check_base(options.rule.base_c, "base")
    if not 0 < options.interval < 1:
        raise BadInput(
            "the interval is not a probability",
            [Problem("interval", f"{options.interval:g} is not between 0 and 1")],
        )
    if len(options.leads) > MOST_LEADS or any(not 0 <= lead <= LONGEST_LEAD for lead in options.leads):
        problem = f"give at most {MOST_LEADS} numbers of days from 0 to {LONGEST_LEAD}"
        raise BadInput("the leads cannot be used", [Problem("leads", problem)])
    past = [
        vineyard.site.before(vineyard.site.running_season).without(options.exclude_seasons)
        for vineyard in vineyards
    ]
    sites = tuple(site for site in past if any(seen.stage in stages for seen in site.teaching))
    seasons = seasons_to_score(sites, stages)
    if len(seasons) < FEWEST_SEASONS:
        raise NotEnoughData(
            f"a hindcast needs {FEWEST_SEASONS} past seasons in which {', '.join(stages)} was observed, and there "
            f"{'is 1' if seasons else 'is none'}",
            remedy=Remedy.EARLIER_BLOOM,
        )
    leads = tuple(sorted(set(options.leads), reverse=True))
    return HindcastTask(sites, seasons, replace(options, stages=stages, leads=leads))


def run_hindcast(task: HindcastTask, workers: Workers, tell: Tell) -> HindcastReport:
    """Forecast and score every season, on all cores.

    Raises what `Workers.run_each` raises, and what the models do.
    """
    began = clock.seconds()
    options, sites, seasons = task.options, task.sites, task.seasons
    heat: HeatRule | list[Prepared]
    done_before = 0.0
    if options.rule is None:
        tell(0.0, "choosing")
        work = partial(prepare, sites, stages=options.stages, gap_rule=options.gap_rule)
        (heat,) = workers.run_each([work], lambda _: None)
        done_before = SHARE_OF_SEARCH
    else:
        heat = options.rule

    def told(done: int) -> None:
        share = done_before + (1 - done_before) * done / len(seasons)
        tell(share, f"seasons {done}/{len(seasons)}")

    told(0)
    first = min(FIRST_SEASONS, len(seasons) // 2)
    works = [
        partial(_season, sites, season, options, heat, from_past=place >= first)
        for place, season in enumerate(seasons)
    ]
    return _report(task, workers.run_each(works, told), clock.seconds() - began)


def _season(
    sites: Sequence[Site],
    season: int,
    options: HindcastOptions,
    heat: HeatRule | Sequence[Prepared],
    *,
    from_past: bool,
) -> tuple[SeasonHindcast, SeasonHindcast | None]:
    """A season from all others, and from the ones before it, if that is wanted."""
    hindcast = partial(
        hindcast_season,
        sites,
        season,
        stages=options.stages,
        heat=heat,
        gap_rule=options.gap_rule,
        interval=options.interval,
        leads=options.leads,
    )
    return hindcast(), hindcast(past_only=True) if from_past else None


def _report(
    task: HindcastTask, seasons: Sequence[tuple[SeasonHindcast, SeasonHindcast | None]], seconds: float
) -> HindcastReport:
    options = task.options
    every = [found for found, _ in seasons]
    past = [found for _, found in seasons if found is not None]
    rows, past_rows = (tuple(row for season in some for row in season.rows) for some in (every, past))
    rules, past_rules = (
        tuple(SeasonRule(found.season, found.rule) for found in some if found.rule is not None)
        for some in (every, past)
    )
    leads: tuple[Lead, ...] = (KNOWN_WEATHER, *options.leads, OTHERS_SEEN)
    return HindcastReport(
        stages=options.stages,
        interval=options.interval,
        leads=leads,
        searched=options.rule is None,
        scores=tuple(_scores(rows, options.stages, leads)),
        rules=rules,
        rows=rows,
        past_scores=tuple(_scores(past_rows, options.stages, leads)),
        past_rules=past_rules,
        past_rows=past_rows,
        not_scored=tuple(slip for found in every for slip in found.not_scored),
        seconds=seconds,
    )


def _scores(rows: Sequence[Hindcast], stages: Sequence[str], leads: Sequence[Lead]) -> list[GroupScore]:
    """For each stage and lead that has forecasts: all cultivars together, then each."""
    scores = []
    for stage in stages:
        of_stage = [row for row in rows if row.stage == stage]
        for cultivar in (None, *sorted({row.cultivar for row in of_stage})):
            for lead in leads:
                group = [
                    row
                    for row in of_stage
                    if row.lead == lead and (cultivar is None or row.cultivar == cultivar)
                ]
                if group:
                    scores.append(GroupScore(stage=stage, cultivar=cultivar, lead=lead, **vars(score(group))))
    return scores
