"""A flower cluster as a small drawing: how it looks when so many per cent of its caps are off."""

from __future__ import annotations

from dataclasses import dataclass

# Rows of a cluster from its shoulders to its tip: how many flowers stand in each.
ROWS = (4, 5, 4, 3, 3, 1)
APART = 9.0
DRAWN = (0, 10, 50, 95)  # those that differ enough to be told apart


@dataclass(frozen=True)
class Flower:
    """One flower of the drawing; ``open`` without its cap, the stamens out."""

    x: float
    y: float
    open: bool


def cluster(percent: float) -> tuple[Flower, ...]:
    """Twenty flowers, of which as many are open as the per cent say; spread over the cluster, the shoulders first."""
    places = [
        (APART * (column - (count - 1) / 2), APART * row)
        for row, count in enumerate(ROWS)
        for column in range(count)
    ]
    order = sorted(range(len(places)), key=lambda place: (place * 7) % len(places))
    opened = set(order[: round(percent / 100 * len(places))])
    return tuple(Flower(x, y, index in opened) for index, (x, y) in enumerate(places))
