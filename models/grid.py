"""Bloom of a fit's cultivars over a region: every cell of a grid of daily temperatures, in closed form, not by draws.

Nothing else in `models/` knows Dask: arrays that come in pieces are computed piece by piece, and stay pieces until
somebody asks for them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import stdtrit

from models.bloom.mixed_model import TAIL_DEGREES
from models.bloom.thresholds import Fit
from models.errors import BadInput, Problem
from models.heat.degree_days import daily_degree_days
from models.heat.season import season_window
from models.records import DateArray, HeatRule
from models.units import FloatArray
from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS

if TYPE_CHECKING:
    import xarray as xr

# In how many equally likely parts each past season's days are taken where the weather is the usual one.
PARTS = 25
BLOOM_END = "bloom_end"


@dataclass(frozen=True, eq=False, kw_only=True)
class RegionQuestion:
    """What is asked of every cell, as plain arrays that can be sent to another process.

    Attributes
    ----------
    seasons : tuple of int
        Whose weather is looked at.
    usual : bool
        Whether these seasons stand for the usual weather together, or each for its own.
    quantiles : tuple of float
        That are answered.
    heat : ndarray, shape (probability, cultivar, stage)
        That is needed. [°C·day]
    pairs : tuple of (str, str)
        A pistillate cultivar, and a source whose pollen it may outlast.
    source_end, pistillate_end : ndarray, shape (pair,), (probability, pair)
        Heat at the bloom end of the source, and of the pistillate cultivar where the source's is that. [°C·day]
    """

    rule: HeatRule
    seasons: tuple[int, ...]
    usual: bool
    quantiles: tuple[float, ...]
    cultivars: tuple[str, ...]
    stages: tuple[str, ...]
    heat: FloatArray
    pairs: tuple[tuple[str, str], ...]
    source_end: FloatArray
    pistillate_end: FloatArray


def region_question(
    fit: Fit,
    *,
    seasons: Sequence[int],
    usual: bool = False,
    cultivars: Sequence[str] | None = None,
    pairs: Sequence[tuple[str, str]] = (),
    interval: float = 0.8,
) -> RegionQuestion:
    """Ask when cultivars of a fit reach its stages, and by how many days pistillate ones outlast sources.

    A cell has seen no season of its own. So its heat at a stage is that of a t distribution around the threshold whose
    variance is the sum of the threshold's own, that between seasons, and that within. Two cultivars of a cell share
    the season, so only the other two count between them.

    Parameters
    ----------
    fit : Fit
    seasons : sequence of int
    usual : bool
        Take the seasons together, as the usual weather.
    cultivars : sequence of str, optional
        By default all of the fit.
    pairs : sequence of (str, str)
        Pistillate cultivar and source.
    interval : float
        Probability between the lowest and the highest quantile, above 0 and below 1.

    Raises
    ------
    BadInput
        If the fit does not know a cultivar, or the bloom end that pairs need, or the interval is no probability.
    """
    named = tuple(fit.cultivars) if cultivars is None else tuple(cultivars)
    unknown = sorted({*named, *(name for pair in pairs for name in pair)} - set(fit.cultivars))
    if unknown:
        problems = [Problem(name, f"the fit knows {', '.join(fit.cultivars)}") for name in unknown]
        raise BadInput("the fit does not know a cultivar", problems)
    if pairs and BLOOM_END not in fit.stages:
        raise BadInput("the fit does not know when bloom ends", [Problem("pairs", f"need {BLOOM_END}")])
    if not 0 < interval < 1:
        raise BadInput(
            "the interval is no probability", [Problem("interval", f"{interval:g} is not in 0..1")]
        )
    if not seasons:
        raise BadInput("no season is asked for", [Problem("seasons", "name at least one")])
    quantiles = ((1 - interval) / 2, 0.5, (1 + interval) / 2)
    probabilities = (np.arange(PARTS) + 0.5) / PARTS if usual else np.array(quantiles)
    reach = stdtrit(TAIL_DEGREES, probabilities)
    spread, end = fit.calibrated, fit.stages.index(BLOOM_END) if pairs else 0
    place = {cultivar: at for at, cultivar in enumerate(fit.cultivars)}
    mean = fit.thresholds.mean[[place[name] for name in named]]
    own = np.einsum("ckck->ck", fit.thresholds.covariance)[[place[name] for name in named]]
    scale = np.sqrt(own + np.diag(spread.between_seasons) + np.diag(spread.within))
    heat = np.maximum.accumulate(mean + reach[:, np.newaxis, np.newaxis] * scale, axis=-1)
    one, other = (np.array([place[pair[side]] for pair in pairs], dtype=np.int64) for side in (0, 1))
    ends, between = fit.thresholds.mean[:, end], fit.thresholds.covariance[:, end, :, end]
    apart = between[one, one] + between[other, other] - 2 * between[one, other] + 2 * spread.within[end, end]
    return RegionQuestion(
        rule=fit.rule,
        seasons=tuple(seasons),
        usual=usual,
        quantiles=quantiles,
        cultivars=named,
        stages=fit.stages,
        heat=heat,
        pairs=tuple(pairs),
        source_end=ends[other],
        pistillate_end=ends[one] + reach[:, np.newaxis] * np.sqrt(apart),
    )


def crossing_days(accumulated: FloatArray, heat: FloatArray) -> FloatArray:
    """First day by whose end each of several amounts of heat is reached.

    Parameters
    ----------
    accumulated : ndarray, shape (cell, day)
        Never falling; NaN from a missing day on. [°C·day]
    heat : ndarray, shape (amount,)
        [°C·day]

    Returns
    -------
    ndarray, shape (cell, amount)
        Days since the first of ``accumulated``; infinite where they end first, NaN where it is not known. [day]
    """
    days = accumulated.shape[1]
    known = np.count_nonzero(~np.isnan(accumulated), axis=1)[:, np.newaxis]
    filled = np.where(np.isnan(accumulated), np.inf, accumulated)
    found = np.empty((len(filled), heat.size))
    for cell, curve in enumerate(filled):
        found[cell] = np.searchsorted(curve, heat, side="left")
    return np.where(found < known, found, np.where(known == days, np.inf, np.nan))


def cell_days(
    tmin_c: FloatArray,
    tmax_c: FloatArray,
    latitude: FloatArray,
    *,
    dates: DateArray,
    question: RegionQuestion,
) -> tuple[FloatArray, FloatArray]:
    """Days of the stages in each cell, and by how many a pistillate cultivar outlasts a source.

    Parameters
    ----------
    tmin_c, tmax_c : ndarray, shape (..., day)
        NaN where missing; a day whose maximum lies below its minimum counts as missing. A missing day is never
        summed: what comes after it is not known. [°C]
    latitude : ndarray, shape (...)
        [degree]
    dates : ndarray of datetime64[D], shape (day,)
        Consecutive.
    question : RegionQuestion

    Returns
    -------
    stage : ndarray, shape (..., season, quantile, cultivar, stage)
        Days since 1 January of the season's year; NaN where the season ends first, or is not known so far. [day]
    outlast : ndarray, shape (..., season, quantile, pair)
        Days on which the pistillate cultivar's flowers are still receptive after the source's last pollen, where the
        source's bloom ends at its usual heat; negative where the pollen lasts longer. [day]

    Both have one season where the seasons stand for the usual weather.
    """
    shape, count = tmin_c.shape[:-1], len(question.seasons)
    tmin_c, tmax_c = (np.asarray(each, dtype=np.float64).reshape(-1, dates.size) for each in (tmin_c, tmax_c))
    good = tmax_c >= tmin_c
    tmin_c, tmax_c = np.where(good, tmin_c, np.nan), np.where(good, tmax_c, np.nan)
    south = np.broadcast_to(latitude, shape).reshape(-1) < 0
    amounts = [question.heat.ravel(), question.source_end, question.pistillate_end.ravel()]
    ends = np.cumsum([each.size for each in amounts])
    days = np.full((len(tmin_c), count, ends[-1]), np.nan)
    heat = daily_degree_days(tmin_c, tmax_c, question.rule)
    for cells, side in ((~south, 1.0), (south, -1.0)):
        for place, season in enumerate(question.seasons if cells.any() else ()):
            window = season_window(season, side, question.rule.accumulate_from)
            first = int((np.datetime64(window.start, "D") - dates[0]).astype(np.int64))
            if first < 0:
                continue
            of_season = np.full((np.count_nonzero(cells), window.days), np.nan)
            held = heat[cells, first : first + window.days]
            of_season[:, : held.shape[1]] = held
            found = crossing_days(np.cumsum(of_season, axis=1), np.concatenate(amounts))
            new_year = np.datetime64(f"{season:04d}-01-01", "D")
            days[cells, place] = found + int((np.datetime64(window.start, "D") - new_year).astype(np.int64))
    stage, source, pistillate = np.split(days, ends[:-1], axis=-1)
    stage = stage.reshape(len(days), count, *question.heat.shape)
    pistillate = pistillate.reshape(len(days), count, *question.pistillate_end.shape)
    with np.errstate(invalid="ignore"):  # where neither ends in the season, it is not known
        outlast = pistillate - source[:, :, np.newaxis] + (RECEPTIVE_DAYS - POLLEN_DAYS)
    answers = []
    for found in (stage, outlast):
        told = _of_all_seasons(found, question.quantiles) if question.usual else found
        answers.append(np.where(np.isfinite(told), told, np.nan).reshape(*shape, *told.shape[1:]))
    return answers[0], answers[1]


def _of_all_seasons(days: FloatArray, quantiles: Sequence[float]) -> FloatArray:
    """Quantiles over seasons and probabilities together, which are equally likely; shape (cell, 1, quantile, ...).

    A season of which a part is not known is left out.
    """
    whole = ~np.isnan(days).any(axis=2, keepdims=True)
    count = days.shape[1] * days.shape[2]
    together = np.where(whole, days, np.nan).reshape(len(days), count, *days.shape[3:])
    ranked = np.sort(together, axis=1)  # what is not known comes last
    known = np.count_nonzero(~np.isnan(ranked), axis=1, keepdims=True)
    places = np.array(quantiles).reshape(1, -1, *(1,) * (days.ndim - 3))
    rank = np.maximum(np.ceil(places * known - 1e-9).astype(np.int64) - 1, 0)
    return np.take_along_axis(ranked, rank, axis=1)[:, np.newaxis]


def region_days(
    tmin_c: xr.DataArray, tmax_c: xr.DataArray, latitude: xr.DataArray, question: RegionQuestion
) -> xr.Dataset:
    """`cell_days` of every cell of a grid; lazy where the temperatures are.

    Parameters
    ----------
    tmin_c, tmax_c : DataArray
        With a dimension ``time`` of consecutive days, in one piece, and whatever others the cells have. [°C]
    latitude : DataArray
        Along dimensions of the cells. [degree]
    question : RegionQuestion

    Returns
    -------
    Dataset
        ``bloom_day(..., season, quantile, cultivar, stage)`` and, where pairs were asked for,
        ``days_outlasted(..., season, quantile, pair)``; without ``season`` for the usual weather.

    Raises
    ------
    BadInput
        If the days are not consecutive.
    """
    import xarray as xr

    dates = tmin_c["time"].values.astype("datetime64[D]")
    if dates.size < 1 or np.any(np.diff(dates) != np.timedelta64(1, "D")):
        raise BadInput(
            "the days of the grid are not consecutive", [Problem("time", "must be every day, in order")]
        )
    seasons = 1 if question.usual else len(question.seasons)
    sizes = {
        "season": seasons,
        "quantile": len(question.quantiles),
        "cultivar": len(question.cultivars),
        "stage": len(question.stages),
        "pair": len(question.pairs),
    }
    stage, outlast = xr.apply_ufunc(
        cell_days,
        tmin_c,
        tmax_c,
        latitude,
        kwargs={"dates": dates, "question": question},
        input_core_dims=[["time"], ["time"], []],
        output_core_dims=[["season", "quantile", "cultivar", "stage"], ["season", "quantile", "pair"]],
        join="exact",
        dask="parallelized",
        output_dtypes=[np.float64, np.float64],
        dask_gufunc_kwargs={"output_sizes": sizes},
    )
    found = xr.Dataset({"bloom_day": stage.astype(np.float32), "days_outlasted": outlast.astype(np.float32)})
    found = found.assign_coords(
        quantile=list(question.quantiles), cultivar=list(question.cultivars), stage=list(question.stages)
    )
    if question.pairs:
        found = found.assign_coords(pair=[" outlasts ".join(pair) for pair in question.pairs])
    else:
        found = found.drop_vars("days_outlasted").drop_dims("pair", errors="ignore")
    return found.isel(season=0) if question.usual else found.assign_coords(season=list(question.seasons))
