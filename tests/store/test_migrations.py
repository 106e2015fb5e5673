"""The history of the tables runs both ways, and ends at the tables that the code uses."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Connection, create_engine, inspect, make_url, text

from service.store import Store
from service.store.migrating import downgrade, upgrade
from service.store.records import Place
from service.store.tables import Base


@contextmanager
def connected(url: str) -> Iterator[Connection]:
    parsed = make_url(url)
    if parsed.drivername == "postgresql":
        parsed = parsed.set(drivername="postgresql+psycopg")
    engine = create_engine(parsed)
    with engine.begin() as connection:
        yield connection
    engine.dispose()


def tables_in(connection: Connection) -> set[str]:
    return set(inspect(connection).get_table_names()) - {"alembic_version"}


def test_up_down_and_up_again(url: str) -> None:
    for _ in range(2):
        with connected(url) as connection:
            upgrade(connection)
        with connected(url) as connection:
            assert tables_in(connection) == set(Base.metadata.tables)
            downgrade(connection, "base")
        with connected(url) as connection:
            assert tables_in(connection) == set()


def test_the_newest_step_has_the_tables_of_the_code(store: Store, url: str) -> None:
    assert store.is_answering()
    with connected(url) as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_every_table_says_whose_its_rows_are() -> None:
    of_no_single_grower = ("growers", "keys", "sessions")
    for name, table in Base.metadata.tables.items():
        assert name in of_no_single_grower or "grower" in table.c
        assert name in of_no_single_grower or any(
            "grower" in key.column_keys for key in table.foreign_key_constraints
        )


def test_a_store_without_tables_does_not_answer_and_migrating_twice_is_harmless(url: str) -> None:
    store = Store(url)
    assert not store.is_answering()
    store.migrate()
    store.migrate()
    assert store.is_answering()
    store.close()


@pytest.mark.slow
def test_processes_that_start_at_once_migrate_once(url: str) -> None:
    start = "import sys; from service.store import Store; Store(sys.argv[1]).migrate()"
    processes = [
        subprocess.Popen([sys.executable, "-c", start, url], stderr=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    errors = [process.communicate(timeout=60)[1] for process in processes]
    assert [process.returncode for process in processes] == [0, 0, 0], errors
    with connected(url) as connection:
        assert tables_in(connection) == set(Base.metadata.tables)


NOON, LATER = "2026-05-20 12:00:00.000250+00:00", "2026-05-21 12:00:00.000000+00:00"
BEFORE_THE_JOURNAL = f"""
INSERT INTO growers VALUES ('ann', '{NOON}');
INSERT INTO stations VALUES ('Hill', 31.5, -83.5, NULL, 'ann', 'hill');
INSERT INTO cultivars (name, flower_type, viable_pollen, grower, key) VALUES ('Dusk', 'perfect', true, 'ann', 'dusk');
INSERT INTO vineyards (name, station, reach_m, grower, key) VALUES ('Home', 'hill', 15, 'ann', 'home');
INSERT INTO blocks VALUES ('ann', 'home', 'b1', 'dusk', 0, 0, 1, NULL);
INSERT INTO temperatures VALUES ('ann', 'hill', '2026-05-01', 9.25, 20, '{LATER}');
INSERT INTO temperature_history VALUES
  ('ann', 'hill', '2026-05-01', 1, '{NOON}', 7, 20, '{NOON}'),
  ('ann', 'hill', '2026-05-01', 2, '{LATER}', NULL, NULL, '{NOON}');
INSERT INTO outlook_history VALUES ('ann', 'hill', '2026-04-30', '2026-05-01', 1, '{LATER}', 0.1, 20, '{NOON}');
INSERT INTO bloom_dates VALUES
  ('ann', 'home', 2025, 'block:b1', 'bloom_start', 'dusk', 'b1', '2025-05-19', 7, '{LATER}');
INSERT INTO bloom_date_history VALUES
  ('ann', 'home', 2025, 'block:b1', 'bloom_start', 1, '{LATER}', 'dusk', 'b1', '2025-05-20', 7, '{NOON}');
INSERT INTO visits VALUES ('ann', 'home', '2026-05-18', 'block:b1', 'Ida', 'dusk', 'b1', 22, NULL, 'wet', '{LATER}');
INSERT INTO visit_history VALUES
  ('ann', 'home', '2026-05-18', 'block:b1', 'Ida', 1, '{LATER}', 'dusk', 'b1', 12, NULL, NULL, '{NOON}'),
  ('ann', 'home', '2026-05-18', 'block:b1', 'Ida', 2, '{LATER}', 'dusk', 'b1', 20, NULL, NULL, '{LATER}');
INSERT INTO calendar_events VALUES ('ann', 'home', 2026, 'bloom/b1', 3, '{NOON}', '{{}}')
"""


def test_what_the_histories_kept_is_in_the_journal(url: str) -> None:
    with connected(url) as connection:
        upgrade(connection, "0004")
        for statement in BEFORE_THE_JOURNAL.split(";"):
            connection.execute(text(statement))
    store = Store(url)
    store.migrate()
    later = dt.datetime.fromisoformat(LATER)
    with store.transaction("ann") as records:
        second, first = records.changes.all()
        days = records.temperatures.history("hill", dt.date(2026, 5, 1))
        dates = records.bloom_log.history("home", 2025, Place("block", "b1"))
        [kept] = records.visits.kept("home")
        looks = records.visits.history("home", kept.id)
        [told] = records.calendar.all("home", 2026)
        assert [block.key for block in records.blocks.all("home")] == ["b1"]
    assert (first.at, first.code, first.rows) == (dt.datetime.fromisoformat(NOON), "before_journal", 1)
    assert (second.at, second.code, second.rows) == (later, "before_journal", 5)
    assert [day.tmin_c for day in days] == [7.0, None, 9.25]
    assert [day.superseded_at for day in days] == [first.at, later, None]
    assert [row.row.dates["bloom_start"].day for row in dates] == [20, 19]
    assert [version.visit.percent_open for version in looks] == [12.0, 20.0, 22.0]
    assert (kept.visit.note, told.sequence) == ("wet", 3)
    with store.transaction("ann") as records:
        records.changes.undo(2)
        assert [visit.percent_open for visit in records.visits.all("home")] == [12.0]
        issued = records.temperatures.outlook("hill", dt.date(2026, 5, 1))
        assert issued is not None
        assert issued[1].tmin_c.tolist() == [0.1]
    store.close()
    with connected(url) as connection:
        downgrade(connection, "0004")
