"""The drawings on the per-cent buttons."""

from __future__ import annotations

import pytest

from service.board.cluster import DRAWN, cluster


@pytest.mark.parametrize(("percent", "opened"), [(0, 0), (10, 2), (50, 10), (95, 19), (100, 20)])
def test_as_many_flowers_are_open_as_the_per_cent_say(percent: float, opened: int) -> None:
    assert sum(flower.open for flower in cluster(percent)) == opened


def test_what_has_opened_stays_open() -> None:
    few, many = ({(f.x, f.y) for f in cluster(percent) if f.open} for percent in (DRAWN[1], DRAWN[2]))
    assert few < many
