"""The bloom curve: caps off against heat, from visits with percentages, and the stages it tells more sharply.

A binomial regression on the line of `models.bloom.flower_curve`, one cultivar at a time over all its blocks and
seasons:

    line(share of caps off) = intercept of the block in that season + slope of the cultivar x heat

so a block's 10, 50 and 95 % points draw on every one of its looks, and on how fast its cultivar opens elsewhere.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.bloom.flower_curve import STAGES_ON_LINE, from_line, regression_link
from models.bloom.observations import NARROWEST_INTERVAL, HeatIntervals, IntArray, site_heat
from models.bloom.site import Site
from models.heat.accumulate import heat_on
from models.records import GapRule, HeatRule, Unit
from models.stages import BLOOM_STAGES
from models.units import FloatArray

# A percentage by eye counts as if this many flowers had been told open or shut. Ours, an assumption: one such look
# at half bloom is right to 11 points. Looks that scatter more make all standard errors wider, never narrower.
FLOWERS_A_LOOK = 20.0
# How much a half of one block's bloom is quicker or slower than its cultivar's curve, as a share. Ours, an assumption.
PACE_SPREAD = 0.25
# Caps don't go back on: a block whose percentage falls by more than this share was mixed up. Ours.
MOST_FALL = 0.3
FEWEST_LOOKS = 3
# A slope that is not this many standard errors above 0 tells no points. Ours.
SURE_SLOPE = 3.0
# Standard errors to either side that an interval keeps.
KEPT_ERRORS = 2.0
# Far from bloom a curve rounds to 0 or 1, where misses have no variance to be measured in.
ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class CurvePoints:
    """Where one block's bloom curve of one season passes the bloom stages.

    Attributes
    ----------
    site, season, cultivar, unit
        Whose curve it is, and what was looked at.
    heat, standard_error : ndarray, shape (3,)
        At bloom start, full bloom and bloom end. [°C·day]
    slope, slope_error : float
        Of the cultivar's line. [1/(°C·day)]
    """

    site: str
    season: int
    cultivar: str
    unit: Unit
    heat: FloatArray
    standard_error: FloatArray
    slope: float
    slope_error: float


@dataclass(frozen=True, eq=False)
class CurveFit:
    """Curves of one cultivar: line(share) = intercept[unit] + slope x (heat - centre[unit]).

    Attributes
    ----------
    centre, intercept : ndarray, shape (unit,)
        Mean heat of a unit's looks [°C·day], and the line there.
    slope : float
        [1/(°C·day)]
    covariance : ndarray, shape (unit + 1, unit + 1)
        Of the intercepts, then the slope, as if looks scattered like flowers that are told one by one.
    scatter : float
        Squared misses of all looks, each in units of its variance in such telling (Pearson's chi-square).
    spare_looks : float
        What ``scatter`` would be then: looks beyond the number of coefficients, less those so far from bloom that
        they can't miss.
    """

    centre: FloatArray
    intercept: FloatArray
    slope: float
    covariance: FloatArray
    scatter: float
    spare_looks: float


@dataclass(frozen=True, eq=False)
class _Looks:
    """One block's looks with a percentage in one season, by heat. ``share`` in 0..1."""

    site: str
    season: int
    cultivar: str
    unit: Unit
    heat: FloatArray
    share: FloatArray

    @property
    def usable(self) -> bool:
        if self.heat.size < FEWEST_LOOKS or not np.any((self.share > 0) & (self.share < 1)):
            return False
        return bool(np.max(np.maximum.accumulate(self.share) - self.share) <= MOST_FALL)


def curve_points(
    sites: Sequence[Site],
    *,
    rule: HeatRule,
    gap_rule: GapRule = "fill_short",
) -> tuple[CurvePoints, ...]:
    """Fit the bloom curves of all cultivars to the percentages of all visits.

    Parameters
    ----------
    sites : sequence of Site
    rule, gap_rule
        How heat is summed, and how missing days are filled.

    Returns
    -------
    tuple of CurvePoints
        Sorted by cultivar, site, season and unit. Left out are blocks that in a season had fewer than three looks
        with a percentage, or none that found some caps off but not all, or whose percentages fall by more than
        30 points; and cultivars whose slope cannot be told: no block of theirs was found partly open at two heats.
    """
    by_cultivar: dict[str, list[_Looks]] = defaultdict(list)
    for site in sorted(sites, key=lambda site: site.key):
        for looks in _looks(site, rule=rule, gap_rule=gap_rule):
            if looks.usable:
                by_cultivar[looks.cultivar].append(looks)
    fits = [
        (units, fit) for _, units in sorted(by_cultivar.items()) if (fit := _fit_units(units)) is not None
    ]
    spare = sum(fit.spare_looks for _, fit in fits)
    scatter = sum(fit.scatter for _, fit in fits)
    widened = max(1.0, scatter / spare) if spare else 1.0
    return tuple(
        CurvePoints(
            looks.site,
            looks.season,
            looks.cultivar,
            looks.unit,
            *stage_points(fit, place, widened=widened),
            fit.slope,
            float(np.sqrt(widened * fit.covariance[-1, -1])),
        )
        for units, fit in fits
        for place, looks in enumerate(units)
    )


def sharpened(intervals: HeatIntervals, points: Sequence[CurvePoints]) -> HeatIntervals:
    """Narrow intervals of heat to what the bloom curves say.

    A bloom stage seen between two looks keeps the part of its interval that lies within two standard errors of its
    curve's point; a flat interval of that width has about the point's standard error. Where the curve contradicts
    the looks to either side of the stage, these are believed and the interval stays. So it does where one side
    is open: to extend a curve past the looks is no observation.

    Parameters
    ----------
    intervals : HeatIntervals
    points : sequence of CurvePoints
        By the same rule of heat.
    """
    lower, upper = intervals.lower.copy(), intervals.upper.copy()
    known = {(point.site, point.season, point.cultivar, point.unit): point for point in points}
    columns = [
        (intervals.stages.index(key), p) for p, key in enumerate(BLOOM_STAGES) if key in intervals.stages
    ]
    for row, unit in enumerate(intervals.units):
        _, season = intervals.seasons[intervals.season_of[row]]
        cultivar = intervals.cultivars[intervals.cultivar_of[row]]
        point = known.get((intervals.sites[row], season, cultivar, unit))
        if point is None:
            continue
        reach = KEPT_ERRORS * point.standard_error
        for column, stage in columns:
            low = max(lower[row, column], point.heat[stage] - reach[stage])
            high = min(upper[row, column], point.heat[stage] + reach[stage])
            closed = np.isfinite(lower[row, column] + upper[row, column])
            if closed and high - low >= NARROWEST_INTERVAL:
                lower[row, column], upper[row, column] = low, high
    return replace(intervals, lower=lower, upper=upper)


def fit_curves(heat: FloatArray, share: FloatArray, unit: IntArray) -> CurveFit | None:
    """Fit one slope and an intercept for each unit, by maximum likelihood.

    Parameters
    ----------
    heat, share : ndarray, shape (look,)
        Heat at each look [°C·day], and its share of caps off, 0..1.
    unit : ndarray of int, shape (look,)
        Whose look it is; every unit from 0 on has one that is neither 0 nor 1.

    Returns
    -------
    CurveFit or None
        None where no unit was partly open at two heats, so that ever steeper curves fit ever better, and where
        the slope is not surely above 0.

    References
    ----------
    .. [1] McCullagh & Nelder (1989), Generalized Linear Models, 2nd ed., sections 4.4 and 4.5 (memory).
    .. [2] Fletcher (2012), Biometrika 99:230-237: scatter of sparse counts, with fewer spare looks (memory).
    """
    from statsmodels.genmod.families import (
        Binomial,
    )  # loaded where there is a curve to fit: it takes a second
    from statsmodels.genmod.generalized_linear_model import GLM

    units = int(unit.max()) + 1
    partly_open = (share > 0) & (share < 1)
    if len(set(zip(unit[partly_open], heat[partly_open], strict=True))) <= units:
        return None
    centre = np.bincount(unit, heat) / np.bincount(unit)
    design = np.column_stack([np.eye(units)[unit], heat - centre[unit]])
    # each look as open and shut flowers: the same likelihood as one row with a share, but looks that lie exactly on
    # a curve are no perfect separation then
    flowers = FLOWERS_A_LOOK * np.concatenate([share, 1 - share])
    is_open = np.repeat([1.0, 0.0], share.size)
    told = flowers > 0
    model = GLM(
        is_open[told],
        np.concatenate([design, design])[told],
        family=Binomial(regression_link()),
        var_weights=flowers[told],
    )
    with np.errstate(all="ignore"):  # a step on the way may overshoot; the end is checked
        found = model.fit(scale=1.0)
    estimate, covariance = np.asarray(found.params), np.asarray(found.cov_params())
    if not found.converged or not estimate[-1] > SURE_SLOPE * np.sqrt(covariance[-1, -1]):
        return None
    expected = np.clip(from_line(design @ estimate), ROUNDING, 1 - ROUNDING)
    variance = expected * (1 - expected)
    miss = share - expected
    return CurveFit(
        centre,
        estimate[:-1],
        float(estimate[-1]),
        covariance,
        float(FLOWERS_A_LOOK * np.sum(miss**2 / variance)),
        float((share.size - estimate.size) * np.mean(1 + (1 - 2 * expected) * miss / variance)),
    )


def stage_points(fit: CurveFit, unit: int, *, widened: float = 1.0) -> tuple[FloatArray, FloatArray]:
    """Heat at bloom start, full bloom and bloom end of one unit, and its standard error, by the delta method.

    Parameters
    ----------
    fit : CurveFit
    unit : int
    widened : float
        Factor on the variances.

    Returns
    -------
    heat, standard_error : ndarray, shape (3,)
        [°C·day]
    """
    from_centre = (STAGES_ON_LINE - fit.intercept[unit]) / fit.slope
    gradient = -np.stack([np.ones_like(from_centre), from_centre]) / fit.slope
    covariance = fit.covariance[np.ix_([unit, -1], [unit, -1])]
    variance = widened * np.einsum("is,ij,js->s", gradient, covariance, gradient)
    _, full_bloom, _ = STAGES_ON_LINE
    own_pace = PACE_SPREAD * (STAGES_ON_LINE - full_bloom) / fit.slope
    return fit.centre[unit] + from_centre, np.sqrt(variance + own_pace**2)


def _fit_units(units: Sequence[_Looks]) -> CurveFit | None:
    sizes = [looks.heat.size for looks in units]
    return fit_curves(
        np.concatenate([looks.heat for looks in units]),
        np.concatenate([looks.share for looks in units]),
        np.repeat(np.arange(len(units)), sizes),
    )


def _looks(site: Site, *, rule: HeatRule, gap_rule: GapRule) -> list[_Looks]:
    found = []
    places = {
        place: [(look.date, look.percent_open / 100) for look in looks if look.percent_open is not None]
        for place, looks in site.teaching_looks.items()
    }
    heats = site_heat(site, {season for season, _, _ in places}, rule=rule, gap_rule=gap_rule)
    for (season, cultivar, block), told in places.items():
        heat = np.array([heat_on(heats[season], date) for date, _ in told])
        share = np.array([share for _, share in told])
        known = np.isfinite(heat)
        found.append(_Looks(site.key, season, cultivar, Unit.of(cultivar, block), heat[known], share[known]))
    return sorted(found, key=lambda looks: (looks.season, looks.unit))
