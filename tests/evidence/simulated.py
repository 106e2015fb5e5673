"""Write what simulated truth shows: ``python -m tests.evidence.simulated`` rewrites simulated.md beside this script.

Some minutes on all cores. What comes of it is told by state of knowledge, since intervals rest on another part of the
model in each.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path

import numpy as np

from models.bloom.forecast import Forecast, forecast
from models.bloom.search import choose_rule
from models.bloom.skill import Outcome, crps_of_draws, score
from models.bloom.thresholds import Fit, fit_thresholds
from models.heat.season import season_window
from models.records import Block, HeatRule, StageInterval
from models.units import FloatArray
from service.workers import Workers
from tests.evidence.worlds import (
    CULTIVARS,
    LATITUDE,
    SEASONS,
    STAGES,
    WITH_SKILL,
    WITHOUT_SKILL,
    Vineyard,
    World,
    vineyard,
)

FILE = Path(__file__).with_suffix(".md")
VINEYARDS = 45
SCORED = SEASONS[-4:]
KNOWN, AHEAD, SEEN, OVERDUE = "weather known", "14 days ahead", "others seen", "overdue"
DAYS_AHEAD = 14
DRAWS = 1000
# A season is overdue where none was seen on the day by which the first block was to come with this chance.
SAID_BY_THEN = 0.8
BLOCKS = tuple(Block(key, key, 0.0, 0.0) for key in CULTIVARS)

YEARS = 10_000  # apart are the labels of two vineyards' seasons
Scored = Mapping[tuple[str, str], Sequence[Outcome]]  # by state of knowledge and stage


def hindcast(world: World, seed: int) -> Scored:
    """The last seasons of one vineyard, each forecast from the seasons before alone, and held against the true days."""
    made = vineyard(world, seed)
    found: dict[tuple[str, str], list[Outcome]] = defaultdict(list)
    rule = HeatRule()
    if world.searched:
        rule = choose_rule([made.site.known_on(_start(SCORED[0]))], stages=STAGES).rule
    for season in SCORED:
        fit = fit_thresholds([made.site.known_on(_start(season))], stages=STAGES, rule=rule)
        for state, stage, said, cultivars in _forecasts(fit, made, season):
            for cultivar in cultivars:
                outcome = _outcome(said, made, cultivar, stage, label=seed * YEARS + season)
                found[state, stage].append(outcome)
    return found


def _start(season: int) -> dt.date:
    return season_window(season, LATITUDE).start


def _forecasts(fit: Fit, made: Vineyard, season: int) -> Iterator[tuple[str, str, Forecast, Sequence[str]]]:
    """State of knowledge, stage, what is said then, and of which cultivars it is scored."""
    site, start = made.site.only(season), _start(season)
    ask = partial(forecast, fit, site, BLOCKS, season=season, draws=DRAWS)
    end = season_window(season, LATITUDE).end
    known = ask(as_of=end, told=())
    usual = np.mean(
        [(one.by - _start(one.season)).days for one in made.site.before(season).teaching if one.by]
    )
    ahead = ask(as_of=start + dt.timedelta(days=round(usual) - DAYS_AHEAD), told=())
    for stage in STAGES:
        came = {one.cultivar: one.by for one in site.teaching if one.stage == stage and one.by}
        yield KNOWN, stage, known, tuple(came)
        yield AHEAD, stage, ahead, tuple(came)
        first = min(came.values())
        to_come = [cultivar for cultivar, by in came.items() if by > first]
        if to_come:
            yield SEEN, stage, ask(as_of=end, told=site.told_on(first)), to_come
    stage = STAGES[0]
    looked_at = sorted({one.cultivar for one in site.teaching})
    places = [CULTIVARS.index(cultivar) for cultivar in looked_at]
    of_first = np.sort(_days(known, stage)[:, places].min(axis=1))
    by_then = float(of_first[int(SAID_BY_THEN * of_first.size)])
    if all(made.true_day(season, cultivar, stage) > by_then for cultivar in looked_at):
        look = start + dt.timedelta(days=int(by_then))
        told = [StageInterval(season, cultivar, cultivar, stage, look, None) for cultivar in looked_at]
        yield OVERDUE, stage, ask(as_of=end, told=told), looked_at


def _days(said: Forecast, stage: str) -> FloatArray:
    """Drawn days since 1 January; shape (draw, block)."""
    shift = (dt.date.fromisoformat(said.draws.attrs["season_start"]) - _start(said.season)).days
    return said.draws["day"].sel(stage=stage).to_numpy() + shift


def _outcome(said: Forecast, made: Vineyard, cultivar: str, stage: str, *, label: int) -> Outcome:
    season, start = said.season, _start(said.season)
    place = CULTIVARS.index(cultivar)
    days = _days(said, stage)[:, place]
    true = made.true_day(season, cultivar, stage)
    own = made.days[: season - SEASONS[0], place, STAGES.index(stage)]
    found = said.blocks[place].stages[stage]
    assert found.low is not None
    assert found.high is not None
    return Outcome(
        season=label,
        error=float(np.median(days)) - true,
        crps=float(crps_of_draws(days, np.array(true))),
        baseline_error=float(own.mean()) - true,
        baseline_crps=float(crps_of_draws(own, np.array(true))),
        inside=float((found.low - start).days <= true <= (found.high - start).days),
    )


HEAD = """\
# Skill on simulated truth

