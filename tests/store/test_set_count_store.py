"""Set counts, told days and readers of news in the store."""

from __future__ import annotations

import datetime as dt

import pytest

from models.records import Block, Cultivar, FlowerType, SetCount
from service.store import Store
from service.store.errors import NotFound, UnknownReference
from service.store.records import ToldDay, Vineyard

DAY = dt.date(2026, 5, 20)
LATER = dt.date(2026, 6, 24)
FLOWERS = SetCount(DAY, "b1", "1", flowers=50)
BERRIES = SetCount(LATER, "b1", "1", berries=12)


@pytest.fixture
def planted(store: Store) -> Store:
    with store.transaction("ada") as records:
        records.cultivars.put(Cultivar("larch", "Larch Nettle", FlowerType.PISTILLATE, False))
        records.vineyards.put(Vineyard("hill", "Hill"))
        records.blocks.put("hill", Block("b1", "larch", 0.0, 0.0))
    return store


def test_counts_are_stored_replaced_listed_and_deleted(planted: Store) -> None:
    with planted.transaction("ada") as records:
        assert records.set_counts.add("hill", [BERRIES, FLOWERS]).stored == 2
        first, second = records.set_counts.all("hill")
        assert (first.count, second.count) == (FLOWERS, BERRIES)
        more = SetCount(DAY, "b1", "1", flowers=51)
        told = records.set_counts.add("hill", [more, BERRIES])
        assert (told.replaced, told.unchanged) == (1, 1)
        assert records.set_counts.all("hill")[0].id == first.id
        assert records.set_counts.all("hill")[0].count == more
        records.set_counts.delete("hill", first.id)
        assert [each.count for each in records.set_counts.all("hill")] == [BERRIES]
        with pytest.raises(NotFound):
            records.set_counts.delete("hill", first.id)
        with pytest.raises(UnknownReference):
            records.set_counts.add("hill", [SetCount(DAY, "b9", "1", flowers=50)])


def test_counts_follow_their_block_and_are_a_part_of_its_past(planted: Store) -> None:
    with planted.transaction("ada") as records:
        records.set_counts.add("hill", [FLOWERS])
        records.blocks.rename("hill", "b1", "east")
        assert records.set_counts.all("hill")[0].count.block == "east"
        records.blocks.delete("hill", "east")
        assert len(records.set_counts.all("hill")) == 1
        records.blocks.delete("hill", "east", past="delete")
        assert records.set_counts.all("hill") == ()
    with planted.transaction("bob") as records, pytest.raises(NotFound):
        records.set_counts.all("hill")


def test_told_days_stay_and_readers_are_replaced(planted: Store) -> None:
    at = dt.datetime(2026, 5, 20, 11, 0, tzinfo=dt.UTC)
    with planted.transaction("ada") as records:
        for day, said in ((DAY, 1), (LATER, 2), (DAY, 3)):
            records.told_days.put("hill", ToldDay(day, 2026, at, {"said": said}))
        assert [each.content["said"] for each in records.told_days.all("hill")] == [3, 2]
        assert [each.day for each in records.told_days.all("hill", until=DAY)] == [DAY]
        assert records.told_days.all("hill", season=2025) == ()
        records.news_readers.replace_all("hill", ["b@hill.example", "a@hill.example"])
        records.news_readers.replace_all("hill", ["c@hill.example", "a@hill.example"])
        assert records.news_readers.all("hill") == ("a@hill.example", "c@hill.example")
        records.vineyards.delete("hill")
        records.vineyards.put(Vineyard("hill", "Hill"))
        assert records.news_readers.all("hill") == ()
        assert len(records.told_days.all("hill")) == 2
