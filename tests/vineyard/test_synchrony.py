"""Flowering times that coincide, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.vineyard.synchrony import (
    BoolArray,
    shared_days,
    synchrony_index,
    uncovered_days,
)


def pattern(days: str) -> BoolArray:
    return np.array([day == "1" for day in days])


def span(first: int, last: int) -> BoolArray:
    days = np.arange(130, 170)
    return (days >= first) & (days <= last)


SOURCE, LATER_SOURCE, PISTILLATE = span(140, 149), span(150, 161), span(146, 157)


def test_augspurgers_index_of_three_plants() -> None:
    # The index of Augspurger (1983), Biotropica 15:257-267. The three plants are not from the paper, which was not
    # seen, but an example in the help of an R package; worked by hand:
    # (2 + 1) / (2 * 3), (2 + 2) / (2 * 3), (1 + 2) / (2 * 3).
    plants = np.array([pattern("0111000"), pattern("0101100"), pattern("0001110")])
    index = [synchrony_index(plants[plant], np.delete(plants, plant, axis=0)) for plant in range(3)]
    assert_allclose(index, [3 / 6, 4 / 6, 3 / 6], rtol=1e-12)
    assert float(np.mean(index)) == pytest.approx(0.5556, abs=5e-5)


def test_a_source_that_ends_first_worked_by_hand() -> None:
    # Source open on days 140-149, pistillate on 146-157: together on 146-149.
    assert shared_days(PISTILLATE, SOURCE) == 4
    assert synchrony_index(PISTILLATE, SOURCE[np.newaxis]) == pytest.approx(4 / 12)
    assert synchrony_index(SOURCE, PISTILLATE[np.newaxis]) == pytest.approx(4 / 10)
    either = PISTILLATE.sum() + SOURCE.sum() - shared_days(PISTILLATE, SOURCE)
    assert shared_days(PISTILLATE, SOURCE) / either == pytest.approx(4 / 18)  # Jaccard's index, 0.2222
    assert uncovered_days(PISTILLATE, SOURCE[np.newaxis]) == 8


def test_a_second_source_on_150_to_161_covers_the_rest() -> None:
    assert uncovered_days(PISTILLATE, np.array([SOURCE, LATER_SOURCE])) == 0


def test_leading_axes_are_draws() -> None:
    own = np.array([PISTILLATE, SOURCE])
    others = np.array([[SOURCE, LATER_SOURCE], [PISTILLATE, LATER_SOURCE]])
    assert_allclose(synchrony_index(own, others), [(4 + 8) / 2 / 12, (4 + 0) / 2 / 10], rtol=1e-12)


def test_a_plant_that_does_not_flower_has_no_index() -> None:
    never = np.zeros_like(SOURCE)
    assert np.isnan(synchrony_index(never, SOURCE[np.newaxis]))
    assert synchrony_index(SOURCE, never[np.newaxis]) == 0.0
