"""Growers are made, renamed with all they own, and deleted for good; keys are kept as digests and end at once."""

from __future__ import annotations

import datetime as dt

import pytest
from sqlalchemy import create_engine, text

from models.records import Block, Cultivar, FlowerType, Visit
from service import clock
from service.store import NotFound, Repositories, Station, Store, Vineyard
from service.store.access import Key, Role
from service.store.errors import AlreadyThere, InUse
from service.usecases.keys import accept, asker_with, digest_of, invitation_with, invite, make_key
from tests.store.dumping import dump

NOW = dt.datetime(2026, 5, 20, 12, tzinfo=dt.UTC)
HILL = Station("hill", "Hill", 31.5, -83.5)


def put_all(records: Repositories, name: str) -> None:
    """Something in most tables: two changes, one of them undone."""
    records.stations.put(HILL)
    records.cultivars.put(Cultivar("dusk", "Dusk", FlowerType.PERFECT, viable_pollen=True))
    records.vineyards.put(Vineyard("home", name, station="hill"))
    records.blocks.put("home", Block("b1", "dusk", 0, 0))
    records.visits.add("home", [Visit(dt.date(2026, 5, 18), "dusk", "b1", percent_open=12)])
    job = records.jobs.add("j1", "fit", subject="home")
    records.jobs.update(job.id, state="done", result={"fit": "none"})
    records.fits.add("f1", {"some": "document"})
    records.fits_in_use.put("home", "f1")


def key(store: Store, name: str, role: Role, *growers: str) -> tuple[Key, str]:
    with store.access() as access:
        return make_key(access, name=name, role=role, growers=growers)


@pytest.fixture
def two_growers(store: Store) -> Store:
    for grower in ("ann", "bea"):
        with store.transaction(grower) as records:
            put_all(records, grower)
        with store.transaction(grower) as records:
            records.vineyards.put(Vineyard("home", f"{grower}'s home", station="hill"))
    return store


def test_a_renamed_grower_keeps_everything(two_growers: Store, url: str) -> None:
    _, secret = key(two_growers, "Ann", "manage", "ann", "bea")
    before = dump(url, without=())
    with two_growers.access() as access:
        access.rename_grower("ann", "hill-farm")
    after = dump(url, without=())
    renamed = {
        name: sorted(
            (tuple("hill-farm" if each == "ann" else each for each in row) for row in rows), key=repr
        )
        for name, rows in before.items()
        if name not in ("growers", "changes")
    }
    assert {name: rows for name, rows in after.items() if name in renamed} == renamed
    with two_growers.access(read_only=True) as access:
        assert access.growers() == ("bea", "hill-farm")
        who = asker_with(access, secret)
    assert who is not None
    assert who.growers == ("bea", "hill-farm")
    with two_growers.transaction("hill-farm") as records:
        assert [change.by for change in records.changes.all()] == ["ann", "ann"]
        records.changes.undo(2)
        assert records.vineyards.get("home").name == "ann"
    with two_growers.transaction("ann") as records:
        assert records.vineyards.all() == ()


def test_a_deleted_grower_leaves_nothing_and_others_stay(two_growers: Store, url: str) -> None:
    key(two_growers, "Ann", "manage", "ann")
    both, secret = key(two_growers, "Adviser", "read", "ann", "bea")
    with two_growers.access() as access:
        access.delete_grower("ann")
    assert not [row for rows in dump(url, without=()).values() for row in rows if "ann" in row]
    with two_growers.access(read_only=True) as access:
        assert [each.id for each in access.all_keys()] == [both.id]
        who = asker_with(access, secret)
    assert who is not None
    assert who.growers == ("bea",)
    with two_growers.transaction("bea") as records:
        assert records.vineyards.get("home").name == "bea's home"


def test_a_grower_whose_work_runs_stays(two_growers: Store) -> None:
    with two_growers.transaction("ann") as records:
        records.jobs.add("j2", "fit")
    with two_growers.access() as access, pytest.raises(InUse, match="job j2"):
        access.rename_grower("ann", "other")
    with two_growers.access() as access, pytest.raises(InUse, match="job j2"):
        access.delete_grower("ann")
    with two_growers.access(read_only=True) as access:
        assert access.growers() == ("ann", "bea")


def test_growers_that_are_there_or_are_not(two_growers: Store) -> None:
    with two_growers.access() as access:
        access.add_grower("cid")
        with pytest.raises(AlreadyThere):
            access.add_grower("ann")
        with pytest.raises(AlreadyThere):
            access.rename_grower("cid", "ann")
        for grower in ("none", "Ann"):
            with pytest.raises(NotFound):
                access.rename_grower(grower, "other")
            with pytest.raises(NotFound):
                access.delete_grower(grower)
            with pytest.raises(NotFound):
                make_key(access, name="x", role="read", growers=[grower])


def test_no_secret_is_kept(two_growers: Store, url: str) -> None:
    _, secret = key(two_growers, "Ann", "manage", "ann")
    engine = create_engine(url.replace("postgresql://", "postgresql+psycopg://"))
    with engine.connect() as connection:
        [row] = connection.execute(text("SELECT * FROM keys")).all()
    engine.dispose()
    assert secret not in row
    assert digest_of(secret) in row
    assert len(secret) > 45


def test_an_invitation_is_good_once_and_for_ten_minutes(
    two_growers: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(clock, "now", lambda: NOW)
    _, secret = key(two_growers, "Ann", "manage", "ann")
    with two_growers.access() as access:
        ann = asker_with(access, secret)
        assert ann is not None
        _, first = invite(access, ann, name="Ida", growers=["ann"])
        _, second = invite(access, ann, name="Jo", growers=["ann"])
        assert asker_with(access, first) is None
    with two_growers.access() as access:
        made, own = accept(access, first)
        ida = asker_with(access, own)
    assert ida is not None
    assert (made.name, made.role, made.growers, made.expires_at) == ("Ida", "record", ("ann",), None)
    assert ida.key == made
    with two_growers.access() as access:
        with pytest.raises(NotFound):
            accept(access, first)
        monkeypatch.setattr(clock, "now", lambda: NOW + dt.timedelta(minutes=9, seconds=59))
        assert invitation_with(access, second) is not None
        monkeypatch.setattr(clock, "now", lambda: NOW + dt.timedelta(minutes=10))
        with pytest.raises(NotFound):
            accept(access, second)


def test_who_acts_is_told_by_the_changes(store: Store) -> None:
    with store.acting("Ida's phone").transaction("ann") as records:
        records.stations.put(HILL)
    with store.transaction("ann") as records:
        records.stations.put(Station("hill", "Hilltop", 31.5, -83.5))
        assert [change.by for change in records.changes.all()] == ["Ida's phone"]
    with store.transaction("ann", read_only=True) as records:
        assert [change.by for change in records.changes.all()] == ["ann", "Ida's phone"]
