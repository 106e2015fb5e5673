"""What one request wrote is one change; it is undone as a whole, and only while nothing later rests on it."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest

from models.records import Block, BloomLogRow, CropCount, Cultivar, FlowerType, FrostedBlock, SetCount, Visit
from service.store import NotFound, Repositories, Station, Store, Vineyard
from service.store.errors import AlreadyUndone, CannotUndo
from service.store.records import Written
from tests.store.dumping import dump

Write = Callable[[Repositories], object]

HILL = Station("hill", "Hill", 31.5, -83.5)
DUSK = Cultivar("dusk", "Dusk", FlowerType.PERFECT, True)
DAYS = np.arange("2026-03-28", "2026-04-04", dtype="datetime64[D]")
NIGHT = dt.date(2026, 4, 2)


def change(store: Store, write: Write, *, by: str | None = None) -> int | None:
    """The number of what was written in one transaction."""
    with store.transaction("local", by=by) as records:
        write(records)
    return records.journal.number


def undo(store: Store, number: int) -> int | None:
    return change(store, lambda records: records.changes.undo(number))


def temperatures(tmin_c: float, days: np.ndarray = DAYS) -> Write:
    low = np.full(days.size, tmin_c)
    return lambda records: records.temperatures.store("hill", days, low, low + 10)


def outlook(tmin_c: float, days: np.ndarray = DAYS) -> Write:
    low = np.full(days.size, tmin_c)
    return lambda records: records.temperatures.store_outlook(
        "hill", dt.date(2026, 3, 28), days, low, low + 10
    )


def plant(records: Repositories) -> None:
    records.stations.put(HILL)
    records.cultivars.put(DUSK)
    records.vineyards.put(Vineyard("home", "Home", "hill", scouting_weekdays=("mon",)))
    records.blocks.put("home", Block("b1", "dusk", 0.0, 0.1 + 0.2, neighbours=("b2",)))
    records.blocks.put("home", Block("b2", "dusk", 6.0, 0.0))


def look(percent_open: float, block: str = "b1") -> Write:
    visit = Visit(dt.date(2026, 5, 18), "dusk", block, percent_open=percent_open, note="wet\n")
    return lambda records: records.visits.add("home", [visit])


def log(day: int) -> Write:
    row = BloomLogRow(2025, "dusk", "b1", {"bloom_start": dt.date(2025, 5, day)})
    return lambda records: records.bloom_log.add("home", [row])


def delete_all(records: Repositories) -> None:
    records.vineyards.delete("home")
    records.cultivars.delete("dusk")
    records.stations.delete("hill")


EVERY_WRITE: tuple[Write, ...] = (
    plant,
    temperatures(9.0),
    temperatures(8.5, DAYS[2:4]),
    outlook(7.0),
    outlook(6.0, DAYS[:3]),
    look(5.0),
    look(6.0),
    log(20),
    log(21),
    lambda records: records.frosted.put("home", FrostedBlock("b1", 2026, NIGHT)),
    lambda records: records.set_counts.add(
        "home", [SetCount(NIGHT, "b1", "1", flowers=40), SetCount(NIGHT, "b1", "2", flowers=50)]
    ),
    lambda records: records.set_counts.add("home", [SetCount(NIGHT, "b1", "1", flowers=41, berries=9)]),
    lambda records: records.set_counts.delete("home", records.set_counts.all("home")[1].id),
    lambda records: records.crop_counts.add("home", [CropCount(NIGHT, "b1", "1", 12)]),
    lambda records: records.crop_counts.add(
        "home", [CropCount(NIGHT, "b1", "1", 13), CropCount(NIGHT, "b1", "2", 9)]
    ),
    lambda records: records.crop_counts.delete("home", records.crop_counts.all("home")[1].id),
    lambda records: records.news_readers.replace_all("home", ["ida@home.example"]),
    lambda records: records.news_readers.replace_all("home", ["eve@home.example"]),
    lambda records: records.cultivars.put(
        Cultivar("dusk", "Dusk", FlowerType.STAMINATE, True, pollen_days=3)
    ),
    lambda records: records.blocks.rename("home", "b1", "east"),
    lambda records: records.blocks.put("home", Block("b2", "dusk", 7.0, 0.0)),
    lambda records: records.blocks.delete("home", "east"),
    lambda records: records.blocks.delete("home", "east", past="delete"),
    lambda records: records.temperatures.delete("hill", first=NIGHT, last=NIGHT),
    lambda records: records.temperatures.delete_outlook("hill", dt.date(2026, 3, 28)),
    lambda records: records.fits.add("f1", {"theta": 640.2, "names": ["dusk"]}),
    lambda records: records.fits_in_use.put("home", "f1"),
    lambda records: records.fits.add("f2", {"theta": 640.2}, knows_change=3),
    lambda records: records.fits_in_use.put("home", "f2"),
    lambda records: records.fits.add("f2", {"theta": 640.2}, knows_change=4),
    lambda records: records.fits.delete("f1"),
    delete_all,
)


def test_everything_is_undone_and_done_again_to_the_last_digit(store: Store, url: str) -> None:
    with store.transaction("local"):
        pass  # the grower
    states = [dump(url)]
    numbers = []
    for write in EVERY_WRITE:
        numbers.append(change(store, write))
        states.append(dump(url))
    assert numbers == list(range(1, len(EVERY_WRITE) + 1))
    assert all(before != after for before, after in pairwise(states))
    undone = []
    for number, before in zip(reversed(numbers), reversed(states[:-1]), strict=True):
        assert number is not None
        undone.append(undo(store, number))
        assert dump(url) == before
    for number, after in zip(reversed(undone), states[1:], strict=True):
        assert number is not None
        undo(store, number)
        assert dump(url) == after


def test_a_change_tells_who_when_what_and_how_many(store: Store) -> None:
    start = dt.datetime.now(dt.UTC)
    change(store, plant)
    change(store, lambda records: (temperatures(9.0)(records), look(5.0)(records)), by="Ida")
    with store.transaction("local", read_only=True) as records:
        second, first = records.changes.all()
    assert (first.number, first.by, first.rows) == (1, "local", 5)
    assert (second.number, second.by, second.rows, second.code) == (2, "Ida", 8, "write")
    assert start <= first.at <= second.at <= dt.datetime.now(dt.UTC)
    assert second.params == {
        "written": [
            vars(Written("temperatures", "station", "hill", 7, 0, 0)),
            vars(Written("visits", "vineyard", "home", 1, 0, 0, "2026-05-18 b1")),
        ]
    }


def test_changes_are_chosen_by_owner_and_time(store: Store) -> None:
    moment = dt.datetime.now(dt.UTC)
    change(store, plant)
    change(store, temperatures(9.0))
    change(store, look(5.0))
    change(store, log(20))
    with store.transaction("local", read_only=True) as records:

        def numbers(**asked: str) -> list[int]:
            return [each.number for each in records.changes.all(owners=asked)]

        assert numbers() == [4, 3, 2, 1]
        assert numbers(vineyard="home") == [4, 3, 1]
        assert numbers(station="hill") == [2, 1]
        assert numbers(station="hill", vineyard="home") == [1]
        assert numbers(vineyard="hill") == []
        third = records.changes.get(3)
        assert [each.number for each in records.changes.all(since=third.at)] == [4, 3]
        assert len(records.changes.all(since=moment)) == 4
        assert [each.number for each in records.changes.all(before=4, limit=2)] == [3, 2]
        with pytest.raises(NotFound, match="change '5'"):
            records.changes.get(5)


def test_writing_what_is_there_already_is_no_change(store: Store) -> None:
    for write in (plant, temperatures(9.0), look(5.0), log(20)):
        assert change(store, write) is not None
        assert change(store, write) is None
    assert change(store, lambda records: records.jobs.add("j1", "hindcast")) is None


def test_a_preview_and_an_error_leave_no_change(store: Store, url: str) -> None:
    change(store, plant)
    before = dump(url, without=())
    with store.transaction("local", preview=True) as records:
        look(5.0)(records)
        assert records.journal.written() == (Written("visits", "vineyard", "home", 1, 0, 0, "2026-05-18 b1"),)
        assert len(records.visits.all("home")) == 1
    assert dump(url, without=()) == before


def test_undoing_names_the_later_changes_that_wrote_the_same_rows(store: Store) -> None:
    change(store, plant)
    first, second = change(store, look(5.0)), change(store, look(6.0))
    assert (first, second) == (2, 3)
    with pytest.raises(CannotUndo, match="undo change 3 first") as refused:
        undo(store, 2)
    [blocker] = refused.value.blockers
    assert blocker.change == 3
    assert blocker.problem == "it wrote visit 2026-05-18 b1 of vineyard home"
    change(store, look(7.0, "b2"))  # another row
    undo(store, 3)
    undo(store, 2)
    with store.transaction("local", read_only=True) as records:
        assert [visit.percent_open for visit in records.visits.all("home")] == [7.0]


def test_undoing_names_the_later_changes_that_refer_to_its_rows(store: Store) -> None:
    change(store, lambda records: records.cultivars.put(DUSK))
    change(store, lambda records: records.vineyards.put(Vineyard("home", "Home")))
    change(store, lambda records: records.blocks.put("home", Block("b1", "dusk", 0.0, 0.0)))
    for number, needed in ((1, "block b1 of vineyard home"), (2, "block b1 of vineyard home")):
        with pytest.raises(CannotUndo) as refused:
            undo(store, number)
        assert [(each.change, each.problem) for each in refused.value.blockers] == [
            (3, f"{needed} needs what would go")
        ]
    undo(store, 3)
    undo(store, 1)
    with pytest.raises(CannotUndo) as refused:
        undo(store, 4)  # the block back again, without its cultivar
    assert [(each.change, each.problem) for each in refused.value.blockers] == [
        (5, "cultivar dusk, which would be needed again, is gone")
    ]


def test_a_change_is_undone_once_and_an_undone_one_can_come_back(store: Store) -> None:
    change(store, plant)
    change(store, look(5.0))
    assert undo(store, 2) == 3
    with pytest.raises(AlreadyUndone, match="change 2 was undone by change 3"):
        undo(store, 2)
    assert undo(store, 3) == 4

    def undone() -> dict[int, int | None]:
        with store.transaction("local", read_only=True) as records:
            return {each.number: each.undone_by for each in reversed(records.changes.all())}

    assert undone() == {1: None, 2: None, 3: 4, 4: None}
    assert undo(store, 4) == 5
    assert undone() == {1: None, 2: 3, 3: None, 4: 5, 5: None}
    assert undo(store, 5) == 6
    assert undo(store, 2) == 7
    assert undone() == {1: None, 2: 7, 3: 4, 4: None, 5: 6, 6: None, 7: None}
    undo(store, 1)
    with store.transaction("local", read_only=True) as records:
        assert records.vineyards.all() == ()
        with pytest.raises(NotFound):
            records.changes.get(99)


def test_what_the_calendar_told_and_jobs_are_not_undone(store: Store) -> None:
    change(store, plant)
    change(store, lambda records: records.jobs.add("j1", "hindcast"))
    undo(store, 1)
    with store.transaction("local") as records:
        assert records.jobs.get("j1").state == "waiting"


def test_one_grower_cannot_undo_for_another(store: Store) -> None:
    change(store, plant)
    with store.transaction("ben") as records, pytest.raises(NotFound):
        records.changes.undo(1)
    with store.transaction("ben", read_only=True) as records:
        assert records.changes.all() == ()


def test_a_long_upload_is_kept_in_few_rows(store: Store, url: str) -> None:
    days = np.arange("1990-01-01", "2022-11-08", dtype="datetime64[D]")
    change(store, lambda records: records.stations.put(HILL))
    change(store, temperatures(9.0, days))
    [chunk] = [row for row in dump(url, without=())["change_rows"] if row[1] == 2]
    assert chunk[-2:] == (["1990-01-01/2022-11-07"], None)
    undo(store, 2)
    with store.transaction("local", read_only=True) as records:
        assert records.temperatures.observed("hill") is None
    undo(store, 3)
    with store.transaction("local", read_only=True) as records:
        found = records.temperatures.observed("hill")
        assert found is not None
        assert found.dates.size == days.size


def test_what_ten_years_of_days_rest_on_is_refused_at_once(store: Store) -> None:
    """While it looks for what is in the way of an undo, all other writers wait."""
    days = np.arange("2010-01-01", "2020-01-01", dtype="datetime64[D]")
    first = change(store, lambda records: records.stations.put(HILL))
    assert first is not None
    for some in np.array_split(days, 10):
        change(store, temperatures(9.0, some))
    began = time.perf_counter()
    with pytest.raises(CannotUndo) as refused:
        undo(store, first)
    assert time.perf_counter() - began < 10  # it was minutes: for each day all the others were read
    assert {blocker.change for blocker in refused.value.blockers} == {2}
