"""Looks on days whose weather is not known yet, against rejection sampling from the model."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from models.bloom.forecast import forecast
from models.bloom.mixed_model import TAIL_DEGREES
from models.bloom.observations import IntArray
from models.bloom.season_effect import expected_drift
from models.bloom.site import Site
from models.bloom.thresholds import Fit, fit_thresholds
from models.bloom.traces import CLIMATE_YEARS, season_traces
from models.records import StageInterval
from models.units import FloatArray
from tests.bloom.noted import logged
from tests.bloom.test_forecast import BLOCKS, CULTIVARS, LOOKS, RECORD, RULE, STAGES, usual_day

LAG = dt.timedelta(days=30)
PROPOSED = 400_000


@pytest.fixture(scope="module")
def fit() -> Fit:
    return fit_thresholds([Site("here", 33.0, RECORD, logged(LOOKS))], stages=STAGES, rule=RULE)


def proposed(fit: Fit, curves: FloatArray, seasons: tuple[int, ...]) -> tuple[IntArray, FloatArray]:
    """Days of every block's stages as the model draws them when nothing is seen; shape (draw, block, stage)."""
    random, spread = np.random.default_rng(7), fit.calibrated
    weight = np.exp(-np.abs(np.array(seasons) - 2020) / CLIMATE_YEARS)
    trace_of = random.choice(len(seasons), PROPOSED, p=weight / weight.sum())
    size = fit.thresholds.mean.size
    theta = random.multivariate_normal(
        fit.thresholds.mean.reshape(size), fit.thresholds.covariance.reshape(size, size), PROPOSED
    ).reshape(PROPOSED, *fit.thresholds.mean.shape)
    drift_mean, drift_covariance = expected_drift(fit.season_evidence, spread, site="here", season=2020)

    def tailed(covariance: FloatArray, shape: tuple[int, ...]) -> FloatArray:
        normal = random.standard_normal((*shape, len(STAGES))) @ np.linalg.cholesky(covariance).T
        scale = np.sqrt(random.chisquare(TAIL_DEGREES, (*shape, 1)) / TAIL_DEGREES)
        return np.asarray(normal / scale, dtype=np.float64)

    season = random.multivariate_normal(drift_mean, drift_covariance, PROPOSED)
    season += tailed((1 - spread.drift_share) * spread.between_seasons, (PROPOSED,))
    centre = theta + season[:, None]
    heat = centre + tailed(spread.within, (PROPOSED, len(CULTIVARS)))
    for _ in range(50):  # a block's stages come in order: what is its own is drawn until they do
        wrong = np.diff(heat, axis=2).min(axis=2) < 0
        heat[wrong] = centre[wrong] + tailed(spread.within, (int(wrong.sum()),))
    ordered = np.diff(heat, axis=2).min(axis=(1, 2)) >= 0
    trace_of, heat = trace_of[ordered], heat[ordered]
    days = np.empty(heat.shape)
    for trace, curve in enumerate(curves):
        days[trace_of == trace] = np.searchsorted(curve, heat[trace_of == trace])
    return trace_of, days


@pytest.mark.parametrize("early", [5, -8])
def test_a_first_bloom_seen_weighs_the_traces_as_rejection_does(fit: Fit, early: int) -> None:
    by = usual_day(fit, "alder", "bloom_start") - dt.timedelta(days=early)
    seen = StageInterval(2020, "alder", "alder-block", "bloom_start", by - dt.timedelta(days=1), by)
    known = RECORD.before(by - LAG)
    found = forecast(
        fit, Site("here", 33.0, known), BLOCKS, as_of=by, told=[seen], draws=4000, history=RECORD
    )
    traces = season_traces(known, latitude=33.0, season=2020, as_of=by, rule=RULE, history=RECORD)
    trace_of, days = proposed(fit, traces.accumulated, traces.seasons)
    place = traces.window.day_index(by)
    kept = days[:, 0, 0] == place
    assert kept.sum() > 2000
    for cultivar in ("birch", "cedar"):
        for stage in STAGES:
            expected = np.quantile(
                days[kept][:, CULTIVARS.index(cultivar), STAGES.index(stage)], [0.1, 0.5, 0.9]
            )
            drawn = found.draws["day"].sel(block=f"{cultivar}-block", stage=stage).to_numpy()
            told = np.quantile(drawn, [0.1, 0.5, 0.9])
            np.testing.assert_allclose(told, expected, rtol=0, atol=1.0)
    shares = [
        np.bincount(each, minlength=len(traces.seasons)) / each.size
        for each in (
            trace_of[kept],
            np.searchsorted(traces.seasons, found.draws["trace_season"].to_numpy()),
        )
    ]
    assert np.abs(shares[0] - shares[1]).sum() < 0.15
    untold = np.bincount(trace_of, minlength=len(traces.seasons)) / trace_of.size
    assert np.abs(shares[0] - untold).sum() > 0.3
