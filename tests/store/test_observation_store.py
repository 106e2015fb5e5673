"""Bloom logs and visits come back as they hold, and a correction keeps what it corrected."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace

import pytest

from models.errors import BadInput
from models.records import Block, BloomLogRow, Cultivar, FlowerType, Visit
from service.store import Counts, NotFound, Repositories, Store, UnknownReference, Vineyard

LOGGED = BloomLogRow(
    2025, "dusk", "b1", {"full_bloom": dt.date(2025, 5, 27), "bloom_start": dt.date(2025, 5, 20)}, 7
)
WHOLE_CULTIVAR = BloomLogRow(2025, "dusk", None, {"bloom_start": dt.date(2025, 5, 21)})
SEEN = Visit(dt.date(2026, 5, 20), "dusk", "b1", 12.5, None, "Ida", "north end; 3 vines,\nwet")


@pytest.fixture
def repositories(store: Store) -> Iterator[Repositories]:
    """Two blocks of one cultivar, within one transaction."""
    with store.transaction("local") as repositories:
        repositories.cultivars.put(Cultivar("dusk", "Dusk", FlowerType.PERFECT, True))
        repositories.vineyards.put(Vineyard("home", "Home"))
        repositories.blocks.put("home", Block("b1", "dusk", 0.0, 0.0))
        repositories.blocks.put("home", Block("b2", "dusk", 6.0, 0.0))
        yield repositories


def test_bloom_log_rows_come_back_sorted(repositories: Repositories) -> None:
    log = repositories.bloom_log
    earlier = replace(LOGGED, season=2024, dates={"fruit_set": dt.date(2024, 6, 20)}, checked_every_days=1)
    assert log.add("home", [LOGGED, WHOLE_CULTIVAR, earlier]) == Counts(stored=3)
    assert log.rows("home") == (earlier, WHOLE_CULTIVAR, LOGGED)
    assert list(log.rows("home")[2].dates) == ["bloom_start", "full_bloom"]
    assert log.add("home", [LOGGED, WHOLE_CULTIVAR]) == Counts(unchanged=2)


def test_a_bloom_log_correction_keeps_the_old_date(repositories: Repositories) -> None:
    log = repositories.bloom_log
    log.add("home", [LOGGED])
    corrected = replace(LOGGED, dates={"bloom_start": dt.date(2025, 5, 19)})
    added = replace(LOGGED, dates={"bloom_end": dt.date(2025, 6, 3)})
    assert log.add("home", [corrected, added]) == Counts(stored=1, replaced=1)
    assert log.rows("home") == (
        replace(LOGGED, dates={**LOGGED.dates, "bloom_start": dt.date(2025, 5, 19), **added.dates}),
    )
    history = log.history("home")
    assert [(version.row.dates, version.superseded_at is None) for version in history] == [
        ({"bloom_start": dt.date(2025, 5, 20)}, False),
        ({"bloom_start": dt.date(2025, 5, 19)}, True),
        ({"full_bloom": dt.date(2025, 5, 27)}, True),
        ({"bloom_end": dt.date(2025, 6, 3)}, True),
    ]


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


def test_a_visit_that_is_entered_again_keeps_the_old_one(repositories: Repositories) -> None:
    visits = repositories.visits
    once, twice = replace(SEEN, percent_open=20.0), replace(SEEN, percent_open=22.0, note=None)
    assert visits.add("home", [SEEN]) == Counts(stored=1)
    assert visits.add("home", [SEEN]) == Counts(unchanged=1)
    assert visits.add("home", [once, twice, twice]) == Counts(replaced=2, unchanged=1)
    assert visits.all("home") == (twice,)
    history = visits.history("home")
    assert [version.visit for version in history] == [SEEN, once, twice]
    assert [version.superseded_at is None for version in history] == [False, False, True]
    assert history[0].superseded_at == history[1].stored_at
