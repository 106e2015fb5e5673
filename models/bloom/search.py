"""Choose how heat is counted, by how well each way predicts seasons that it has not seen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.bloom.estimation import Start, estimate
from models.bloom.leave_out import left_out_prediction, log_probability
from models.bloom.mixed_model import first_pseudo
from models.bloom.observations import HeatIntervals, IntArray, heat_intervals
from models.bloom.rule_choice import NearestToDefault, TooFewToChoose, WhyRule
from models.bloom.site import Site
from models.errors import NotEnoughData
from models.heat.season import season_window
from models.records import GapRule, HeatMethod, HeatRule, Unit
from models.stages import STAGE_KEYS
from models.units import FloatArray

# The trade default: base 10 °C (50 °F), no upper temperature, simple average, from the hemisphere's first day.
TRADE_DEFAULT = HeatRule()
METHODS: tuple[HeatMethod, ...] = ("average", "single_sine")
BASES_C = (4.0, 7.0, 10.0)
UPPERS_C = (None, 30.0)
# Days after the trade default's first day on which the sum may start: 1 January, 1 and 15 February, ... north.
STARTS = ("01-01", "02-01", "02-15", "03-01", "03-15", "04-01")
STARTS_SOUTH = ("07-01", "08-01", "08-15", "09-01", "09-15", "10-01")
# A sum that starts later than this before the earliest observations cannot tell warm from cold springs. [day]
SHORTEST_SUM_DAYS = 14
EARLIEST_SHARE = 0.05
FEWEST_SEASONS = 8
# Spreads may stop this far from settled, relatively: a score moves by less than 0.001, the estimation is three times
# as quick.
TOLERANCE = 3e-3
BLOOM_AND_LATER = STAGE_KEYS[STAGE_KEYS.index("bloom_start") :]
# A difference in mean log probability too small to matter: 2 % in probability. Ours. The wider margin of one
# standard error over seasons cost half a day of nested error on an open grape data set.
NEGLIGIBLE = 0.02


@dataclass(frozen=True)
class Candidate:
    """One way to count heat, and how it did.

    Attributes
    ----------
    rule : HeatRule
    score : float
        Mean log probability of an observation when its season is left out; higher is better.
    behind, standard_error : float
        By how much the score is behind the best, and the standard error of that over seasons.
    """

    rule: HeatRule
    score: float
    behind: float
    standard_error: float


@dataclass(frozen=True)
class Search:
    """The rule that was chosen, why, and all candidates, best first (none where seasons were too few)."""

    rule: HeatRule
    why: WhyRule | str  # a text in fits that were made before reasons had codes
    candidates: tuple[Candidate, ...]


@dataclass(frozen=True, eq=False)
class Prepared:
    """A candidate's rule, the heat at all observations under it, and where an estimation may start from."""

    rule: HeatRule
    intervals: HeatIntervals
    start: Start | None

    @property
    def units(self) -> list[tuple[str, int, str, Unit]]:
        """Place, season, site and block of each row."""
        told = self.intervals
        seasons = [told.seasons[season] for season in told.season_of]
        return [
            (*season, site, unit) for season, site, unit in zip(seasons, told.sites, told.units, strict=True)
        ]

    def without(self, seasons: Collection[int]) -> Prepared:
        """The same without some seasons, and without cultivars that were seen in no other."""
        labels = np.array([season for _, season in self.intervals.seasons])
        kept = ~np.isin(labels[self.intervals.season_of], list(seasons))
        start = self.start and self.start.select(kept, np.unique(self.intervals.season_of[kept]))
        return Prepared(self.rule, self.intervals.select(kept).relabelled(), start)


