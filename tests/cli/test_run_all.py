"""One command tells the news of all vineyards of all growers: from the database to the letters."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from service.cli import app
from service.feed import all_news
from service.store import Store
from tests.cli.growers import copy_grower
from tests.feed.conftest import A_DAY, MORNING, READER, database, fitted
from tests.feed.mail_server import MailBox, mail_box

__all__ = ["database", "fitted"]

BEAS = "bea@hollow.example"


@pytest.fixture
def box(
    database: Path, monkeypatch: pytest.MonkeyPatch, set_clock: Callable[[dt.datetime], None]
) -> Iterator[MailBox]:
    """Takes the letters of two growers, local and bea, who have the same vineyard."""
    copy_grower(database, "local", "bea")
    store = Store(f"sqlite:///{database}")
    with store.transaction("bea") as records:
        records.news_readers.replace_all("hollow", [BEAS])
    store.close()
    set_clock(MORNING)
    with mail_box() as server:
        settings = {
            "DATABASE_URL": f"sqlite:///{database}",
            "MAIL_HOST": "127.0.0.1",
            "MAIL_PORT": str(server.port),
        }
        for name, value in (settings | {"MAIL_SECURITY": "none"}).items():
            monkeypatch.setenv(f"CAPFALL_{name}", value)
        yield server


def run() -> Result:
    return CliRunner().invoke(app, ["run-all"])


def told_days(database: Path, grower: str) -> list[dt.date]:
    store = Store(f"sqlite:///{database}")
    with store.transaction(grower, read_only=True) as records:
        found = [each.day for each in records.told_days.all("hollow")]
    store.close()
    return found


def rows(result: Result) -> dict[str, str]:
    """What is told of each grower's vineyard."""
    lines = [line.split() for line in result.stdout.splitlines() if " hollow " in line]
    return {words[0]: " ".join(words[3:]) for words in lines}


def spoil_fit(database: Path, grower: str) -> None:
    """As no request can: a fit that nobody can read."""
    with closing(sqlite3.connect(database)) as connection, connection:
        connection.execute("UPDATE fits SET document = '{}' WHERE grower = ?", (grower,))


@pytest.mark.parametrize("few", [1, 100], ids=["processes", "here"])
def test_every_reader_of_every_grower_gets_a_letter_once(
    database: Path, box: MailBox, few: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(all_news, "FEW", few)
    first = run()
    assert first.exit_code == 0, first.output
    assert sorted(letter["To"] for letter in box.letters) == sorted([READER, BEAS])
    for letter in box.letters:
        assert "first day that is told of season 2015" in letter.get_content()
    assert rows(first).keys() == {"local", "bea"}
    assert all(told.startswith("told ") for told in rows(first).values())
    assert "2 told; 0 not due" in first.stdout
    again = run()
    assert (again.exit_code, len(box.letters)) == (0, 2)
    assert "none told; 2 not due" in again.stdout
    assert told_days(database, "bea") == told_days(database, "local") == [MORNING.date()]


def test_what_fails_with_one_grower_keeps_no_other_from_its_news(database: Path, box: MailBox) -> None:
    spoil_fit(database, "bea")
    failed = run()
    assert failed.exit_code == 1
    assert [letter["To"] for letter in box.letters] == [READER]
    assert rows(failed)["local"].startswith("told ")
    assert rows(failed)["bea"].startswith("failed ")
    assert (told_days(database, "local"), told_days(database, "bea")) == ([MORNING.date()], [])


def test_a_letter_that_was_not_taken_ends_with_a_code_and_goes_out_with_the_next_run(
    box: MailBox, set_clock: Callable[[dt.datetime], None]
) -> None:
    box.refused.add(BEAS)
    failed = run()
    assert failed.exit_code == 1
    assert [letter["To"] for letter in box.letters] == [READER]
    assert rows(failed)["bea"].startswith("not sent ")
    assert f"{box.port} took no letter" in " ".join(failed.stdout.split())
    box.refused.clear()
    set_clock(MORNING + A_DAY / 24)
    mended = run()
    assert mended.exit_code == 0
    assert [letter["To"] for letter in box.letters] == [READER, BEAS]
    assert "1 told; 1 not due" in mended.stdout


def test_without_a_mail_server_answers_are_kept_and_that_is_said(
    database: Path, box: MailBox, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("CAPFALL_MAIL_HOST")
    done = run()
    assert done.exit_code == 0
    assert "CAPFALL_MAIL_HOST" in done.stdout
    assert box.letters == []
    assert told_days(database, "bea") == [MORNING.date()]


def test_a_vineyard_without_a_forecast_is_no_failure(
    box: MailBox, set_clock: Callable[[dt.datetime], None]
) -> None:
    set_clock(MORNING - 50 * 365 * A_DAY)
    done = run()
    assert box.letters == []
    assert done.exit_code == 0, done.output
    assert set(rows(done)) == {"local", "bea"}
    assert all(told.startswith("no forecast ") for told in rows(done).values())
