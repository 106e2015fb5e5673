"""The bloom curve: it must keep the three stage days, and lose no flower."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from models.bloom.caps_off import cumulative_share
from models.vineyard.open_flowers import bloom_days, share_by_day


def share(day: float, start: float, full: float, end: float) -> float:
    return float(cumulative_share(day, start=start, full=full, end=end))


def test_the_curve_passes_through_10_50_and_95_percent_on_the_stage_days() -> None:
    at = cumulative_share([150, 154, 161], start=150, full=154, end=161)
    assert_allclose(at, [0.10, 0.50, 0.95], rtol=1e-12)


def test_between_the_stages_the_logit_is_straight() -> None:
    # Half way between 10 % (odds 1/9) and 50 % (odds 1) the odds are sqrt(1/9) = 1/3, the share 1/4.
    assert share(152, 150, 154, 161) == pytest.approx(0.25, rel=1e-12)
    # Half way between 50 % and 95 % (odds 19) they are sqrt(19).
    assert share(157.5, 150, 154, 161) == pytest.approx(19**0.5 / (1 + 19**0.5), rel=1e-12)


def test_bloom_has_a_first_and_a_last_day() -> None:
    assert share(140, 150, 154, 161) == 0.0
    assert share(180, 150, 154, 161) == 1.0
    assert share(-np.inf, 150, 154, 161) == 0.0
    assert share(np.inf, 150, 154, 161) == 1.0


@pytest.mark.parametrize(
    ("start", "full", "end", "by_day"),
    [
        (150, 150, 150, {149: 0.0, 150: 1.0}),
        (150, 150, 160, {149: 0.0, 150: 0.5, 160: 0.95}),
        (140, 150, 150, {140: 0.1, 149: None, 150: 1.0}),
    ],
)
def test_stages_on_one_day_make_a_step(
    start: float, full: float, end: float, by_day: dict[float, float | None]
) -> None:
    for day, expected in by_day.items():
        if expected is None:
            assert 0.1 < share(day, start, full, end) < 0.5
        else:
            assert share(day, start, full, end) == pytest.approx(expected, rel=1e-12)


@given(
    st.lists(st.tuples(st.integers(0, 300), st.integers(0, 40), st.integers(0, 40)), min_size=1, max_size=5)
)
def test_every_flower_opens_once(blooms: list[tuple[int, int, int]]) -> None:
    bloom = np.array([(start, start + a, start + a + b) for start, a, b in blooms], dtype=np.float64)
    by_day = share_by_day(bloom, bloom_days(bloom))
    assert np.all(by_day >= 0)
    assert_allclose(by_day.sum(axis=-1), 1.0, rtol=1e-12)


def test_shares_by_day_are_the_steps_of_the_curve() -> None:
    bloom = np.array([[150.0, 154.0, 161.0], [150.0, 150.0, 150.0]])
    days = bloom_days(bloom)
    by_day = share_by_day(bloom, days)
    assert_allclose(by_day[0, days <= 154].sum(), 0.5, rtol=1e-12)
    assert_allclose(by_day[0, days > 161].sum(), 0.05, rtol=1e-12)
    assert by_day[1, days == 150].tolist() == [1.0]
