"""Cultivars, vineyards and blocks; nothing goes while something else needs it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy import Table, create_engine, make_url

from models.errors import BadInput
from models.records import Block, BloomLogRow, Cultivar, FlowerType, FrostedBlock, Visit
from service.store import (
    AlreadyThere,
    Counts,
    InUse,
    NotFound,
    Repositories,
    Store,
    UnknownReference,
    Vineyard,
)
from service.store.images import is_journaled
from service.store.records import KeptVisit, Place
from service.store.tables import Base
from tests.store.dumping import dump

DRIVERS = {"sqlite": "sqlite", "postgresql": "postgresql+psycopg"}

DUSK = Cultivar("dusk", "Dusk, early", FlowerType.PERFECT, True, "Vitis rotundifolia", 6.5)
DAWN = Cultivar("dawn", "Dawn", FlowerType.PISTILLATE, False)
HOME = Vineyard("home", "Home", None, 20.0, 3.5, None)
B1 = Block("b1", "dusk", 0.0, 1.5, 12, ("b2",))
B2 = Block("b2", "dawn", 6.0, 1.5, 30, ())
B3 = Block("b3", "dawn", 12.0, 1.5)


def plant(repositories: Repositories) -> None:
    for cultivar in (DUSK, DAWN):
        repositories.cultivars.put(cultivar)
    repositories.vineyards.put(HOME)
    repositories.blocks.replace_all("home", [B1, B2, B3])


def test_what_is_put_comes_back(store: Store) -> None:
    with store.transaction("local") as repositories:
        assert repositories.cultivars.put(DUSK)
        assert not repositories.cultivars.put(DUSK)
        assert repositories.cultivars.put(DAWN)
        assert repositories.vineyards.put(HOME)
        for block in (B3, B1, B2):
            assert repositories.blocks.put("home", block)
        assert not repositories.blocks.put("home", B1)
    with store.transaction("local", read_only=True) as repositories:
        assert repositories.cultivars.get("dusk") == DUSK
        assert repositories.cultivars.get("dusk").flower_type is FlowerType.PERFECT
        assert repositories.cultivars.all() == (DAWN, DUSK)
        assert repositories.vineyards.get("home") == HOME
        assert repositories.vineyards.all() == (HOME,)
        assert repositories.blocks.get("home", "b2") == B2
        assert repositories.blocks.all("home") == (B1, B2, B3)
        planting = repositories.blocks.planting("home")
    assert planting.blocks == (B1, B2, B3)
    assert planting.cultivars == {"dusk": DUSK, "dawn": DAWN}
    assert planting.reach_m == 20.0


def test_missing_things_are_named(store: Store) -> None:
    with store.transaction("local") as repositories:
        plant(repositories)
        with pytest.raises(NotFound, match="vineyard 'away'"):
            repositories.blocks.get("away", "b1")
        with pytest.raises(NotFound, match="block 'b9'"):
            repositories.blocks.get("home", "b9")
        with pytest.raises(NotFound, match="cultivar 'noon'"):
            repositories.cultivars.delete("noon")
        with pytest.raises(UnknownReference, match="unknown cultivar: noon"):
            repositories.blocks.put("home", replace(B1, cultivar="noon"))
        with pytest.raises(UnknownReference, match="unknown station: hill"):
            repositories.vineyards.put(replace(HOME, station="hill"))


def test_a_cultivar_in_use_stays(store: Store) -> None:
    with store.transaction("local") as repositories:
        plant(repositories)
        repositories.bloom_log.add(
            "home", [BloomLogRow(2025, "dusk", None, {"bloom_start": dt.date(2025, 5, 20)})]
        )
        repositories.visits.add("home", [Visit(dt.date(2025, 5, 20), "dusk", None, percent_open=10.0)])
        with pytest.raises(InUse) as refused:
            repositories.cultivars.delete("dusk")
        assert refused.value.users == (
            "block b1 of vineyard home",
            "the bloom dates of vineyard home",
            "the visits of vineyard home",
        )
        repositories.vineyards.delete("home")
        repositories.cultivars.delete("dusk")
        assert repositories.cultivars.all() == (DAWN,)


def test_a_block_goes_only_without_neighbours_and_leaves_its_past(store: Store) -> None:
    seen = Visit(dt.date(2026, 5, 20), "dawn", "b3", percent_open=10.0)
    with store.transaction("local") as repositories:
        plant(repositories)
        repositories.visits.add("home", [seen])
        with pytest.raises(InUse) as refused:
            repositories.blocks.delete("home", "b2")
        assert refused.value.users == ("block b1",)
        for key in ("b1", "b2", "b3"):
            repositories.blocks.delete("home", key)
        assert repositories.blocks.all("home") == ()
        assert repositories.visits.all("home") == (seen,)
        assert repositories.blocks.known("home") == {"b3": "dawn"}
        for look in (repositories.blocks.get, repositories.blocks.delete):
            with pytest.raises(NotFound, match="block 'b3'"):
                look("home", "b3")
        with pytest.raises(InUse) as refused:
            repositories.cultivars.delete("dawn")
        assert refused.value.users == (
            "the past of block b3 of vineyard home",
            "the visits of vineyard home",
        )
        assert repositories.blocks.put("home", B3)
        assert repositories.blocks.get("home", "b3") == B3
        repositories.blocks.delete("home", "b3")
        repositories.blocks.delete("home", "b3", past="delete")
        assert repositories.visits.all("home") == ()
        assert repositories.blocks.known("home") == {}
        with pytest.raises(NotFound, match="block 'b3'"):
            repositories.blocks.delete("home", "b3", past="delete")


def a_row(table: Table) -> dict[str, Any]:
    """A row of block b1 in the vineyard, whatever the table holds."""
    named: dict[str, Any] = {
        "grower": "local",
        "vineyard": "home",
        "block": "b1",
        "cultivar": "dusk",
        "subject": "block:b1",
    }
    named |= {"id": "x", "document": {}} if table.name == "fits" else {}
    values: dict[type, Any] = {
        str: "x",
        int: 2025,
        float: 1.0,
        bool: False,
        dt.date: dt.date(2025, 4, 2),
        object: dt.datetime(2025, 4, 2, tzinfo=dt.UTC),  # what a type of our own says that it holds
        dict: {},
    }
    return {c.name: named.get(c.name, values[c.type.python_type]) for c in table.c}


def refers_to(name: str) -> list[str]:
    """The journaled tables with a column of this name, which are those that refer to such a thing."""
    return [t.name for t in Base.metadata.sorted_tables if is_journaled(t) and name in t.c]


def fill(url: str, names: list[str]) -> None:
    """A row in each table, past the repositories."""
    engine = create_engine(make_url(url).set(drivername=DRIVERS[make_url(url).drivername]))
    with engine.begin() as connection:
        for name in ["fits", *names]:
            table = Base.metadata.tables[name]
            connection.execute(table.insert().values(a_row(table)))
    engine.dispose()


def test_a_vineyard_goes_with_every_row_that_refers_to_it(store: Store, url: str) -> None:
    with store.transaction("local") as records:
        plant(records)
    inside = refers_to("vineyard")
    fill(url, [name for name in inside if name != "blocks"])
    before = dump(url)
    assert [name for name in inside if not before[name]] == []
    with store.transaction("local") as records:
        records.vineyards.delete("home")
        deleted = records.journal
    after = dump(url)
    assert [name for name in inside if after[name]] == []
    with store.transaction("local") as records:
        assert deleted.number is not None
        records.changes.undo(deleted.number)
    assert dump(url) == before


def test_a_block_is_renamed_or_goes_with_every_row_that_refers_to_it(store: Store, url: str) -> None:
    with store.transaction("local") as records:
        plant(records)
    past = refers_to("block")
    fill(url, past)
    with store.transaction("local") as records:
        assert records.blocks.with_past("home", ["b1", "b2"]) == ("b1",)
        records.blocks.rename("home", "b1", "east")
    renamed = dump(url)
    for name in past:
        [row] = renamed[name]
        assert "east" in row, name
    with store.transaction("local") as records:
        records.blocks.delete("home", "east", past="delete")
    after = dump(url)
    assert [name for name in past if after[name]] == []


def test_the_past_of_a_renamed_block_follows(store: Store) -> None:
    night = dt.date(2025, 4, 2)
    with store.transaction("local") as repositories:
        plant(repositories)
        repositories.bloom_log.add(
            "home", [BloomLogRow(2025, "dawn", "b2", {"bloom_start": dt.date(2025, 5, 20)})]
        )
        repositories.visits.add("home", [Visit(dt.date(2026, 5, 20), "dawn", "b2", percent_open=10.0)])
        repositories.frosted.put("home", FrostedBlock("b2", 2025, night))
        [kept] = repositories.visits.kept("home")
        assert repositories.blocks.rename("home", "b2", "east") == replace(B2, key="east")
        assert [block.key for block in repositories.blocks.all("home")] == ["b1", "b3", "east"]
        assert repositories.blocks.get("home", "b1").neighbours == ("east",)
        assert [row.block for row in repositories.bloom_log.rows("home")] == ["east"]
        assert repositories.visits.kept("home") == (KeptVisit(kept.id, replace(kept.visit, block="east")),)
        assert repositories.frosted.all("home") == (FrostedBlock("east", 2025, night),)
        assert repositories.bloom_log.history("home", 2025, Place("block", "east"))
        with pytest.raises(AlreadyThere, match="'b3'"):
            repositories.blocks.rename("home", "east", "b3")
        with pytest.raises(NotFound, match="block 'b2'"):
            repositories.blocks.rename("home", "b2", "west")


def test_replacing_all_blocks_keeps_the_observations_of_those_that_stay(store: Store) -> None:
    visit = Visit(dt.date(2026, 5, 20), "dawn", "b2", percent_open=10.0)
    with store.transaction("local") as repositories:
        plant(repositories)
        repositories.visits.add("home", [visit])
        moved = replace(B2, x_m=7.0)
        new = Block("b4", "dusk", 3.0, 1.5, neighbours=("b2",))
        assert repositories.blocks.replace_all("home", [new, B1, moved]) == Counts(1, 1, 1)
        assert repositories.blocks.all("home") == (B1, moved, new)
        assert repositories.visits.all("home") == (visit,)
        with pytest.raises(UnknownReference, match="unknown neighbour: b2"):
            repositories.blocks.replace_all("home", [B1])
        with pytest.raises(UnknownReference, match="unknown cultivar: noon"):
            repositories.blocks.replace_all("home", [replace(B3, cultivar="noon")])
        with pytest.raises(BadInput, match="a block is given twice"):
            repositories.blocks.replace_all("home", [B3, B3])
        assert repositories.blocks.all("home") == (B1, moved, new)
        assert repositories.blocks.replace_all("home", [B3]) == Counts(1)
        assert repositories.blocks.all("home") == (B3,)
        assert repositories.visits.all("home") == (visit,)
        assert repositories.blocks.replace_all("home", [B2, B3]) == Counts(1, 0, 1)
        assert repositories.blocks.all("home") == (B2, B3)
