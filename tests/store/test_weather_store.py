"""Temperatures come back as they were given, and what was corrected is kept."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from models.errors import BadInput
from models.units import FloatArray
from service.store import Counts, InUse, NotFound, Station, Store, Vineyard

HILL = Station("hill", "Hill, the upper one", 31.5, -83.5, 102.0)
MAY_DAYS = np.array(["2026-05-01", "2026-05-02", "2026-05-03"], dtype="datetime64[D]")


def extremes(*tmin: float) -> tuple[FloatArray, FloatArray]:
    low = np.array(tmin)
    return low, low + 11.7


def test_a_station_is_made_once_and_replaced_after(store: Store) -> None:
    with store.transaction("local") as repositories:
        assert repositories.stations.put(HILL)
        assert not repositories.stations.put(HILL)
        assert repositories.stations.put(Station("dale", "Dale", 31.4, -83.4))
        assert [station.key for station in repositories.stations.all()] == ["dale", "hill"]
    with store.transaction("local") as repositories:
        assert repositories.stations.get("hill") == HILL
        assert repositories.stations.get("dale").elevation_m is None


def test_a_station_goes_with_its_days_but_not_from_under_a_vineyard(store: Store) -> None:
    with store.transaction("local") as repositories:
        repositories.stations.put(HILL)
        for tmin in (10.0, 11.0):
            repositories.temperatures.store("hill", MAY_DAYS, *extremes(tmin, 1.0, 1.0))
            repositories.temperatures.store_outlook(
                "hill", dt.date(2026, 5, 1), MAY_DAYS, *extremes(tmin, 1.0, 1.0)
            )
        repositories.vineyards.put(Vineyard("home", "Home", "hill"))
        with pytest.raises(InUse) as refused:
            repositories.stations.delete("hill")
        assert refused.value.users == ("vineyard home",)
        repositories.vineyards.put(Vineyard("home", "Home", None))
        repositories.stations.delete("hill")
        with pytest.raises(NotFound):
            repositories.stations.get("hill")


def test_days_come_back_in_order_with_nan_for_the_missing(store: Store) -> None:
    days = np.array(["2024-03-01", "2024-02-27", "2024-02-28"], dtype="datetime64[D]")
    with store.transaction("local") as repositories:
        repositories.stations.put(HILL)
        assert repositories.temperatures.observed("hill") is None
        tmin_c, tmax_c = extremes(3.1, np.nan, 0.1 + 0.2)
        assert repositories.temperatures.store("hill", days, tmin_c, tmax_c) == Counts(stored=3)
    with store.transaction("local", read_only=True) as repositories:
        observed = repositories.temperatures.observed("hill")
    assert observed is not None
    assert observed.dates.astype(str).tolist() == ["2024-02-27", "2024-02-28", "2024-02-29", "2024-03-01"]
    np.testing.assert_array_equal(observed.tmin_c, [np.nan, 0.1 + 0.2, np.nan, 3.1])
    np.testing.assert_array_equal(observed.tmax_c, [np.nan, 0.1 + 0.2 + 11.7, np.nan, 3.1 + 11.7])


def test_a_corrected_day_keeps_its_old_values(store: Store) -> None:
    with store.transaction("local") as repositories:
        repositories.stations.put(HILL)
    for days, values, counts in (
        (MAY_DAYS, (10.0, 11.0, np.nan), Counts(stored=3)),
        (MAY_DAYS, (10.0, 11.0, np.nan), Counts(unchanged=3)),
        (MAY_DAYS, (10.0, 11.5, 12.0), Counts(replaced=2, unchanged=1)),
        (MAY_DAYS[1:2], (np.nan,), Counts(replaced=1)),
    ):
        with store.transaction("local") as repositories:
            assert repositories.temperatures.store("hill", days, *extremes(*values)) == counts
    with store.transaction("local") as repositories:
        second = repositories.temperatures.history("hill", dt.date(2026, 5, 2))
        first = repositories.temperatures.history("hill", dt.date(2026, 5, 1))
        assert repositories.temperatures.history("hill", dt.date(2026, 5, 9)) == ()
    assert [version.tmin_c for version in second] == [11.0, 11.5, None]
    assert [version.tmin_c for version in first] == [10.0]
    assert second[0].superseded_at == second[1].stored_at
    assert second[1].superseded_at == second[2].stored_at
    assert second[2].superseded_at is None
    assert second[0].stored_at.utcoffset() == dt.timedelta(0)


@pytest.mark.parametrize(
    ("days", "tmin_c", "tmax_c", "says"),
    [
        (["2026-05-01", "2026-05-01"], [1.0, 2.0], [3.0, 4.0], "twice"),
        (["2026-05-01", "2026-05-02"], [np.nan, 2.0], [3.0, 4.0], "half a day"),
        (["2026-05-01", "2026-05-02"], [1.0, 5.0], [3.0, 4.0], "below its minimum"),
    ],
)
def test_days_that_could_not_be_a_record_are_refused(
    store: Store, days: list[str], tmin_c: list[float], tmax_c: list[float], says: str
) -> None:
    dates = np.array(days, dtype="datetime64[D]")
    with store.transaction("local") as repositories:
        repositories.stations.put(HILL)
        with pytest.raises(BadInput, match=says):
            repositories.temperatures.store("hill", dates, np.array(tmin_c), np.array(tmax_c))
        assert repositories.temperatures.observed("hill") is None


def test_the_outlook_is_the_latest_that_was_out_by_the_day(store: Store) -> None:
    with store.transaction("local") as repositories:
        temperatures = repositories.temperatures
        repositories.stations.put(HILL)
        temperatures.store_outlook("hill", dt.date(2026, 4, 30), MAY_DAYS, *extremes(1.0, 2.0, 3.0))
        temperatures.store_outlook("hill", dt.date(2026, 5, 2), MAY_DAYS[1:], *extremes(5.0, 6.0))
        assert temperatures.outlook("hill", dt.date(2026, 4, 29)) is None
        for as_of, issued_on, tmin in (
            (dt.date(2026, 4, 30), dt.date(2026, 4, 30), [1.0, 2.0, 3.0]),
            (dt.date(2026, 5, 1), dt.date(2026, 4, 30), [1.0, 2.0, 3.0]),
            (dt.date(2026, 5, 9), dt.date(2026, 5, 2), [5.0, 6.0]),
        ):
            found = temperatures.outlook("hill", as_of)
            assert found is not None
            assert (found[0], found[1].tmin_c.tolist()) == (issued_on, tmin)
        assert temperatures.observed("hill") is None


def test_an_outlook_issued_again_replaces_the_whole_one(store: Store) -> None:
    issued_on = dt.date(2026, 4, 30)
    with store.transaction("local") as repositories:
        temperatures = repositories.temperatures
        repositories.stations.put(HILL)
        assert temperatures.store_outlook("hill", issued_on, MAY_DAYS, *extremes(1.0, 2.0, 3.0)) == Counts(
            stored=3
        )
        again = temperatures.store_outlook("hill", issued_on, MAY_DAYS[:2], *extremes(1.0, 2.5))
        assert again == Counts(replaced=1, unchanged=1)
        found = temperatures.outlook("hill", issued_on)
    assert found is not None
    assert found[1].tmin_c.tolist() == [1.0, 2.5]


def test_sixty_years_come_back_unchanged(store: Store) -> None:
    random = np.random.default_rng(20260501)
    dates = np.arange("1960-01-01", "2020-01-01", dtype="datetime64[D]")
    tmin_c, tmax_c = extremes(*random.normal(10.0, 8.0, dates.size))
    with store.transaction("local") as repositories:
        repositories.stations.put(HILL)
        assert repositories.temperatures.store("hill", dates, tmin_c, tmax_c) == Counts(stored=21_915)
    with store.transaction("local", read_only=True) as repositories:
        observed = repositories.temperatures.observed("hill")
    assert observed is not None
    np.testing.assert_array_equal(observed.dates, dates)
    np.testing.assert_array_equal(observed.tmin_c, tmin_c)
    np.testing.assert_array_equal(observed.tmax_c, tmax_c)
