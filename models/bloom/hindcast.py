"""Forecast past seasons as if they were to come, from the seasons before or all others, and score what came of it."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from models.bloom.forecast import Forecast, forecast
from models.bloom.observations import in_stage_order
from models.bloom.search import Prepared, choose, open_to
from models.bloom.set_aside import BeforeHeat, DaysMissing, NoOtherSeason, SetAside, WhySetAside
from models.bloom.site import Site
from models.bloom.skill import Outcome, crps_of_interval, share_inside
from models.bloom.thresholds import Fit, fit_thresholds
from models.errors import NotEnoughData
from models.heat.gaps import MOST_MISSING_SHARE, season_gap_share
from models.heat.season import season_window
from models.records import Block, GapRule, HeatRule, StageInterval, Unit
from models.units import FloatArray

# Days before the stage's mean date on which forecasts are made.
LEADS: tuple[int, ...] = (60, 45, 30, 21, 14, 7, 3)
KNOWN_WEATHER: Final = "known weather"
OTHERS_SEEN: Final = "others seen"
Lead = int | Literal["known weather", "others seen"]
# Scored are dates at least this long after the first block's at the same stage. [day]
SEEN_DAYS_BEFORE = 3
# Past only, the first seasons are learned from alone: as many as a rule is chosen from, at most half of all.
FIRST_SEASONS = 8
DRAWS = 1000
FEWEST_BASELINE_DATES = 2


@dataclass(frozen=True, kw_only=True)
class Hindcast(Outcome):
    """One scored forecast.

    ``lead`` is a number of days before the stage's mean date; `KNOWN_WEATHER` where the whole season's
    temperatures were given, but nothing seen in it; or `OTHERS_SEEN` where besides all that was known on the day on
    which the site's first block was seen at the stage was given; scored are the blocks that came at least
    ``SEEN_DAYS_BEFORE`` days later. The day hangs on the first block alone: chosen by the date that is scored, it
    would tell of that date.
    """

    site: str
    block: str
    cultivar: str
    stage: str
    lead: Lead
    after: dt.date | None
    observed: dt.date
    median: dt.date | None
    low: dt.date | None
    high: dt.date | None


@dataclass(frozen=True, eq=False)
class SeasonHindcast:
    """All scored forecasts of one season, the heat rule chosen without it, and what was not scored, and why."""

    season: int
    rule: HeatRule | None
    rows: tuple[Hindcast, ...]
    not_scored: tuple[SetAside, ...]


def seasons_to_score(sites: Sequence[Site], stages: Sequence[str]) -> tuple[int, ...]:
    """Seasons in which one of the stages was seen at any site."""
    return tuple(sorted({seen.season for site in sites for seen in site.teaching if seen.stage in stages}))


def hindcast_season(
    sites: Sequence[Site],
    season: int,
    *,
    stages: Sequence[str],
    heat: HeatRule | Sequence[Prepared],
    gap_rule: GapRule = "fill_short",
    interval: float = 0.8,
    leads: Sequence[int] = LEADS,
    past_only: bool = False,
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
    past_only : bool
        Learn from earlier seasons alone, as a grower could have then; else from later ones too, whose temperatures
        then also continue the season.

    Returns
    -------
    SeasonHindcast
        What drifts from season to season is taken from earlier seasons only.
    """
    others = [
        site.known_on(season_window(season, site.latitude).start) if past_only else site.without([season])
        for site in sites
    ]
    try:
        rule = heat if isinstance(heat, HeatRule) else _chosen(heat, sites, others, stages)
        fit = fit_thresholds(others, stages=stages, rule=rule, gap_rule=gap_rule)
    except NotEnoughData as error:
        return SeasonHindcast(season, None, (), (SetAside(season, "", "", str(error)),))
    rows: list[Hindcast] = []
    not_scored: list[SetAside] = []
    for site, other in zip(sites, others, strict=True):
        seen = [one for one in site.only(season).teaching if one.stage in fit.stages]
        targets, why_not = _targets(site, seen, fit)
        not_scored += why_not
        if targets:
            rows += _Season(site, other, season, targets, fit, interval, past_only=past_only).rows(leads)
    return SeasonHindcast(season, rule, tuple(rows), tuple(not_scored))


def _chosen(
    heat: Sequence[Prepared], sites: Sequence[Site], others: Sequence[Site], stages: Sequence[str]
) -> HeatRule:
    """The rule that the other seasons alone choose."""
    every, known = ({seen.season for site in some for seen in site.teaching} for some in (sites, others))
    return choose(open_to(heat, others, stages=stages), exclude_seasons=every - known).rule


def _targets(
    site: Site, seen: Sequence[StageInterval], fit: Fit
) -> tuple[list[StageInterval], list[SetAside]]:
    """The dates to score: in order, with temperatures, and of a cultivar that other seasons know."""
    ordered, not_scored = in_stage_order(seen, fit.stages)
    targets = []
    for one in ordered:
        start = season_window(one.season, site.latitude, fit.rule.accumulate_from).start
        if one.by is None:
            continue
        why: WhySetAside | None = None
        if one.cultivar not in fit.cultivars:
            why = NoOtherSeason(one.cultivar)
        elif one.by < start:
            why = BeforeHeat(start)
        elif (share := season_gap_share(site.temperatures, start, one.by)) > MOST_MISSING_SHARE:
            why = DaysMissing(round(share * ((one.by - start).days + 1)), start, one.by)
        if why is None:
            targets.append(one)
        else:
            not_scored.append(SetAside(one.season, one.unit.name, one.stage, why))
    return targets, not_scored


