"""Bloom logs and visits come back as they hold, and a correction keeps what it corrected."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace

import pytest

from models.errors import BadInput
from models.records import Block, BloomLogRow, Cultivar, FlowerType, Visit
from service.store import AlreadyThere, Counts, NotFound, Repositories, Store, UnknownReference, Vineyard
from service.store.records import Place

LOGGED = BloomLogRow(
    2025, "dusk", "b1", {"full_bloom": dt.date(2025, 5, 27), "bloom_start": dt.date(2025, 5, 20)}, 7
)
WHOLE_CULTIVAR = BloomLogRow(2025, "dusk", None, {"bloom_start": dt.date(2025, 5, 21)})
SEEN = Visit(dt.date(2026, 5, 20), "dusk", "b1", 12.5, None, "Ida", "north end; 3 vines,\nwet")


@pytest.fixture
def planted(store: Store) -> Store:
    """Two blocks of one cultivar."""
    with store.transaction("local") as repositories:
        repositories.cultivars.put(Cultivar("dusk", "Dusk", FlowerType.PERFECT, True))
        repositories.vineyards.put(Vineyard("home", "Home"))
        repositories.blocks.put("home", Block("b1", "dusk", 0.0, 0.0))
        repositories.blocks.put("home", Block("b2", "dusk", 6.0, 0.0))
    return store


@pytest.fixture
def repositories(planted: Store) -> Iterator[Repositories]:
    """The same, within one transaction."""
    with planted.transaction("local") as repositories:
        yield repositories


def test_bloom_log_rows_come_back_sorted(repositories: Repositories) -> None:
    log = repositories.bloom_log
    earlier = replace(LOGGED, season=2024, dates={"fruit_set": dt.date(2024, 6, 20)}, checked_every_days=1)
    assert log.add("home", [LOGGED, WHOLE_CULTIVAR, earlier]) == Counts(stored=3)
    assert log.rows("home") == (earlier, WHOLE_CULTIVAR, LOGGED)
    assert list(log.rows("home")[2].dates) == ["bloom_start", "full_bloom"]
    assert log.add("home", [LOGGED, WHOLE_CULTIVAR]) == Counts(unchanged=2)


def test_a_bloom_log_correction_keeps_the_old_date(planted: Store) -> None:
    corrected = replace(LOGGED, dates={"bloom_start": dt.date(2025, 5, 19)})
    added = replace(LOGGED, dates={"bloom_end": dt.date(2025, 6, 3)})
    with planted.transaction("local") as repositories:
        repositories.bloom_log.add("home", [LOGGED])
    with planted.transaction("local", by="Ida") as repositories:
        counts = repositories.bloom_log.add("home", [corrected, added])
    assert counts == Counts(stored=1, replaced=1)
    assert [(each.key, each.old, each.new) for each in counts.changed] == [
        (
            (2025, "block:b1", "bloom_start"),
            {"date": dt.date(2025, 5, 20)},
            {"date": dt.date(2025, 5, 19)},
        )
    ]
    with planted.transaction("local") as repositories:
        assert repositories.bloom_log.rows("home") == (
            replace(LOGGED, dates={**LOGGED.dates, "bloom_start": dt.date(2025, 5, 19), **added.dates}),
        )
        history = repositories.bloom_log.history("home", 2025, Place("block", "b1"))
        assert repositories.bloom_log.history("home", 2025, Place("cultivar", "b1")) == ()
    assert [(version.row.dates, version.superseded_by) for version in history] == [
        ({"bloom_start": dt.date(2025, 5, 20)}, "Ida"),
        ({"bloom_start": dt.date(2025, 5, 19)}, None),
        ({"full_bloom": dt.date(2025, 5, 27)}, None),
        ({"bloom_end": dt.date(2025, 6, 3)}, None),
    ]
    assert history[0].superseded_at == history[1].stored_at


def test_a_date_is_cleared_alone_or_with_its_season(repositories: Repositories) -> None:
    log = repositories.bloom_log
    log.add("home", [LOGGED, WHOLE_CULTIVAR])
    log.delete("home", 2025, Place("block", "b1"), stage="bloom_start")
    assert log.rows("home") == (
        WHOLE_CULTIVAR,
        replace(LOGGED, dates={"full_bloom": dt.date(2025, 5, 27)}),
    )
    log.delete("home", 2025, Place("cultivar", "dusk"))
    assert [row.block for row in log.rows("home")] == ["b1"]
    with pytest.raises(NotFound, match="bloom log date '2025 b1 bloom_start'"):
        log.delete("home", 2025, Place("block", "b1"), stage="bloom_start")
    with pytest.raises(NotFound, match="bloom log date '2025 dusk'"):
        log.delete("home", 2025, Place("cultivar", "dusk"))


def test_dates_that_were_looked_for_at_other_steps_stand_in_their_own_row(repositories: Repositories) -> None:
    daily = replace(LOGGED, dates={"full_bloom": dt.date(2025, 5, 27)}, checked_every_days=1)
    repositories.bloom_log.add("home", [LOGGED])
    assert repositories.bloom_log.add("home", [daily]) == Counts(replaced=1)
    assert repositories.bloom_log.rows("home") == (
        daily,
        replace(LOGGED, dates={"bloom_start": dt.date(2025, 5, 20)}),
    )


def test_observations_of_unknown_things_are_refused(repositories: Repositories) -> None:
    with pytest.raises(UnknownReference, match="unknown block: b8, b9"):
        repositories.bloom_log.add("home", [replace(LOGGED, block="b9"), replace(LOGGED, block="b8"), LOGGED])
    with pytest.raises(UnknownReference, match="unknown cultivar: noon"):
        repositories.visits.add("home", [replace(SEEN, cultivar="noon")])
    with pytest.raises(NotFound, match="vineyard 'away'"):
        repositories.visits.add("away", [SEEN])
    with pytest.raises(BadInput, match="unknown stage"):
        repositories.bloom_log.add("home", [replace(LOGGED, dates={"leaf_fall": dt.date(2025, 11, 1)})])
    assert repositories.bloom_log.rows("home") == ()
    assert repositories.visits.all("home") == ()


def test_visits_of_one_day_stand_beside_each_other_by_block_and_observer(repositories: Repositories) -> None:
    others = (
        replace(SEEN, observer=None),
        replace(SEEN, block="b2", percent_open=None, bbch=61),
        replace(SEEN, block=None),
        replace(SEEN, date=dt.date(2026, 5, 19)),
    )
    assert repositories.visits.add("home", [SEEN, *others]) == Counts(stored=5)
    unnamed, second, whole, earlier = others
    assert repositories.visits.all("home") == (earlier, whole, unnamed, SEEN, second)


def test_a_visit_that_is_entered_again_keeps_the_old_one_and_its_identifier(planted: Store) -> None:
    once, twice = replace(SEEN, percent_open=20.0), replace(SEEN, percent_open=22.0, note=None)
    for visits, counts in (
        ([SEEN], Counts(stored=1)),
        ([SEEN], Counts(unchanged=1)),
        ([once, twice, twice], Counts(replaced=2, unchanged=1)),
    ):
        with planted.transaction("local") as repositories:
            assert repositories.visits.add("home", visits) == counts
    with planted.transaction("local") as repositories:
        assert repositories.visits.all("home") == (twice,)
        [kept] = repositories.visits.kept("home")
        history = repositories.visits.history("home", kept.id)
    assert [version.visit for version in history] == [SEEN, twice]
    assert [version.superseded_at is None for version in history] == [False, True]
    assert history[0].superseded_at == history[1].stored_at


def test_a_visit_is_shown_moved_and_deleted_by_its_identifier(planted: Store) -> None:
    with planted.transaction("local") as repositories:
        repositories.visits.add("home", [SEEN, replace(SEEN, block="b2")])
        first, second = repositories.visits.kept("home")
        assert repositories.visits.get("home", first.id) == SEEN
        repositories.visits.replace("home", first.id, replace(SEEN, percent_open=99.0))
    with planted.transaction("local") as repositories:
        moved = replace(SEEN, date=dt.date(2026, 5, 21))
        repositories.visits.replace("home", first.id, moved)
        assert repositories.visits.get("home", first.id) == moved
        with pytest.raises(AlreadyThere, match="2026-05-20 b2"):
            repositories.visits.replace("home", first.id, replace(SEEN, block="b2"))
        with pytest.raises(UnknownReference, match="unknown block: b9"):
            repositories.visits.replace("home", first.id, replace(SEEN, block="b9"))
    with planted.transaction("local") as repositories:
        repositories.visits.delete("home", first.id)
        for look in (repositories.visits.get, repositories.visits.delete):
            with pytest.raises(NotFound, match="visit"):
                look("home", first.id)
        assert [kept.id for kept in repositories.visits.kept("home")] == [second.id]
    with planted.transaction("local", read_only=True) as repositories:
        history = repositories.visits.history("home", first.id)
        with pytest.raises(NotFound, match="visit 'none'"):
            repositories.visits.history("home", "none")
    assert [version.visit for version in history] == [replace(SEEN, percent_open=99.0), moved]
    assert all(version.superseded_at is not None for version in history)
