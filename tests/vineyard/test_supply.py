"""How much pollen sources can give beside each other."""

from __future__ import annotations

import pytest

from models.records import Block, Cultivar, FlowerType, Planting, PollenNote
from models.vineyard.reach import notes_for
from models.vineyard.supply import shares_of_supply

PLAIN = Cultivar("plain", "Plain", FlowerType.PERFECT, True)
RICH = Cultivar("rich", "Rich", FlowerType.PERFECT, True, flowers_a_vine=3000.0)
POOR = Cultivar("poor", "Poor", FlowerType.PERFECT, True, flowers_a_vine=1000.0, pollen_quality=0.5)
BLOCKS = (Block("a", "plain", 0, 0, vines=2), Block("b", "rich", 5, 0), Block("c", "poor", 9, 0, vines=4))


def shares(*cultivars: Cultivar) -> dict[str, float]:
    return shares_of_supply(Planting(BLOCKS, {each.key: each for each in cultivars}), BLOCKS)


def test_vines_flowers_and_quality_weigh_a_source() -> None:
    # the one that tells no flowers has the mean of the others, 2000: 2 x 2000, 1 x 3000, 4 x 1000 x 0.5
    assert shares(PLAIN, RICH, POOR) == pytest.approx({"a": 4 / 9, "b": 3 / 9, "c": 2 / 9})


def test_where_nothing_is_told_vines_alone_count() -> None:
    alike = [Cultivar(key, key, FlowerType.PERFECT, True) for key in ("plain", "rich", "poor")]
    assert shares(*alike) == pytest.approx({"a": 2 / 7, "b": 1 / 7, "c": 4 / 7})


def test_notes_of_what_stands_here_alone_are_told() -> None:
    notes = (PollenNote("rich", "set more", "a study"), PollenNote("gone", "set less", "a study"))
    needs = Cultivar("plain", "Plain", FlowerType.PISTILLATE, False, pollen_notes=notes)
    assert notes_for(Planting(BLOCKS, {"plain": needs, "rich": RICH, "poor": POOR}), "plain") == notes[:1]