def _block(unit: Unit, cultivar: str) -> Block:
    """A block to forecast for what was looked at; for a whole cultivar one whose key no block can have."""
    return Block(unit.name if unit.kind == "block" else f"cultivar {unit.name}", cultivar, 0.0, 0.0)


class _Season:
    """One site's season under hindcast."""

    def __init__(
        self,
        site: Site,
        others: Site,
        season: int,
        targets: Sequence[StageInterval],
        fit: Fit,
        interval: float,
        *,
        past_only: bool,
    ) -> None:
        self._site, self._season, self._fit, self._interval = site, season, fit, interval
        self._own, self._targets = site.only(season), targets
        self._others = others.teaching
        self._history = None if past_only else site.temperatures
        self._own_days = {(one.cultivar, one.stage): self._baseline(one) for one in targets}
        self._window = season_window(season, site.latitude, fit.rule.accumulate_from)
        self._last_day = self._window.end

    def rows(self, leads: Sequence[int]) -> list[Hindcast]:
        whole = self._forecast(self._last_day, self._targets)
        rows = [self._scored(one, KNOWN_WEATHER, whole) for one in self._targets]
        by_day: dict[dt.date, list[tuple[str, int]]] = defaultdict(list)
        for stage in dict.fromkeys(one.stage for one in self._targets):
            mean = self._mean_date(stage)
            if mean is not None:
                for lead in leads:
                    by_day[mean - dt.timedelta(days=lead)].append((stage, lead))
        for day, asked in sorted(by_day.items()):
            try:
                early = self._forecast(day, self._targets)
            except NotEnoughData:
                continue
            for stage, days_before in asked:
                rows += [self._scored(one, days_before, early) for one in self._targets if one.stage == stage]
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
            learned = self._forecast(self._last_day, targets, self._own.told_on(day))
            rows += [self._scored(one, OTHERS_SEEN, learned) for one in targets]
        return rows

    def _forecast(
        self, as_of: dt.date, targets: Sequence[StageInterval], told: Sequence[StageInterval] = ()
    ) -> Forecast:
        """The blocks of these targets, from what was told; what other blocks tell counts too."""
        places = sorted({(one.unit, one.cultivar) for one in targets})
        return forecast(
            self._fit,
            self._own,
            [_block(unit, cultivar) for unit, cultivar in places],
            as_of=as_of,
            season=self._season,
            interval=self._interval,
            history=self._history,
            told=told,
            draws=DRAWS,
        )

    def _mean_date(self, stage: str) -> dt.date | None:
        days = [self._middle(one) for one in self._others if one.stage == stage]
        known = [day for day in days if not np.isnan(day)]
        if not known:
            return None
        start = season_window(self._season, self._site.latitude).start
        return start + dt.timedelta(days=round(float(np.mean(known))))

    def _days(self, one: StageInterval) -> tuple[float, float]:
        """First and last day of its season on which a stage may have come; -inf where the first look saw it."""
        assert one.by is not None
        start = season_window(one.season, self._site.latitude).start
        first = -np.inf if one.after is None else (one.after - start).days + 1.0
        return first, float((one.by - start).days)

    def _middle(self, one: StageInterval) -> float:
        """Middle of these days; NaN where there is none."""
        if one.by is None or one.after is None:
            return float("nan")
        return sum(self._days(one)) / 2

    def _scored(self, one: StageInterval, lead: Lead, made: Forecast) -> Hindcast:
        assert one.by is not None
        block = _block(one.unit, one.cultivar).key
        place = next(place for place, each in enumerate(made.blocks) if each.block == block)
        found = made.blocks[place].stages[one.stage]
        days = made.draws["day"].to_numpy()[:, place, self._fit.stages.index(one.stage)]
        # a season that ends first counts as a date at its end: late, but not infinitely so
        days = np.where(np.isnan(days), self._window.days, days)
        later = (self._window.start - season_window(self._season, self._site.latitude).start).days
        first, last = (end - later for end in self._days(one))
        low, high = (
            np.inf if day is None else float(self._window.day_index(day)) for day in (found.low, found.high)
        )
        own = self._own_days[one.cultivar, one.stage]
        return Hindcast(
            site=self._site.key,
            season=self._season,
            block=one.unit.name,
            cultivar=one.cultivar,
            stage=one.stage,
            lead=lead,
            after=one.after,
            observed=one.by,
            median=found.median,
            low=found.low,
            high=found.high,
            error=float(np.median(days)) - (self._middle(one) - later),
            crps=crps_of_interval(days, first, last),
            baseline_error=float(own.mean()) - self._middle(one) if own.size else float("nan"),
            baseline_crps=crps_of_interval(own, *self._days(one)) if own.size else float("nan"),
            inside=share_inside(days, low, high, first=first, last=last),
        )

    def _baseline(self, one: StageInterval) -> FloatArray:
        """Days in season of the cultivar's stage in the other seasons; empty where they are too few."""
        days = [
            self._middle(other)
            for other in self._others
            if other.cultivar == one.cultivar and other.stage == one.stage
        ]
        known = [day for day in days if not np.isnan(day)]
        return np.array(known if len(known) >= FEWEST_BASELINE_DATES else [], dtype=np.float64)
