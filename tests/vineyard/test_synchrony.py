"""Flowering times that coincide, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.units import FloatArray
from models.vineyard.synchrony import (
    BoolArray,
    length_of_union,
    shared_days,
    synchrony_index,
    uncovered_days,
)

Span = tuple[FloatArray, FloatArray]


def pattern(days: str) -> BoolArray:
    return np.array([day == "1" for day in days])


def span(first: float, last: float) -> Span:
    return np.array(float(first)), np.array(float(last))


SOURCE, LATER_SOURCE, PISTILLATE = span(140, 149), span(150, 161), span(146, 157)


def index_of(own: Span, *others: Span) -> FloatArray:
    shared = np.stack([shared_days(*own, *other) for other in others], axis=-1)
    return synchrony_index(shared, own[1] - own[0] + 1)


def test_augspurgers_index_of_three_plants() -> None:
    # The index of Augspurger (1983), Biotropica 15:257-267. The three plants are not from the paper, which was not
    # seen, but an example in the help of an R package; worked by hand:
    # (2 + 1) / (2 * 3), (2 + 2) / (2 * 3), (1 + 2) / (2 * 3).
    plants = np.array([pattern("0111000"), pattern("0101100"), pattern("0001110")])
    shared = (plants[:, np.newaxis] & plants).sum(axis=-1)
    others = np.array([np.delete(shared[plant], plant) for plant in range(3)])
    index = synchrony_index(others, plants.sum(axis=-1))
    assert_allclose(index, [3 / 6, 4 / 6, 3 / 6], rtol=1e-12)
    assert float(np.mean(index)) == pytest.approx(0.5556, abs=5e-5)


def test_a_source_that_ends_first_worked_by_hand() -> None:
    # Source open on days 140-149, pistillate on 146-157: together on 146-149.
    assert shared_days(*PISTILLATE, *SOURCE) == 4
    assert index_of(PISTILLATE, SOURCE) == pytest.approx(4 / 12)
    assert index_of(SOURCE, PISTILLATE) == pytest.approx(4 / 10)
    either = 12 + 10 - shared_days(*PISTILLATE, *SOURCE)
    assert shared_days(*PISTILLATE, *SOURCE) / either == pytest.approx(4 / 18)  # Jaccard's index, 0.2222
    assert uncovered_days(*PISTILLATE, *np.stack(SOURCE)[:, np.newaxis]) == 8


def test_a_second_source_on_150_to_161_covers_the_rest() -> None:
    assert uncovered_days(*PISTILLATE, *np.array([SOURCE, LATER_SOURCE]).T) == 0


def test_leading_axes_are_draws() -> None:
    first, last = np.array([PISTILLATE, SOURCE]).T
    others = np.array([[SOURCE, LATER_SOURCE], [PISTILLATE, LATER_SOURCE]])
    shared = shared_days(first[:, np.newaxis], last[:, np.newaxis], others[..., 0], others[..., 1])
    index = synchrony_index(shared, last - first + 1)
    assert_allclose(index, [(4 + 8) / 2 / 12, (4 + 0) / 2 / 10], rtol=1e-12)


def test_a_plant_that_does_not_flower_has_no_index() -> None:
    assert np.isnan(synchrony_index(np.array([0]), np.array(0)))
    assert index_of(SOURCE, span(np.inf, np.inf)) == 0.0


def test_a_union_counts_what_several_spans_hold_once() -> None:
    """Against the days counted one by one, for spans in any order, some of them empty."""
    random = np.random.default_rng(7)
    days = np.arange(40)
    for spans in range(6):
        first = random.integers(0, 30, (spans, 50)).astype(float)
        last = first + random.integers(-4, 9, (spans, 50)).astype(float)
        inside = (days >= first[..., np.newaxis]) & (days < last[..., np.newaxis])
        counted = inside.any(axis=0).sum(axis=-1)
        assert np.array_equal(length_of_union(first, last), counted)
