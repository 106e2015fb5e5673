"""Marks of frosted blocks, and what becomes of them with their block and vineyard."""

from __future__ import annotations

import datetime as dt

import pytest

from models.records import Block, Cultivar, FlowerType, FrostedBlock
from service.store import Store
from service.store.errors import NotFound
from service.store.records import Vineyard

LARCH = Cultivar("larch", "Larch Nettle", FlowerType.PERFECT, True, receptive_days=4, pollen_days=1)
NIGHT = dt.date(2025, 4, 9)


@pytest.fixture
def planted(store: Store) -> Store:
    with store.transaction("ada") as records:
        records.cultivars.put(LARCH)
        records.vineyards.put(Vineyard("hill", "Hill", scouting_weekdays=("tue", "fri")))
        for key in ("b1", "b2"):
            records.blocks.put("hill", Block(key, "larch", 0.0, 0.0))
    return store


def test_a_mark_is_put_replaced_listed_and_taken_away(planted: Store) -> None:
    with planted.transaction("ada") as records:
        assert records.frosted.put("hill", FrostedBlock("b2", 2025, NIGHT))
        assert records.frosted.put("hill", FrostedBlock("b1", 2025))
        assert records.frosted.put("hill", FrostedBlock("b1", 2024))
        assert not records.frosted.put("hill", FrostedBlock("b2", 2025))
        assert records.frosted.all("hill") == (
            FrostedBlock("b1", 2024),
            FrostedBlock("b1", 2025),
            FrostedBlock("b2", 2025),
        )
        records.frosted.delete("hill", "b1", 2024)
        assert FrostedBlock("b1", 2024) not in records.frosted.all("hill")
        for vineyard, block, season in (("hill", "b1", 2024), ("hill", "b9", 2025), ("dale", "b1", 2025)):
            with pytest.raises(NotFound):
                records.frosted.delete(vineyard, block, season)
        with pytest.raises(NotFound):
            records.frosted.put("hill", FrostedBlock("b9", 2025))


def test_marks_belong_to_their_grower_and_are_a_part_of_the_past(planted: Store) -> None:
    with planted.transaction("ada") as records:
        for key in ("b1", "b2"):
            records.frosted.put("hill", FrostedBlock(key, 2025, NIGHT))
    with planted.transaction("bob") as records, pytest.raises(NotFound):
        records.frosted.all("hill")
    with planted.transaction("ada") as records:
        records.blocks.delete("hill", "b1")
        records.blocks.replace_all("hill", [Block("b3", "larch", 0.0, 0.0)])
        assert records.frosted.all("hill") == (
            FrostedBlock("b1", 2025, NIGHT),
            FrostedBlock("b2", 2025, NIGHT),
        )
        records.blocks.delete("hill", "b1", past="delete")
        assert records.frosted.all("hill") == (FrostedBlock("b2", 2025, NIGHT),)
        records.vineyards.delete("hill")
    with planted.transaction("ada") as records, pytest.raises(NotFound):
        records.frosted.all("hill")


def test_weekdays_and_flower_days_come_back(planted: Store) -> None:
    with planted.transaction("ada") as records:
        assert records.vineyards.get("hill").scouting_weekdays == ("tue", "fri")
        assert records.cultivars.get("larch") == LARCH
        records.vineyards.put(Vineyard("hill", "Hill"))
        assert records.vineyards.get("hill").scouting_weekdays is None