Written by `python -m tests.evidence.simulated`; the worlds stand in [worlds.py](worlds.py). Each row is of {vineyards}
vineyards with 5 cultivars and 20 seasons, looked at every third day, in some seasons at few blocks; the last 4 seasons
are forecast, each from the seasons before alone, and held against the true days. "Overdue": on the day by which the
first block was to have come with a chance of 0.8 none had, and that is told of all. Errors are in days. Shares inside
the 80 % interval are by date and, after the stroke, by season, where each season counts alike, with the standard error
of that over vineyards. Skill is 1 - CRPS over the CRPS of the cultivar's own past dates; in brackets 90 % of what comes
when seasons are drawn again. Where dates are of other years or at random the weather says nothing; other blocks of the
same season still do.
"""
TABLE = (
    "| world | state | stage | n | seasons | RMSE | skill | in 80 % |",
    "|---|---|---|--:|--:|--:|--:|--:|",
)


def run(world: World, seeds: Sequence[int]) -> Scored:
    """All vineyards of a world together."""
    together: dict[tuple[str, str], list[Outcome]] = defaultdict(list)
    for seed in seeds:
        for state, outcomes in hindcast(world, seed).items():
            together[state] += outcomes
    return together


def standard_error(outcomes: Sequence[Outcome]) -> float:
    """Of the share inside by season: vineyards are independent, their seasons share a past."""
    seasons: dict[int, list[float]] = defaultdict(list)
    for one in outcomes:
        seasons[one.season].append(one.inside)
    shares = {label: float(np.mean(inside)) for label, inside in seasons.items()}
    mean = float(np.mean(list(shares.values())))
    off: dict[int, float] = defaultdict(float)
    for label, share in shares.items():
        off[label // YEARS] += share - mean
    return float(np.sqrt(np.sum(np.square(list(off.values()))))) / len(shares)


def page(scored: Mapping[str, Scored], vineyards: int) -> str:
    """The whole page."""
    rows = [
        f"| {world} | {state} | {stage} | {_figures(outcomes)} |"
        for world, by_state in scored.items()
        for (state, stage), outcomes in by_state.items()
    ]
    return "\n".join((HEAD.format(vineyards=vineyards), *TABLE, *rows, ""))


def _figures(outcomes: Sequence[Outcome]) -> str:
    found = score(outcomes)
    skill = f"{found.skill:.2f} [{found.skill_low:.2f}, {found.skill_high:.2f}]"
    held = f"{found.coverage:.2f} / {found.coverage_by_season:.2f} ± {standard_error(outcomes):.3f}"
    return f"{found.n} | {found.seasons} | {found.rmse:.2f} | {skill} | {held}"


if __name__ == "__main__":
    with Workers() as workers:
        asked = [(world, partial(run, world, range(VINEYARDS))) for world in (*WITH_SKILL, *WITHOUT_SKILL)]
        done = workers.run_each([work for _, work in asked], lambda _: None)
    titled = {world.title: found for (world, _), found in zip(asked, done, strict=True)}
    FILE.write_text(page(titled, VINEYARDS), encoding="utf-8")