def choose_rule(
    sites: Sequence[Site],
    *,
    stages: Sequence[str],
    gap_rule: GapRule = "fill_short",
) -> Search:
    """Choose a heat rule for a grower's sites by leave-one-season-out log score.

    Among the candidates that are behind the best by a negligible score, the one nearest to the trade default is
    chosen. Below ``FEWEST_SEASONS`` seasons the trade default stands.

    Parameters
    ----------
    sites : sequence of Site
    stages : sequence of str
        Stage keys in season order; bloom and later stages decide, where there are any.
    gap_rule : GapRule
    """
    return choose(prepare(sites, stages=stages, gap_rule=gap_rule))


def prepare(
    sites: Sequence[Site],
    *,
    stages: Sequence[str],
    gap_rule: GapRule = "fill_short",
) -> list[Prepared]:
    """Put heat to the observations under every candidate, and estimate the model once, to start from in `choose`.

    From there most of the same seasons are estimated in a third of the time, with the same end.
    """
    deciding = [stage for stage in stages if stage in BLOOM_AND_LATER] or stages
    prepared: list[Prepared] = []
    for rule in _candidate_rules(sites, deciding):
        intervals, _ = heat_intervals(sites, stages=deciding, rule=rule, gap_rule=gap_rule)
        if np.isfinite(intervals.lower + intervals.upper).any():
            seen = intervals.select(np.asarray(~np.isnan(intervals.lower).all(axis=1), dtype=np.bool_))
            one = Prepared(rule, seen.relabelled(), None)
            if len(one.intervals.seasons) >= FEWEST_SEASONS:
                start = _start_beside(prepared[-1], one) if prepared else None
                one = replace(one, start=estimate(one.intervals, start=start, tolerance=TOLERANCE))
            prepared.append(one)
    return prepared


def choose(prepared: Sequence[Prepared], *, exclude_seasons: Collection[int] = ()) -> Search:
    """Choose among prepared candidates, without some more seasons.

    Raises
    ------
    NotEnoughData
        If no candidate has an observation.
    """
    if not prepared:
        raise NotEnoughData(
            "no observation falls in a season that has temperatures: there is no heat to count"
        )
    kept = [one.without(exclude_seasons) for one in prepared]
    most_seasons = max(len(one.intervals.seasons) for one in kept)
    if most_seasons < FEWEST_SEASONS:
        return Search(kept[0].rule, TooFewToChoose(most_seasons, FEWEST_SEASONS), ())
    table, season_of = _scores(kept)
    told = ~np.isnan(table)
    counts = told.sum(axis=(1, 2))
    # a rule under which many observations have no heat cannot be compared
    fair = np.flatnonzero(counts >= 0.8 * counts.max())
    common = told[fair].all(axis=0)
    of_common = np.unique(season_of[np.nonzero(common)[0]], return_inverse=True)[1]
    return _nearest_to_default([kept[place].rule for place in fair], table[fair][:, common], of_common)


def departures(rule: HeatRule) -> tuple[int, float, int]:
    """How far a rule is from the trade default: choices that differ, by how much in base and start."""
    default = TRADE_DEFAULT
    start = rule.accumulate_from
    differing = (
        (rule.method != default.method)
        + (rule.base_c != default.base_c)
        + (rule.upper_c != default.upper_c)
        + (start is not None)
    )
    late = 0
    if start is not None:
        late = (STARTS if start in STARTS else STARTS_SOUTH).index(start)
    return differing, abs(rule.base_c - default.base_c), late


def _candidate_rules(sites: Sequence[Site], stages: Sequence[str]) -> list[HeatRule]:
    south = any(site.latitude < 0 for site in sites)
    north = any(site.latitude >= 0 for site in sites)
    days_in = [
        ((seen.by or seen.after or dt.date.min) - season_window(seen.season, site.latitude).start).days
        for site in sites
        for seen in site.teaching
        if seen.stage in stages
    ]
    latest = np.quantile(days_in, EARLIEST_SHARE) - SHORTEST_SUM_DAYS if days_in else 0.0
    starts: list[str | None] = [None]
    if not (south and north):  # one month-day is spring on one side of the equator only
        latitude = sites[0].latitude if sites else 0.0
        first = season_window(2001, latitude).start
        starts += [
            start
            for start in (STARTS_SOUTH if south else STARTS)[1:]
            if (season_window(2001, latitude, start).start - first).days <= latest
        ]
    return [
        HeatRule(method, base_c, upper_c, "none" if upper_c is None else "horizontal", start)
        for start in starts
        for method in METHODS
        for base_c in sorted(BASES_C, key=lambda base: abs(base - TRADE_DEFAULT.base_c))
        for upper_c in UPPERS_C
    ]


