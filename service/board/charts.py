"""Charts as SVG: numbers to places. [%] of a picture's width and height; the template draws them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

MOST_TICKS = 6

Place = tuple[float, float]
"""From the left, and from the top. [%]"""


@dataclass(frozen=True)
class Tick:
    """A labelled value on an axis. [%]"""

    at: float
    label: str


@dataclass(frozen=True)
class Line:
    """A line, or with ``area`` what lies between a line there and one back. ``name`` stands in the key."""

    role: str
    name: str
    path: str
    area: bool = False


@dataclass(frozen=True)
class Dot:
    """A value by itself, and what it says. [%]"""

    role: str
    x: float
    y: float
    text: str


@dataclass(frozen=True)
class Column:
    """A stretch of the width from the floor up, and what it says; with ``height`` 100 what a finger can touch. [%]"""

    x: float
    width: float
    height: float
    text: str


@dataclass(frozen=True, kw_only=True)
class Chart:
    """All that one picture shows; ``dot_names`` are the roles of dots and what they are, for the key."""

    id: str
    x_label: str
    y_label: str
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    lines: tuple[Line, ...] = ()
    dots: tuple[Dot, ...] = ()
    columns: tuple[Column, ...] = ()
    readings: tuple[Column, ...] = ()
    dot_names: dict[str, str] = field(default_factory=dict)
    marked_x: float | None = None


@dataclass(frozen=True)
class Scale:
    """Values from ``low`` to ``high`` along an axis; ``downward`` for heights, which are told from the top."""

    low: float
    high: float
    direction: Literal["rightward", "downward"] = "rightward"

    def at(self, value: float) -> float:
        """Where a value stands. [%]"""
        share = (value - self.low) / (self.high - self.low)
        return 100 * (1 - share if self.direction == "downward" else share)

    def round_ticks(self) -> tuple[Tick, ...]:
        """Round values within the scale, not more than six."""
        step = _round_step((self.high - self.low) / MOST_TICKS)
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return tuple(Tick(self.at(n * step), f"{n * step:g}") for n in range(first, last + 1))


def _round_step(least: float) -> float:
    """The smallest of 1, 2, 2.5, 5 times a power of ten that is no less."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(step * power for step in (1, 2, 2.5, 5, 10) if step * power >= least * (1 - 1e-9))


def path(points: Iterable[Place | None]) -> str:
    """An SVG path through points; it breaks where one is None."""
    parts, pen = [], "M"
    for point in points:
        if point is None:
            pen = "M"
            continue
        parts.append(f"{pen}{point[0]:.2f} {point[1]:.2f}")
        pen = "L"
    return "".join(parts)


def area(upper: Sequence[Place | None], lower: Sequence[Place | None]) -> str:
    """An SVG path around what lies between two lines, where both are known."""
    known = [(over, under) for over, under in zip(upper, lower, strict=True) if over and under]
    there = path(over for over, _ in known)
    back = path(under for _, under in reversed(known))
    return f"{there}{back.replace('M', 'L')}Z" if known else ""
