"""One shape for fit and cover: the regression's link and the functions agree, and nothing rests on a symmetric one."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from numpy.testing import assert_allclose

from models.bloom import caps_off, curve
from models.bloom.flower_curve import from_line, regression_link, to_line
from models.units import FloatArray
from models.vineyard import open_flowers

SHARES = np.array([0.001, 0.01, 0.1, 0.5, 0.95, 0.99, 0.999])


def test_the_regression_has_the_same_line() -> None:
    line = to_line(SHARES)
    link = regression_link()
    assert_allclose(link(SHARES), line, rtol=1e-12)
    assert_allclose(link.inverse(line), SHARES, rtol=1e-12)
    assert_allclose(from_line(line), SHARES, rtol=1e-12)


def lopsided_to_line(share: FloatArray) -> FloatArray:
    """Slow to begin and quick to end: the complementary log-log."""
    return np.asarray(np.log(-np.log1p(-share)))


def lopsided_from_line(line: FloatArray) -> FloatArray:
    return np.asarray(-np.expm1(-np.exp(np.minimum(line, 700.0))))


@pytest.fixture
def lopsided(monkeypatch: pytest.MonkeyPatch) -> FloatArray:
    """Another shape than the product's, whose full bloom is not at 0; where its three stages lie."""
    stages = lopsided_to_line(np.array([0.1, 0.5, 0.95]))
    first, last = lopsided_to_line(np.array([0.01, 0.99]))
    for name, value in zip(("START", "FULL", "END", "FIRST", "LAST"), (*stages, first, last), strict=True):
        for module in (caps_off, open_flowers):
            monkeypatch.setattr(module, name, float(value))
    monkeypatch.setattr(curve, "STAGES_ON_LINE", stages)
    monkeypatch.setattr(curve, "regression_link", sm.families.links.CLogLog)
    for module in (curve, caps_off):
        monkeypatch.setattr(module, "from_line", lopsided_from_line)
    return stages


@pytest.mark.usefixtures("lopsided")
def test_another_shape_keeps_its_stages_and_loses_no_flower() -> None:
    at = caps_off.cumulative_share([150, 154, 161], start=150, full=154, end=161)
    assert_allclose(at, [0.10, 0.50, 0.95], rtol=1e-12)
    bloom = np.array([[150.0, 154.0, 161.0], [150.0, 150.0, 160.0], [140.0, 150.0, 150.0]])
    by_day = open_flowers.share_by_day(bloom, open_flowers.bloom_days(bloom))
    assert np.all(by_day >= 0)
    assert_allclose(by_day.sum(axis=-1), 1.0, rtol=1e-12)


def test_another_shape_is_the_one_that_is_fitted(lopsided: FloatArray) -> None:
    """A block's own pace moves its ends, not its full bloom."""
    heat = np.arange(500.0, 700.0, 20.0)
    share = lopsided_from_line(0.04 * (heat - 610))
    fit = curve.fit_curves(heat, share, np.zeros(heat.size, dtype=np.int64))
    assert fit is not None
    found, error = curve.stage_points(fit, 0)
    assert_allclose(found, 610 + lopsided / 0.04, rtol=1e-6)
    own_pace = curve.PACE_SPREAD * (lopsided - lopsided[1]) / fit.slope
    widened = curve.stage_points(fit, 0, widened=0.0)[1]
    assert_allclose(widened, np.abs(own_pace), rtol=1e-12)
    assert widened[1] == 0
    assert np.all(error > widened)
