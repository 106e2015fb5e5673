"""Choose how heat is counted, by how well each way predicts seasons that it has not seen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.bloom.estimation import Estimate, estimate
from models.bloom.leave_out import left_out_prediction, log_probability
from models.bloom.mixed_model import Spread
from models.bloom.observations import HeatIntervals, heat_intervals
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
    why: str
    candidates: tuple[Candidate, ...]


@dataclass(frozen=True, eq=False)
class Prepared:
    """A candidate's rule, the heat at all observations under it, and spreads to start from."""

    rule: HeatRule
    intervals: HeatIntervals
    start: Spread | None


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
    warm: bool = False,
) -> list[Prepared]:
    """Put heat to the observations under every candidate; with ``warm`` also estimate its spreads once.

    A warm start makes `choose` quicker on most of the same seasons; it ends at the same spreads.
    """
    deciding = [stage for stage in stages if stage in BLOOM_AND_LATER] or stages
    prepared = []
    for rule in _candidate_rules(sites, deciding):
        intervals, _ = heat_intervals(sites, stages=deciding, rule=rule, gap_rule=gap_rule)
        usable = np.isfinite(intervals.lower + intervals.upper).any()
        start = estimate(_seen(intervals), tolerance=TOLERANCE).spread if warm and usable else None
        if usable:
            prepared.append(Prepared(rule, intervals, start))
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
    kept = [(one.rule, _without(one.intervals, exclude_seasons), one.start) for one in prepared]
    counts = [len(intervals.seasons) for _, intervals, _ in kept]
    if max(counts) < FEWEST_SEASONS:
        why = f"trade default: {max(counts)} seasons are too few to choose by (from {FEWEST_SEASONS} on)"
        return Search(kept[0][0], why, ())
    scores = [
        _scores(intervals, estimate(intervals, start=start, tolerance=TOLERANCE))
        for _, intervals, start in kept
    ]
    most = max(len(score) for score in scores)
    # a rule under which many observations have no heat cannot be compared
    fair = [place for place, score in enumerate(scores) if len(score) >= 0.8 * most]
    common = sorted(set.intersection(*(set(scores[place]) for place in fair)))
    table = np.array([[scores[place][key] for key in common] for place in fair])
    season_of = np.unique([key[:2] for key in common], axis=0, return_inverse=True)[1].reshape(-1)
    return _nearest_to_default([kept[place][0] for place in fair], table, season_of)


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


def _without(intervals: HeatIntervals, exclude_seasons: Collection[int]) -> HeatIntervals:
    labels = np.array([season for _, season in intervals.seasons])
    return _seen(intervals.select(~np.isin(labels[intervals.season_of], list(exclude_seasons))))


def _seen(intervals: HeatIntervals) -> HeatIntervals:
    """The units of which anything was seen, with cultivars and seasons that have none left out."""
    kept = intervals.select(np.asarray(~np.isnan(intervals.lower).all(axis=1), dtype=np.bool_))
    return kept.relabelled()


def _scores(intervals: HeatIntervals, found: Estimate) -> dict[tuple[str, int, Unit, str], float]:
    """Log probability of each observation from all seasons but its own."""
    centre, scale = left_out_prediction(intervals, found)
    logs = log_probability(intervals, centre, scale)
    return {
        (
            *intervals.seasons[intervals.season_of[unit]],
            intervals.units[unit],
            intervals.stages[stage],
        ): float(logs[unit, stage])
        for unit, stage in np.argwhere(~np.isnan(logs))
    }


def _nearest_to_default(rules: Sequence[HeatRule], table: FloatArray, season_of: NDArray[np.int64]) -> Search:
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
    why = (
        f"nearest to the trade default among {len(close)} of {len(candidates)} candidates whose leave-one-season-out"
        f" log score over {seasons} seasons is the best or within {NEGLIGIBLE:g} of it; the trade default is"
        f" {_behind_default(candidates)}"
    )
    return Search(chosen.rule, why, ranked)


def _behind_default(candidates: Sequence[Candidate]) -> str:
    for one in candidates:
        if one.rule == TRADE_DEFAULT:
            return f"{one.behind:.2f} behind (standard error {one.standard_error:.2f})"
    return "not comparable"
