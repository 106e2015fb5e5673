"""For how many days a flower is receptive and an anther sheds pollen."""

from __future__ import annotations

from dataclasses import dataclass

from models.errors import BadInput, Problem
from models.records import Cultivar

# Assumptions: no source was found. [day]
RECEPTIVE_DAYS = 3
POLLEN_DAYS = 2


@dataclass(frozen=True)
class FlowerDays:
    """Days from capfall, the first of them its own day; a cultivar's own numbers come first. [day]

    Raises
    ------
    BadInput
        If a number is below 1.
    """

    receptive: int = RECEPTIVE_DAYS
    pollen: int = POLLEN_DAYS

    def __post_init__(self) -> None:
        _check(self.receptive, "receptive_days")
        _check(self.pollen, "pollen_days")

    def receptive_of(self, cultivar: Cultivar) -> int:
        """For how many days a flower of this cultivar is receptive. [day]"""
        return _own(cultivar.receptive_days, self.receptive, "receptive_days", cultivar)

    def pollen_of(self, cultivar: Cultivar) -> int:
        """For how many days an anther of this cultivar sheds pollen. [day]"""
        return _own(cultivar.pollen_days, self.pollen, "pollen_days", cultivar)


def _own(days: int | None, default: int, where: str, cultivar: Cultivar) -> int:
    if days is None:
        return default
    _check(days, f"cultivar {cultivar.key}.{where}")
    return days


def _check(days: int, where: str) -> None:
    if days < 1:
        raise BadInput("a flower's day is its first", [Problem(where, "must be 1 day or more")])
