"""Cover of one block's bloom, draw by draw."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from models.units import FloatArray
from models.vineyard.cover import Cover, Part, cover, covered_share, open_anther_days, opening_and_met

BLOOM = np.array([[146.0, 150.0, 155.0]])


def by(*spans: tuple[float, float], bloom: FloatArray = BLOOM, receptive_days: int = 3) -> Cover:
    """Cover by sources with these first and last open days, the same in every draw."""
    opened = np.array(spans, dtype=np.float64).reshape(-1, 2, 1)
    first, last = np.broadcast_to(opened, (len(spans), 2, len(bloom))).transpose(1, 0, 2)
    return cover(bloom, first, last, receptive_days=receptive_days)


def test_anthers_are_open_from_bloom_start_until_the_last_counted_flowers_have_shed() -> None:
    bloom = np.array([[140.0, 144.0, 148.0], [140.0, 144.0, np.nan], [np.nan, np.nan, np.nan]])
    first, last = open_anther_days(bloom, pollen_days=2)
    assert first.tolist() == [140, 140, np.inf]
    assert last.tolist() == [149, np.inf, np.inf]


def test_overlap_of_the_case_worked_by_hand() -> None:
    # Source open on days 140-149, block receptive on 146-157: 4 of 12 days.
    found = by((140, 149), (150, 161))
    assert found.overlap_days[:, 0].tolist() == [4, 8]
    assert_allclose(found.synchrony[:, 0], [4 / 12, 8 / 12], rtol=1e-12)
    assert found.covered[0] == pytest.approx(1.0)


def test_flowers_that_open_after_the_last_pollen_day_are_lost() -> None:
    # Pollen until the day of full bloom: half the flowers are still to open.
    found = by((130, 150))
    assert found.covered[0] == pytest.approx(0.5)
    assert found.after[0] == pytest.approx(0.5)
    assert found.before[0] == pytest.approx(0.0)


def test_flowers_wait_for_pollen_as_long_as_they_are_receptive() -> None:
    # 10 % have opened by day 146 and are receptive until day 148, if three days are taken.
    assert by((149, 200)).before[0] == pytest.approx(0.10)
    assert by((149, 200)).covered[0] == pytest.approx(0.90)
    assert by((147, 200), receptive_days=1).covered[0] == pytest.approx(0.90)


def test_what_each_source_covers_alone_and_what_is_lost_without_it() -> None:
    # The second one takes over on day 148, so flowers from day 146 on meet it; the first ends on day 150.
    found = by((130, 150), (148, 170))
    opened_before_146 = 1 / (1 + 9 ** (5 / 4))  # day 145: odds 9 ** -(5 / 4)
    assert_allclose(found.covered_by[:, 0], [0.5, 1 - opened_before_146], rtol=1e-12)
    assert_allclose(found.lost_without[:, 0], [opened_before_146, 0.5], rtol=1e-12)
    assert_allclose(found.covered, 1.0, rtol=1e-12)


def test_a_gap_between_two_sources() -> None:
    # No pollen from day 151 to day 157: flowers that open on days 151 to 155 do not live to see day 158.
    found = by((130, 150), (158, 170))
    assert found.between[0] == pytest.approx(0.45)
    assert found.before[0] == pytest.approx(0.0)
    assert found.after[0] == pytest.approx(0.0)
    assert found.days[found.without_pollen[0]].tolist() == list(range(151, 158))


def test_no_source_covers_nothing() -> None:
    found = by()
    assert found.covered.tolist() == [0.0]
    assert found.covered_by.shape == (0, 1)
    assert found.without_pollen[0].any()


def test_a_source_that_blooms_only_after_the_season_is_late() -> None:
    found = by((np.inf, np.inf))
    assert (found.covered[0], found.before[0], found.after[0]) == (0.0, 1.0, 0.0)


def test_a_bloom_of_one_day() -> None:
    one_day = np.array([[150.0, 150.0, 150.0]])
    assert by((152, 160), bloom=one_day).covered.tolist() == [1.0]
    assert by((153, 160), bloom=one_day).covered.tolist() == [0.0]
    assert by((140, 149), bloom=one_day).after.tolist() == [1.0]


SPANS = st.lists(
    st.tuples(st.integers(130, 175), st.integers(0, 25)).map(lambda span: (span[0], span[0] + span[1])),
    min_size=1,
    max_size=5,
)
BLOOMS = st.lists(
    st.tuples(st.integers(140, 160), st.integers(0, 12), st.integers(0, 12)).map(
        lambda bloom: (bloom[0], bloom[0] + bloom[1], bloom[0] + bloom[1] + bloom[2])
    ),
    min_size=1,
    max_size=4,
).map(lambda blooms: np.array(blooms, dtype=np.float64))


@settings(deadline=None)
@given(SPANS, BLOOMS, st.integers(1, 5))
def test_shares_fit_together(spans: list[tuple[int, int]], bloom: FloatArray, receptive_days: int) -> None:
    found = by(*spans, bloom=bloom, receptive_days=receptive_days)
    fewer = by(*spans[1:], bloom=bloom, receptive_days=receptive_days)
    assert_allclose(found.covered + found.before + found.between + found.after, 1.0, atol=1e-9)
    assert_allclose(found.lost_without[0], found.covered - fewer.covered, atol=1e-9)
    assert np.all(found.covered >= fewer.covered - 1e-12)  # a further source never lowers cover
    assert np.all(found.covered >= found.covered_by.max(axis=0) - 1e-9)
    alone = by(spans[0], bloom=bloom, receptive_days=receptive_days)
    assert_allclose(found.covered_by[0], alone.covered, atol=1e-9)


@settings(deadline=None)
@given(SPANS, BLOOMS)
def test_longer_receptive_flowers_never_lower_cover(spans: list[tuple[int, int]], bloom: FloatArray) -> None:
    shorter = by(*spans, bloom=bloom, receptive_days=2)
    longer = by(*spans, bloom=bloom, receptive_days=3)
    assert np.all(longer.covered >= shorter.covered - 1e-12)


def test_a_share_that_is_covered_is_that_of_the_days_on_which_flowers_open_and_meet_a_source() -> None:
    """Spans of shares against days counted one by one, for sources in any order, for parts of the vines."""
    random = np.random.default_rng(8)
    start = random.integers(100, 130, 40).astype(float)
    full = start + random.integers(0, 8, 40)
    bloom = np.column_stack([start, full, full + random.integers(0, 10, 40)])
    for sources in range(5):
        first = random.integers(90, 140, (sources, 40)).astype(float)
        last = first + random.integers(0, 15, (sources, 40)).astype(float)
        reached = random.random((3, sources)) < 0.6
        parts = [Part(float(share), some) for share, some in zip((0.2, 0.3, 0.5), reached, strict=True)]
        found = cover(bloom, first, last, receptive_days=3, parts=parts)
        opening, met = opening_and_met(bloom, first, last, found.days, receptive_days=3)
        unmet = np.sum([part.share * opening * ~met[part.reached].any(axis=0) for part in parts], axis=0)
        assert_allclose(found.covered + unmet.sum(axis=-1), 1.0, rtol=1e-12)
        assert_allclose(found.unmet, unmet[found.told], rtol=1e-12)
        alone = covered_share(bloom, first, last, receptive_days=3, parts=parts)
        assert_allclose(alone, found.covered, rtol=1e-12, atol=1e-15)


def test_no_day_is_told_where_no_draw_loses_a_notable_share() -> None:
    found = by((100, 200), bloom=np.array([[140.0, 146.0, 152.0]] * 2), receptive_days=3)
    assert found.told.size == 0
    assert found.chance_without.tolist() == [0.0] * found.days.size
