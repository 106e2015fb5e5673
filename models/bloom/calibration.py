"""Hold the spreads against the fit's own seasons, each left out in turn, so that intervals hold what they say.

What a look teaches rests on the usual season, so that factor counts observations. What an interval leaves open is
another matter: what a vineyard shares makes all its dates of a season fail together, so there every season counts
alike, however many blocks were seen in it. And there are two states of knowledge, which tell of two spreads: before
anything is seen of a season a date misses mostly by the season's effect, once other blocks were seen by what is the
block's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtr, stdtrit

from models.bloom.estimation import Estimate
from models.bloom.leave_out import LeftOut, left_out
from models.bloom.mixed_model import (
    TAIL_DEGREES,
    PseudoObservations,
    Spread,
    Units,
    evidence,
    first_pseudo,
    own_deviation,
    refined_pseudo,
    shrinkage,
    tail_weight,
)
from models.bloom.observations import HeatIntervals, IntArray
from models.bloom.season_effect import SeasonEvidence
from models.units import FloatArray

# Central shares at which a spread is held against what came.
CALIBRATED_SHARES = (0.5, 0.8)
# From this many seasons on a spread can be checked at all, and how many seasons the unchecked one counts.
CALIBRATED_FROM_SEASONS = 8
UNCHECKED_COUNT = 4.0
LEAST_CALIBRATION = 0.5
# The last two factors hang on each other; after so many rounds they move by less than a hundredth.
ROUNDS = 3
SWEEPS = 15
# A place in a distribution is told no closer to its ends than this; a precision, relative to what it was, neither.
CLOSEST = 1e-6
LEAST_LEFT = 1e-3


@dataclass(frozen=True, eq=False)
class Calibration:
    """Factors by stage; each of shape (stage,).

    Attributes
    ----------
    between_seasons
        On the spread between seasons, in all that is learned.
    season_left
        On what is not known of a season's effect after all that was seen of it; where nothing has come yet, on all of
        its spread.
    own_left
        On what each stage of a block brings of its own, apart from what its earlier stages tell.
    """

    between_seasons: FloatArray
    season_left: FloatArray
    own_left: FloatArray


def with_season_factor(spread: Spread, factor: FloatArray) -> Spread:
    """A spread whose seasons differ ``factor`` times as much; shape (stage,)."""
    return replace(spread, between_seasons=np.outer(factor, factor) * spread.between_seasons)


def with_own_factor(within: FloatArray, factor: FloatArray) -> FloatArray:
    """A covariance over stages in which what is new at each stage is ``factor`` times as large.

    What a stage tells of the next stays: where a block is followed from stage to stage, the later ones are drawn
    around the same middle.
    """
    root = np.linalg.cholesky(within)
    return np.asarray((root * factor**2) @ root.T, dtype=np.float64)


def calibrate(intervals: HeatIntervals, found: Estimate, said: tuple[SeasonEvidence, ...]) -> Calibration:
    """Find the factors with which central intervals hold their share of what came in left-out seasons.

    Parameters
    ----------
    intervals : HeatIntervals
        What was fitted.
    found : Estimate
    said : tuple of SeasonEvidence
        What each season showed, to know the drift that could be expected.

    Returns
    -------
    Calibration
        Each factor drawn toward 1 as if ``UNCHECKED_COUNT`` more seasons had been right; all 1 below
        ``CALIBRATED_FROM_SEASONS`` seasons.
    """
    ones, seasons = np.ones(len(intervals.stages)), len(said)
    if seasons < CALIBRATED_FROM_SEASONS:
        return Calibration(ones, ones, ones)
    trust = seasons / (seasons + UNCHECKED_COUNT)
    others, spread = left_out(intervals, found, said), found.spread
    learned = (
        _learned_factor(_nothing_seen(intervals, spread, others), np.diag(spread.between_seasons)) ** trust
    )
    spread = with_season_factor(spread, learned)
    others = replace(others, drift_covariance=np.outer(learned, learned) * others.drift_covariance)
    unseen, seen = _nothing_seen(intervals, spread, others), _others_seen(intervals, spread, others)
    own_variance = np.diag(spread.within)
    season_left, own_left = ones, ones
    for _ in range(ROUNDS):
        own = np.diag(with_own_factor(spread.within, own_left)) / own_variance
        lacking = unseen.lacking(ones, own) / unseen.mean(unseen.of_season)
        season_left = _root(1 + lacking) ** trust
        lacking = seen.lacking(season_left**2, own_left**2) / seen.mean(seen.own)
        own_left = _root(own_left**2 + lacking) ** trust
    return Calibration(learned, season_left, own_left)


@dataclass(frozen=True, eq=False)
class _Foreseen:
    """Dates foreseen without their season, and what came; arrays of shape (observation,).

    Attributes
    ----------
    stage, season : ndarray of int
    off, earliest : ndarray
        What came, and the earliest that was still possible, less the mean foreseen. [°C·day]
    of_season, own, rest : ndarray
        Variances that are the season's, the block's own, and others'. [(°C·day)²]
    degrees : ndarray
        Of freedom, of the t distribution foreseen.
    stages : int
    """

    stage: IntArray
    season: IntArray
    off: FloatArray
    earliest: FloatArray
    of_season: FloatArray
    own: FloatArray
    rest: FloatArray
    degrees: FloatArray
    stages: int

    def lacking(self, of_season: FloatArray, own: FloatArray) -> FloatArray:
        """Variance that the dates lack at each stage, if parts were so many times as large; shape (stage,)."""
        variance = of_season[self.stage] * self.of_season + own[self.stage] * self.own + self.rest
        scale = np.sqrt(variance)
        # where it lies among what was still possible, as a place in one Student's t
        still = stdtr(self.degrees, -self.earliest / scale)
        beyond = np.clip(stdtr(self.degrees, -self.off / scale) / still, CLOSEST, 1 - CLOSEST)
        scales_off = np.abs(stdtrit(TAIL_DEGREES, beyond))
        lacking = np.zeros(self.stages)
        for stage in np.unique(self.stage):
            here = self.stage == stage
            count = _alike(self.season[here])
            wider = _wider(scales_off[here], count)
            lacking[stage] = (wider**2 - 1) * np.average(variance[here], weights=count)
        return lacking

    def mean(self, variance: FloatArray) -> FloatArray:
        """Mean of a variance at each stage, every season counted alike; 1 where there is none. Shape (stage,)."""
        means = np.ones(self.stages)
        for stage in np.unique(self.stage):
            here = self.stage == stage
            means[stage] = np.average(variance[here], weights=_alike(self.season[here]))
        return means


def _nothing_seen(intervals: HeatIntervals, spread: Spread, others: LeftOut) -> _Foreseen:
    """Every date, with nothing seen of its season."""
    middle = 0.5 * (intervals.lower + intervals.upper)
    seen = np.isfinite(middle)
    unit, stage = np.nonzero(seen)
    season = intervals.season_of[unit]
    shock = (1 - spread.drift_share) * np.diag(spread.between_seasons)
    return _Foreseen(
        stage=stage,
        season=season,
        off=middle[seen] - others.threshold[seen] - others.drift[season, stage],
        earliest=np.full(unit.size, -np.inf),
        of_season=others.drift_covariance[season, stage, stage] + shock[stage],
        own=np.diag(spread.within)[stage],
        rest=others.threshold_covariance[unit, stage, stage],
        degrees=np.full(unit.size, TAIL_DEGREES),
        stages=len(intervals.stages),
    )


def _learned_factor(unseen: _Foreseen, between_seasons: FloatArray) -> FloatArray:
    """The factor on the spread between seasons with which most dates are foreseen as closely as said."""
    variance = unseen.of_season + unseen.own + unseen.rest
    factor = np.ones(unseen.stages)
    for stage in np.unique(unseen.stage):
        here = unseen.stage == stage
        off = np.abs(unseen.off[here]) / np.sqrt(variance[here])
        reached = np.quantile(off, CALIBRATED_SHARES)
        lacking = (np.exp(2 * np.mean(np.log(reached / _expected()))) - 1) * np.mean(variance[here])
        factor[stage] = _root(1 + lacking / between_seasons[stage])
    return factor


class _States:
    """Every left-out season as it was known on the day of a stage's first block: a state for each, as rows of units.

    Attributes
    ----------
    unit, state : ndarray of int, shape (row,)
    season, stage : ndarray of int, shape (state,)
    lower, upper : ndarray, shape (row, stage)
        What was known then. [°C·day]
    judged : ndarray of bool, shape (row,)
        Blocks that were still to come, and came.
    """

    def __init__(self, intervals: HeatIntervals) -> None:
        season: list[int] = []
        unit, state, of_stage, lower, upper, judged = [], [], [], [], [], []
        closed = np.isfinite(intervals.lower + intervals.upper)
        for label in range(len(intervals.seasons)):
            rows = np.flatnonzero(intervals.season_of == label)
            for stage in range(len(intervals.stages)):
                dated = closed[rows, stage]
                if not dated.any():
                    continue
                come = intervals.upper[rows, stage]
                first = come[dated].min()
                late = dated & (come > first)
                if late.any():
                    told = intervals.upper[rows] <= first
                    unit.append(rows)
                    state.append(np.full(rows.size, len(season)))
                    season.append(label)
                    of_stage.append(stage)
                    low = intervals.lower[rows]
                    lower.append(np.where(told, low, np.minimum(low, first)))
                    upper.append(np.where(told | np.isnan(low), intervals.upper[rows], np.inf))
                    judged.append(late)
        stages = len(intervals.stages)
        self.unit: IntArray = np.concatenate([np.empty(0, np.int64), *unit])
        self.state: IntArray = np.concatenate([np.empty(0, np.int64), *state])
        self.season, self.stage = np.array(season, dtype=np.int64), np.array(of_stage, dtype=np.int64)
        self.lower = np.concatenate([np.empty((0, stages)), *lower])
        self.upper = np.concatenate([np.empty((0, stages)), *upper])
        self.judged = np.concatenate([np.empty(0, np.bool_), *judged])


def _others_seen(intervals: HeatIntervals, spread: Spread, others: LeftOut) -> _Foreseen:
    """The dates that were still to come when the first block of their stage was seen.

    Learned as in `models.bloom.in_season.learn`, for all states at once; thresholds count as known apart from each
    other.
    """
    states = _States(intervals)
    drift, drift_covariance = others.drift[states.season], others.drift_covariance[states.season]
    shock = (1 - spread.drift_share) * spread.between_seasons
    unsure, threshold = others.threshold_covariance[states.unit], others.threshold[states.unit]
    units = Units(states.unit, states.state, states.lower, states.upper)
    pseudo, weight = first_pseudo(states.lower, states.upper), np.ones(states.unit.size)
    season_weight, stages = np.ones(states.season.size), len(intervals.stages)
    for sweep in range(SWEEPS + 1):
        of_shock = shock / season_weight[:, None, None]
        within = spread.within + unsure * weight[:, None, None]
        shrink = shrinkage(pseudo, within, weight)
        said = evidence(pseudo, shrink)
        prior = np.linalg.inv(drift_covariance + of_shock)
        precision, pull = prior.copy(), np.einsum("sij,sj->si", prior, drift)
        np.add.at(precision, states.state, said.precision)
        np.add.at(pull, states.state, said.pull - np.einsum("uij,uj->ui", said.precision, threshold))
        covariance = np.linalg.inv(precision)
        effect = np.einsum("sij,sj->si", covariance, pull)
        total = threshold + effect[states.state], covariance[states.state]
        if sweep == SWEEPS:
            break
        pseudo = refined_pseudo(units, pseudo, shrink, total, within, weight)
        own = own_deviation(pseudo, total, within, weight)
        weight = tail_weight(np.einsum("uij,uji->u", np.linalg.inv(within), own), stages)
        gain, away = of_shock @ prior, effect - drift
        moment = away[:, :, None] * away[:, None, :] + covariance
        moment = gain @ moment @ gain.transpose(0, 2, 1) + of_shock - gain @ of_shock
        season_weight = tail_weight(np.einsum("ij,sji->s", np.linalg.inv(shock), moment), stages)
    return _still_to_come(intervals, states, pseudo, total, shrink, shrink @ within / weight[:, None, None])


def _still_to_come(
    intervals: HeatIntervals,
    states: _States,
    pseudo: PseudoObservations,
    total: tuple[FloatArray, FloatArray],
    shrink: FloatArray,
    left: FloatArray,
) -> _Foreseen:
    """What the states say of the dates to come, but for their own "not yet", which bounds them."""
    rows = np.flatnonzero(states.judged)
    unit, stage, season = (
        states.unit[rows],
        states.stage[states.state[rows]],
        states.season[states.state[rows]],
    )
    mean = np.einsum("uij,uj->ui", shrink, total[0]) + np.einsum("uij,uj->ui", left, pseudo.pull)
    own = np.einsum("ukk->uk", left)[rows, stage]
    of_season = np.einsum("uij,ujk,uik->ui", shrink, total[1], shrink)[rows, stage]
    share = own / (own + of_season)
    precision = np.maximum(
        1 / (own + of_season) - pseudo.precision[rows, stage], LEAST_LEFT / (own + of_season)
    )
    foreseen = (mean[rows, stage] / (own + of_season) - pseudo.pull[rows, stage]) / precision
    middle = 0.5 * (intervals.lower + intervals.upper)[unit, stage]
    return _Foreseen(
        stage=stage,
        season=season,
        off=middle - foreseen,
        earliest=np.minimum(states.lower[rows, stage], middle) - foreseen,
        of_season=(1 - share) / precision,
        own=share / precision,
        rest=np.zeros(rows.size),
        # what was seen of the block itself tells of its tail weight
        degrees=TAIL_DEGREES + np.isfinite(states.lower + states.upper)[rows].sum(axis=1),
        stages=len(intervals.stages),
    )


def _alike(season_of: IntArray) -> FloatArray:
    """What each observation counts, so that every season counts one."""
    return np.asarray(1 / np.bincount(season_of)[season_of], dtype=np.float64)


def _wider(off: FloatArray, count: FloatArray) -> float:
    """By which factor scales would have to grow for central intervals to hold their share; ``off`` in scales."""
    order = np.argsort(off)
    through = (np.cumsum(count[order]) - 0.5 * count[order]) / count.sum()
    reached = np.interp(CALIBRATED_SHARES, through, off[order])
    return float(np.exp(np.mean(np.log(reached / _expected()))))


def _expected() -> FloatArray:
    """Scales within which the shares of a t distribution lie."""
    return np.asarray(stdtrit(TAIL_DEGREES, 0.5 + np.array(CALIBRATED_SHARES) / 2), dtype=np.float64)


def _root(square: FloatArray) -> FloatArray:
    """A factor from its square, not below the least."""
    return np.sqrt(np.maximum(square, LEAST_CALIBRATION**2))