def _start_beside(other: Prepared, one: Prepared) -> Start | None:
    """A start for one candidate from where another ended: seasons and blocks that are far off are so under both."""
    if other.start is None:
        return None
    weights = dict(zip(other.units, other.start.weight, strict=True))
    season_weights = dict(zip(other.intervals.seasons, other.start.season_weight, strict=True))
    return Start(
        spread=other.start.spread.scaled(one.intervals.heat_a_day / other.intervals.heat_a_day),
        pseudo=first_pseudo(one.intervals.lower, one.intervals.upper),
        weight=np.array([weights.get(unit, 1.0) for unit in one.units]),
        season_weight=np.array([season_weights.get(season, 1.0) for season in one.intervals.seasons]),
    )


def _scores(candidates: Sequence[Prepared]) -> tuple[FloatArray, IntArray]:
    """Log probability of each observation from all seasons but its own, under each candidate.

    Returns
    -------
    table : ndarray, shape (candidate, unit, stage)
        NaN where nothing was seen, or the candidate has no heat.
    season_of : ndarray of int, shape (unit,)
    """
    names = [one.units for one in candidates]
    place_of = {name: place for place, name in enumerate(sorted(set().union(*names)))}
    table = np.full((len(candidates), len(place_of), len(candidates[0].intervals.stages)), np.nan)
    for row, one, of_units in zip(table, candidates, names, strict=True):
        found = estimate(one.intervals, start=one.start, tolerance=TOLERANCE)
        logs = log_probability(one.intervals, *left_out_prediction(one.intervals, found))
        row[[place_of[name] for name in of_units]] = logs
    season_of = np.unique([name[:2] for name in place_of], axis=0, return_inverse=True)[1]
    return table, season_of.reshape(-1)


def _nearest_to_default(rules: Sequence[HeatRule], table: FloatArray, season_of: IntArray) -> Search:
    """The candidate nearest to the trade default among those that are as good as the best.

    ``table`` holds scores (candidate, observation); observations of one season are not independent, so the
    standard error is over seasons.
    """
    means = table.mean(axis=1)
    best = int(np.argmax(means))
    seasons = int(season_of.max()) + 1
    behind = table[best] - table
    sums = np.stack([np.bincount(season_of, weights=row, minlength=seasons) for row in behind])
    spread = sums - behind.mean(axis=1, keepdims=True) * np.bincount(season_of, minlength=seasons)
    errors = np.sqrt(np.sum(spread**2, axis=1) * seasons / (seasons - 1)) / table.shape[1]
    candidates = [
        Candidate(rule, float(mean), float(late), float(error))
        for rule, mean, late, error in zip(rules, means, behind.mean(axis=1), errors, strict=True)
    ]
    close = [one for one in candidates if one.behind <= NEGLIGIBLE]
    chosen = min(close, key=lambda one: (*departures(one.rule), one.behind))
    ranked = tuple(sorted(candidates, key=lambda one: one.behind))
    default = next((one for one in candidates if one.rule == TRADE_DEFAULT), None)
    why = NearestToDefault(
        close=len(close),
        candidates=len(candidates),
        seasons=seasons,
        negligible=NEGLIGIBLE,
        default_behind=None if default is None else default.behind,
        default_error=None if default is None else default.standard_error,
    )
    return Search(chosen.rule, why, ranked)
