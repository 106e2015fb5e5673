"""What the calendar feed told last, by vineyard and season."""

from __future__ import annotations

import datetime as dt

import pytest

from service.store import NotFound, Station, Store, Vineyard
from service.store.calendar import KeptEvent

MOMENT = dt.datetime(2026, 5, 4, 21, 17, 3, tzinfo=dt.UTC)
BLOOM = KeptEvent("bloom/b1", 0, MOMENT, {"title": "Bloom, b1", "alarm": False})


def put_vineyard(store: Store, grower: str = "local") -> None:
    with store.transaction(grower) as repositories:
        repositories.stations.put(Station("mast", "Mast", 31.0, -84.0))
        repositories.vineyards.put(Vineyard("hollow", "Hollow", "mast"))


def test_an_event_takes_the_place_of_the_one_with_its_key(store: Store) -> None:
    put_vineyard(store)
    trip = KeptEvent("trip/1", 0, MOMENT, {"title": "Trip"})
    later = KeptEvent("bloom/b1", 1, MOMENT + dt.timedelta(hours=1), {"title": "Bloom, b1", "alarm": True})
    with store.transaction("local") as repositories:
        repositories.calendar.put("hollow", 2026, [trip, BLOOM])
        assert repositories.calendar.all("hollow", 2026) == (BLOOM, trip)
        repositories.calendar.put("hollow", 2026, [later])
    with store.transaction("local", read_only=True) as repositories:
        assert repositories.calendar.all("hollow", 2026) == (later, trip)
        assert repositories.calendar.all("hollow", 2025) == ()


def test_each_grower_has_a_calendar_of_his_own(store: Store) -> None:
    put_vineyard(store)
    put_vineyard(store, "ann")
    with store.transaction("ann") as repositories:
        repositories.calendar.put("hollow", 2026, [BLOOM])
    with store.transaction("local", read_only=True) as repositories:
        assert repositories.calendar.all("hollow", 2026) == ()


def test_what_was_told_counts_on_when_the_vineyard_comes_back(store: Store) -> None:
    put_vineyard(store)
    with store.transaction("local") as repositories:
        repositories.calendar.put("hollow", 2026, [BLOOM])
        repositories.vineyards.delete("hollow")
        with pytest.raises(NotFound, match="vineyard 'hollow'"):
            repositories.calendar.all("hollow", 2026)
        with pytest.raises(NotFound, match="vineyard 'hollow'"):
            repositories.calendar.put("hollow", 2026, [BLOOM])
    put_vineyard(store)
    with store.transaction("local", read_only=True) as repositories:
        assert repositories.calendar.all("hollow", 2026) == (BLOOM,)
