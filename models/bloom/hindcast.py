"""Forecast past seasons as if they were to come, each from all the others, and score what came of it."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.bloom.forecast import Forecast, forecast
from models.bloom.observations import in_stage_order, unit_name
from models.bloom.search import Prepared, choose
from models.bloom.skill import Outcome, crps_of_draws
from models.bloom.thresholds import Fit, fit_thresholds
from models.errors import NotEnoughData
from models.heat.gaps import MOST_MISSING_SHARE, season_gap_share
from models.heat.season import season_window
from models.records import Block, GapRule, HeatRule, Site, StageInterval
from models.units import FloatArray

# Days before the stage's mean date on which forecasts are made.
LEADS: tuple[int, ...] = (60, 45, 30, 21, 14, 7, 3)
KNOWN_WEATHER = "known weather"
OTHERS_SEEN = "others seen"
# Scored are dates at least this long after the first block's at the same stage. [day]
SEEN_DAYS_BEFORE = 3
DRAWS = 1000
FEWEST_BASELINE_DATES = 2


@dataclass(frozen=True)
class Hindcast:
    """One scored forecast.

    ``lead`` is a number of days before the stage's mean date; `KNOWN_WEATHER` where the whole season's
    temperatures were given, but nothing seen in it; or `OTHERS_SEEN` where besides all that was known on the day on
    which the site's first block was seen at the stage was given; scored are the blocks that came at least
    ``SEEN_DAYS_BEFORE`` days later. The day hangs on the first block alone: chosen by the date that is scored, it
    would tell of that date.
    """

    site: str
    season: int
    block: str
    cultivar: str
    stage: str
    lead: str
    observed: dt.date
    median: dt.date | None
    low: dt.date | None
    high: dt.date | None
    outcome: Outcome


@dataclass(frozen=True, eq=False)
class SeasonHindcast:
    """All scored forecasts of one season, the heat rule chosen without it, and what was not scored, and why."""

    season: int
    rule: HeatRule | None
    rows: tuple[Hindcast, ...]
    not_scored: tuple[str, ...]


def seasons_to_score(sites: Sequence[Site], stages: Sequence[str]) -> tuple[int, ...]:
    """Seasons in which one of the stages was seen at any site."""
    return tuple(
        sorted({seen.season for site in sites for seen in site.observations if seen.stage in stages})
    )


def hindcast_season(
    sites: Sequence[Site],
    season: int,
    *,
    stages: Sequence[str],
    heat: HeatRule | Sequence[Prepared],
    gap_rule: GapRule = "fill_short",
    interval: float = 0.8,
    leads: Sequence[int] = LEADS,
) -> SeasonHindcast:
    """Forecast one season at every lead from a fit, and a choice of the heat rule, that have not seen it.

    Parameters
    ----------
    sites : sequence of Site
    season : int
    stages : sequence of str
        Stage keys in season order.
    heat : HeatRule or sequence of Prepared
        The rule, or the candidates (from `models.bloom.search.prepare`) among which to choose without the season.
    gap_rule : GapRule
    interval : float
        Probability of the intervals whose coverage is scored.
    leads : sequence of int
        [day]

    Returns
    -------
    SeasonHindcast
        Temperatures of the other seasons, later ones too, continue the season; what drifts from season to
        season is taken from earlier ones only.
    """
    try:
        rule = heat if isinstance(heat, HeatRule) else choose(heat, exclude_seasons=[season]).rule
        fit = fit_thresholds(sites, stages=stages, rule=rule, gap_rule=gap_rule, exclude_seasons=[season])
    except NotEnoughData as error:
        return SeasonHindcast(season, None, (), (str(error),))
    rows: list[Hindcast] = []
    not_scored: list[str] = []
    for site in sites:
        seen = [one for one in site.observations if one.season == season and one.stage in fit.stages]
        targets, why_not = _targets(site, seen, fit)
        not_scored += why_not
        if targets:
            rows += _Season(site, season, seen, targets, fit, interval).rows(leads)
    return SeasonHindcast(season, rule, tuple(rows), tuple(not_scored))


def _targets(site: Site, seen: Sequence[StageInterval], fit: Fit) -> tuple[list[StageInterval], list[str]]:
    """The dates to score: in order, with temperatures, and of a cultivar that other seasons know."""
    ordered, slips = in_stage_order(seen, fit.stages)
    not_scored = [f"{slip.season} {slip.block} {slip.stage}: {slip.why}" for slip in slips]
    targets = []
    for one in ordered:
        start = season_window(one.season, site.latitude, fit.rule.accumulate_from).start
        if one.by is None:
            continue
        name = f"{one.season} {unit_name(one)} {one.stage}"
        if one.cultivar not in fit.cultivars:
            not_scored.append(f"{name}: no other season of {one.cultivar}")
        elif one.by < start:
            not_scored.append(f"{name}: falls before the sum of heat starts")
        elif season_gap_share(site.temperatures, start, one.by) > MOST_MISSING_SHARE:
            not_scored.append(f"{name}: more than 5 % of its days are without temperatures")
        else:
            targets.append(one)
    return targets, not_scored


def _told_by(one: StageInterval, day: dt.date) -> StageInterval | None:
    """What an observation tells on a day: the stage if it was seen by then, else that it had not come yet."""
    if one.by is not None and one.by <= day:
        return one
    if one.after is None:
        return None
    return replace(one, after=min(one.after, day), by=None)


class _Season:
    """One site's season under hindcast."""

    def __init__(
        self,
        site: Site,
        season: int,
        seen: Sequence[StageInterval],
        targets: Sequence[StageInterval],
        fit: Fit,
        interval: float,
    ) -> None:
        self._site, self._season, self._fit, self._interval = site, season, fit, interval
        self._seen, self._targets = tuple(seen), targets
        self._others = tuple(one for one in site.observations if one.season != season)
        self._own_days = {(one.cultivar, one.stage): self._baseline(one) for one in targets}
        self._window = season_window(season, site.latitude, fit.rule.accumulate_from)
        self._last_day = self._window.end

    def rows(self, leads: Sequence[int]) -> list[Hindcast]:
        whole = self._forecast(self._last_day, self._targets)
        rows = [self._scored(one, KNOWN_WEATHER, whole) for one in self._targets]
        by_day: dict[dt.date, list[tuple[str, str]]] = defaultdict(list)
        for stage in dict.fromkeys(one.stage for one in self._targets):
            mean = self._mean_date(stage)
            if mean is not None:
                for lead in leads:
                    by_day[mean - dt.timedelta(days=lead)].append((stage, str(lead)))
        for day, asked in sorted(by_day.items()):
            stages = [stage for stage, _ in asked]
            try:
                early = self._forecast(day, [one for one in self._targets if one.stage in stages])
            except NotEnoughData:
                continue
            for stage, label in asked:
                rows += [self._scored(one, label, early) for one in self._targets if one.stage == stage]
        return rows + self._after_others()

    def _after_others(self) -> list[Hindcast]:
        """Forecasts with known weather, on the day of a stage's first block, of those that came days later."""
        by_day: dict[dt.date, list[StageInterval]] = defaultdict(list)
        for stage in dict.fromkeys(one.stage for one in self._targets):
            dates = {one: one.by for one in self._targets if one.stage == stage and one.by is not None}
            first = min(dates.values())
            later = [one for one, day in dates.items() if (day - first).days >= SEEN_DAYS_BEFORE]
            if later:
                by_day[first] += later
        rows = []
        for day, targets in sorted(by_day.items()):
            told = [seen for one in self._seen if (seen := _told_by(one, day)) is not None]
            learned = self._forecast(self._last_day, targets, told)
            rows += [self._scored(one, OTHERS_SEEN, learned) for one in targets]
        return rows

    def _forecast(
        self, as_of: dt.date, targets: Sequence[StageInterval], told: Sequence[StageInterval] = ()
    ) -> Forecast:
        """The blocks of these targets, from what was told; what other blocks tell counts too."""
        places = sorted({(unit_name(one), one.cultivar) for one in targets})
        return forecast(
            self._fit,
            replace(self._site, observations=tuple(told)),
            [Block(name, cultivar, 0.0, 0.0) for name, cultivar in places],
            as_of=as_of,
            season=self._season,
            interval=self._interval,
            history=self._site.temperatures,
            draws=DRAWS,
        )

    def _mean_date(self, stage: str) -> dt.date | None:
        days = [self._day_in_season(one) for one in self._others if one.stage == stage and one.by is not None]
        if not days:
            return None
        start = season_window(self._season, self._site.latitude).start
        return start + dt.timedelta(days=round(float(np.mean(days))))

    def _day_in_season(self, one: StageInterval) -> int:
        assert one.by is not None
        return (one.by - season_window(one.season, self._site.latitude).start).days

    def _scored(self, one: StageInterval, lead: str, made: Forecast) -> Hindcast:
        assert one.by is not None
        name = unit_name(one)
        place = next(place for place, block in enumerate(made.blocks) if block.block == name)
        found = made.blocks[place].stages[one.stage]
        days = made.draws["day"].to_numpy()[:, place, self._fit.stages.index(one.stage)]
        # a season that ends first counts as a date at its end: late, but not infinitely so
        days = np.where(np.isnan(days), self._window.days, days)
        observed = float(self._window.day_index(one.by))
        own = self._own_days[one.cultivar, one.stage]
        return Hindcast(
            self._site.key,
            self._season,
            name,
            one.cultivar,
            one.stage,
            lead,
            one.by,
            found.median,
            found.low,
            found.high,
            Outcome(
                error=float(np.median(days)) - observed,
                crps=float(crps_of_draws(days, np.array(observed))),
                baseline_error=float(own.mean() - self._day_in_season(one)) if own.size else float("nan"),
                baseline_crps=(
                    float(crps_of_draws(own, np.array(float(self._day_in_season(one)))))
                    if own.size
                    else float("nan")
                ),
                covered=(
                    found.low is not None
                    and found.low <= one.by
                    and (found.high is None or one.by <= found.high)
                ),
            ),
        )

    def _baseline(self, one: StageInterval) -> FloatArray:
        """Days in season of the cultivar's stage in the other seasons; empty where they are too few."""
        dates = [
            self._day_in_season(other)
            for other in self._others
            if other.cultivar == one.cultivar and other.stage == one.stage and other.by is not None
        ]
        return np.array(dates if len(dates) >= FEWEST_BASELINE_DATES else [], dtype=np.float64)
