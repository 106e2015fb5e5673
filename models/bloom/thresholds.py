"""Fit the heat thresholds of all cultivars of a grower at once, from intervals of heat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from models.bloom.curve import curve_points, sharpened
from models.bloom.estimation import Estimate, Start, estimate
from models.bloom.leave_out import left_out_prediction
from models.bloom.mixed_model import TAIL_DEGREES, Gaussian, Spread, sum_of_effects
from models.bloom.observations import HeatIntervals, IntArray, heat_intervals
from models.bloom.season_effect import SeasonEvidence
from models.bloom.set_aside import FarFromOthers, NotEnclosed, NothingToFit, SetAside, in_order
from models.bloom.site import Site
from models.records import GapRule, HeatRule
from models.stages import BLOOM_STAGES, in_season_order
from models.units import FloatArray

# An observation this many scales from its cultivar and season is set aside as a slip. Ours: a date a month off
# lies at 10 or more, honest ones stay below 5.
SLIP_SCALES = 6.0
# Central shares at which the spread is held against the fit's own seasons, each left out in turn.
CALIBRATED_SHARES = (0.5, 0.8)
# From this many seasons on a spread can be checked at all, and how many seasons the unchecked one counts.
CALIBRATED_FROM_SEASONS = 8
UNCHECKED_COUNT = 4.0
LEAST_CALIBRATION = 0.5


@dataclass(frozen=True)
class Newcomer:
    """A cultivar of which a fit knows no season, and the cultivars that its thresholds are taken from.

    Attributes
    ----------
    cultivar : str
    group : tuple of str
        Those of its species; all that may be of it where ``species`` is None.
    species : str or None
        None where that of newcomer or group is not recorded, or the group is another species.
    like : str or None
        The known cultivar that it is said to bloom like, and by how much later. [day]
    """

    cultivar: str
    group: tuple[str, ...]
    species: str | None
    like: str | None = None
    days_later: float = 0.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Fit:
    """Thresholds of a grower's cultivars, how sure they are, and how they were made.

    Attributes
    ----------
    rule, gap_rule
        How heat is summed.
    stages, cultivars : tuple of str
        Labels of the arrays' axes.
    thresholds : Gaussian
        Mean (cultivar, stage) and covariance (cultivar, stage, cultivar, stage). [°C·day]
    pooled_share : ndarray, shape (cultivar, stage)
        How much a threshold leans on the other cultivars: 0 on itself alone, 1 on them alone.
    seasons_seen : ndarray of int, shape (cultivar, stage)
        In how many seasons the stage was seen.
    spread : Spread
    season_evidence : tuple of SeasonEvidence
        What each past season showed of its own effect.
    calibration : ndarray, shape (stage,)
        Factor on the spread between seasons, so that on the fit's own seasons, each left out in turn, central
        intervals hold their share of the observations.
    set_aside : tuple of SetAside
    heat_a_day : ndarray, shape (stage,)
        Heat of a usual day at the stage. [°C·day/day]
    converged : bool
        Whether the spreads had settled when their estimation stopped.
    sites : tuple of str
        Those whose observations it rests on.
    species : tuple of str or None
        Of each cultivar, as it was recorded; empty where none was.
    newcomers : tuple of Newcomer
        The last of the cultivars, where `models.bloom.newcomers` added some of which no season is known.
    """

    rule: HeatRule
    gap_rule: GapRule
    stages: tuple[str, ...]
    cultivars: tuple[str, ...]
    thresholds: Gaussian
    pooled_share: FloatArray
    seasons_seen: IntArray
    spread: Spread
    season_evidence: tuple[SeasonEvidence, ...]
    calibration: FloatArray
    set_aside: tuple[SetAside, ...]
    heat_a_day: FloatArray
    converged: bool = True
    sites: tuple[str, ...] = ()
    species: tuple[str | None, ...] = ()
    newcomers: tuple[Newcomer, ...] = ()

    @property
    def calibrated(self) -> Spread:
        """The spread to forecast with."""
        scale = np.outer(self.calibration, self.calibration)
        return replace(self.spread, between_seasons=scale * self.spread.between_seasons)

    @property
    def seasons(self) -> tuple[int, ...]:
        """Labels of the seasons used."""
        return tuple(sorted({said.season for said in self.season_evidence}))

    @property
    def lacking(self) -> tuple[str, ...]:
        """The bloom stages that it does not know."""
        return tuple(stage for stage in BLOOM_STAGES if stage not in self.stages)

    @property
    def standard_error(self) -> FloatArray:
        """Of each threshold; shape (cultivar, stage). [°C·day]"""
        return np.asarray(np.sqrt(np.einsum("ckck->ck", self.thresholds.covariance)), dtype=np.float64)


def fit_thresholds(
    sites: Sequence[Site],
    *,
    stages: Sequence[str],
    rule: HeatRule,
    gap_rule: GapRule = "fill_short",
) -> Fit:
    """Fit thresholds to the observations of all sites.

    Parameters
    ----------
    sites : sequence of Site
    stages : sequence of str
        Stage keys; stages that were never observed are left out of the fit.
    rule, gap_rule
        How heat is summed, and how missing days are filled.

    Raises
    ------
    NothingToFit
        If no observation is left to fit.
    BadInput
        If a stage key is unknown.
    """
    observed = {seen.stage for site in sites for seen in site.teaching}
    wanted = tuple(stage for stage in in_season_order(stages) if stage in observed)
    intervals, set_aside = heat_intervals(sites, stages=wanted, rule=rule, gap_rule=gap_rule)
    points = curve_points(sites, rule=rule, gap_rule=gap_rule)
    return fit_intervals(sharpened(intervals, points), rule=rule, gap_rule=gap_rule, set_aside=set_aside)


def fit_intervals(
    intervals: HeatIntervals,
    *,
    rule: HeatRule,
    gap_rule: GapRule = "fill_short",
    set_aside: Sequence[SetAside] = (),
) -> Fit:
    """Fit thresholds to intervals of heat; slips far from their cultivar and season are set aside on the way.

    Parameters
    ----------
    intervals : HeatIntervals
    rule, gap_rule
        How the heat was summed; kept with the fit.
    set_aside : sequence of SetAside
        What was left out before, to be listed with the fit.

    Raises
    ------
    NothingToFit
        If no closed interval is left.
    """
    if not np.isfinite(intervals.lower + intervals.upper).any():
        raise NothingToFit(
            "no observation is left to fit: a threshold needs a date in a season that has temperatures",
            set_aside,
        )
    left_out, every_season = list(set_aside), np.arange(len(intervals.seasons))
    start: Start | None = None
    while True:
        intervals, never_reached = _reached_stages(intervals)
        seen: NDArray[np.bool_] = np.any(~np.isnan(intervals.lower), axis=1)
        intervals = intervals.select(seen)
        left_out += never_reached
        start = None if start is None or never_reached else start.select(seen, every_season)
        found = estimate(intervals, start=start)
        slips = _slips(found)
        if not slips.any():
            return _as_fit(intervals, found, rule, gap_rule, in_order(left_out))
        left_out += _described(intervals, found, slips)
        intervals = replace(
            intervals,
            lower=np.where(slips, np.nan, intervals.lower),
            upper=np.where(slips, np.nan, intervals.upper),
        )
        start = replace(found, pseudo=found.pseudo.without(slips))


def _reached_stages(intervals: HeatIntervals) -> tuple[HeatIntervals, list[SetAside]]:
    """Leave out stages that no two looks enclose: "not yet" alone, or "already" alone, bounds no threshold."""
    reached = np.asarray(np.isfinite(intervals.lower + intervals.upper).any(axis=0), dtype=np.bool_)
    named = [
        SetAside(
            intervals.seasons[intervals.season_of[unit]][1],
            intervals.units[unit].name,
            intervals.stages[stage],
            NotEnclosed(),
        )
        for unit, stage in np.argwhere(~np.isnan(intervals.lower) & ~reached)
    ]
    kept = replace(
        intervals,
        stages=tuple(stage for stage, kept in zip(intervals.stages, reached, strict=True) if kept),
        lower=intervals.lower[:, reached],
        upper=intervals.upper[:, reached],
        heat_a_day=intervals.heat_a_day[reached],
    )
    return kept, named


def _slips(found: Estimate) -> NDArray[np.bool_]:
    """Closed intervals too far from what their cultivar and season say; shape (unit, stage)."""
    closed = np.isfinite(found.units.lower + found.units.upper)
    off, scale = _off(found)
    return closed & (np.abs(off) > SLIP_SCALES * scale)


def _off(found: Estimate) -> tuple[FloatArray, FloatArray]:
    """How far each observation lies from its cultivar and season, and the scale of that; (unit, stage)."""
    mean, covariance = sum_of_effects(found.effects, found.units)
    middle = 0.5 * (found.units.lower + found.units.upper)
    width = np.where(np.isfinite(middle), found.units.upper - found.units.lower, 0.0)
    variance = np.diag(found.spread.within) + np.einsum("ukk->uk", covariance) + width**2 / 12
    return middle - mean, np.sqrt(variance)


def _described(intervals: HeatIntervals, found: Estimate, slips: NDArray[np.bool_]) -> list[SetAside]:
    off, _ = _off(found)
    named = []
    for unit, stage in np.argwhere(slips):
        why = FarFromOthers(round(float(off[unit, stage] / intervals.heat_a_day[stage]), 1))
        season = intervals.seasons[intervals.season_of[unit]][1]
        named.append(SetAside(season, intervals.units[unit].name, intervals.stages[stage], why))
    return named


def _as_fit(
    intervals: HeatIntervals,
    found: Estimate,
    rule: HeatRule,
    gap_rule: GapRule,
    set_aside: tuple[SetAside, ...],
) -> Fit:
    count = len(intervals.cultivars)
    thresholds = Gaussian(
        found.effects.mean[:count].copy(), found.effects.covariance[:count, :, :count, :].copy()
    )
    variance = np.einsum("ckck->ck", thresholds.covariance)
    evidence = _season_evidence(intervals, found)
    pooled_share = np.clip(variance / np.diag(found.spread.between_cultivars), 0.0, 1.0)
    return Fit(
        rule=rule,
        gap_rule=gap_rule,
        stages=intervals.stages,
        cultivars=intervals.cultivars,
        thresholds=thresholds,
        pooled_share=pooled_share,
        seasons_seen=_seasons_seen(intervals),
        spread=found.spread,
        season_evidence=evidence,
        calibration=_calibration(intervals, found, evidence),
        set_aside=set_aside,
        heat_a_day=intervals.heat_a_day,
        converged=found.converged,
        sites=tuple(sorted(set(intervals.sites))),
    )


def _seasons_seen(intervals: HeatIntervals) -> IntArray:
    seen = np.isfinite(intervals.lower + intervals.upper)
    counts = np.zeros((len(intervals.cultivars), len(intervals.stages)), dtype=np.int64)
    for cultivar in range(counts.shape[0]):
        for stage in range(counts.shape[1]):
            rows = (intervals.cultivar_of == cultivar) & seen[:, stage]
            counts[cultivar, stage] = np.unique(intervals.season_of[rows]).size
    return counts


def _season_evidence(intervals: HeatIntervals, found: Estimate) -> tuple[SeasonEvidence, ...]:
    theta = found.effects.mean[found.units.cultivar_effect]
    pull = found.said.pull - np.einsum("uij,uj->ui", found.said.precision, theta)
    evidence = []
    for place, (site, season) in enumerate(intervals.seasons):
        rows = intervals.season_of == place
        if rows.any():
            evidence.append(
                SeasonEvidence(
                    site,
                    season,
                    found.said.precision[rows].sum(axis=0),
                    pull[rows].sum(axis=0),
                    float(found.season_weight[place]),
                )
            )
    return tuple(evidence)


def _calibration(
    intervals: HeatIntervals, found: Estimate, evidence: tuple[SeasonEvidence, ...]
) -> FloatArray:
    seasons = len(evidence)
    if seasons < CALIBRATED_FROM_SEASONS:
        return np.ones(len(intervals.stages))
    centre, scale = left_out_prediction(intervals, found, evidence)
    off = np.abs(0.5 * (intervals.lower + intervals.upper) - centre)
    factor = np.ones(len(intervals.stages))
    for stage in range(factor.size):
        seen = np.isfinite(off[:, stage])
        if seen.any():
            reached = np.quantile(off[seen, stage] / scale[seen, stage], CALIBRATED_SHARES)
            expected = stdtrit(TAIL_DEGREES, 0.5 + np.array(CALIBRATED_SHARES) / 2)
            wanted = np.mean(scale[seen, stage] ** 2) * np.exp(2 * np.mean(np.log(reached / expected)))
            season = found.spread.between_seasons[stage, stage]
            rest = np.mean(scale[seen, stage] ** 2) - season
            factor[stage] = np.sqrt(max(wanted - rest, LEAST_CALIBRATION**2 * season) / season)
    return np.exp(np.log(factor) * seasons / (seasons + UNCHECKED_COUNT))
