"""The drill: what was acknowledged before a backup is there after its restoring, in a new place and under a service."""

from __future__ import annotations

import datetime as dt
import shutil
import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from typer.testing import CliRunner

from service import clock
from service.cli import app as commands
from service.store import Store
from service.store.backup import NoBackup, back_up, check, restore
from service.usecases.keys import make_key
from tests.api.asking import VINEYARD, put_vineyard
from tests.conftest import client_of

runner = CliRunner()


@pytest.fixture
def database(own_database: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CAPFALL_DATABASE_URL", f"sqlite:///{own_database}")
    return own_database


@pytest.fixture
def client(database: Path) -> Iterator[TestClient]:
    with client_of(database) as client:
        put_vineyard(client)
        yield client


def visit(client: TestClient, day: int) -> bool:
    body = [{"date": f"2026-05-{day:02}", "block": "b1", "percent_open": 0}]
    return client.post(f"{VINEYARD}/visits", json=body).status_code == 200


def visits(client: TestClient) -> list[Any]:
    seen: list[Any] = client.get(f"{VINEYARD}/visits").json()["visits"]
    return seen


def test_a_backup_taken_while_others_write_holds_all_that_was_acknowledged(
    client: TestClient, tmp_path: Path
) -> None:
    for day in range(1, 6):
        assert visit(client, day)
    writing, more = threading.Event(), []

    def write_on() -> None:
        for day in range(6, 26):
            more.append(visit(client, day))
            writing.set()

    thread = threading.Thread(target=write_on)
    thread.start()
    assert writing.wait(30)
    copy = tmp_path / "elsewhere" / "copy.db"
    copy.parent.mkdir()
    told = runner.invoke(commands, ["backup", str(copy)])
    thread.join()
    assert told.exit_code == 0, told.output
    assert "whole, step" in told.output
    assert more == [True] * 20
    assert [each.name for each in copy.parent.iterdir()] == ["copy.db"]
    with client_of(copy) as other:
        kept = visits(other)
        assert len(kept) >= 6
        assert kept == visits(client)[: len(kept)]
        assert other.get(VINEYARD).text == client.get(VINEYARD).text


def test_a_restore_puts_all_back_under_a_running_service_and_keeps_what_was_there(
    client: TestClient, database: Path, tmp_path: Path
) -> None:
    assert visit(client, 1)
    before = visits(client)
    copy = tmp_path / "copy.db"
    assert runner.invoke(commands, ["backup", str(copy)]).exit_code == 0
    assert visit(client, 2)
    assert client.delete(f"{VINEYARD}/blocks/b2?past=delete").status_code in (200, 422)
    told = runner.invoke(commands, ["restore", str(copy)])
    assert told.exit_code == 0, told.output
    assert ", 1 grower, 1 station, " in told.output.replace("\n", " ")
    assert visits(client) == before
    assert visit(client, 3)
    [aside] = database.parent.glob("capfall.db.before-*")
    assert aside.name in told.output.replace("\n", "")
    with client_of(aside) as other:
        assert len(visits(other)) == 2


def test_keys_that_hold_again_are_told_and_browsers_sign_in_anew(database: Path, tmp_path: Path) -> None:
    url = f"sqlite:///{database}"
    store = Store(url)
    store.migrate()
    with store.access() as access:
        access.add_grower("hill-farm")
        key, _ = make_key(access, name="Ida", role="read", growers=["hill-farm"])
        access.add_session("browser", key.id, clock.now() + dt.timedelta(days=1))
    copy = tmp_path / "copy.db"
    back_up(url, copy)
    with store.access() as access:
        access.revoke(key.id)
    told = runner.invoke(commands, ["restore", str(copy)])
    assert "1 key and link lets in as when the copy was made" in " ".join(told.output.split())
    with store.access(read_only=True) as access:
        assert [each.id for each in access.all_keys()] == [key.id]
        assert access.key_of_session("browser") is None
    store.close()


def test_a_lost_database_comes_back_from_its_copy(client: TestClient, database: Path, tmp_path: Path) -> None:
    assert visit(client, 1)
    copy = tmp_path / "copy.db"
    back_up(f"sqlite:///{database}", copy)
    for name in database.parent.glob("capfall.db*"):
        name.unlink()
    assert client.get(VINEYARD).status_code == 503
    assert restore(f"sqlite:///{database}", copy) is None
    assert len(visits(client)) == 1
    assert visit(client, 2)


def test_a_damaged_or_foreign_file_is_told_and_never_put_in_place(database: Path, tmp_path: Path) -> None:
    url = f"sqlite:///{database}"
    copy = tmp_path / "copy.db"
    back_up(url, copy)
    assert check(copy).faults == ()

    damaged = tmp_path / "damaged.db"
    content = bytearray(copy.read_bytes())
    content[8192:12288] = b"\xff" * 4096
    damaged.write_bytes(content)
    newer = tmp_path / "newer.db"
    shutil.copy(copy, newer)
    with sqlite3.connect(newer) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.close()
    orphan = tmp_path / "orphan.db"
    shutil.copy(copy, orphan)
    with sqlite3.connect(orphan) as connection:
        connection.execute("INSERT INTO fit_in_use VALUES ('ann', 'home', 'f1', '2026-05-01')")
    connection.close()
    text = tmp_path / "text.db"
    text.write_text("date,tmin_c,tmax_c\n" * 100)
    empty = tmp_path / "empty.db"
    sqlite3.connect(empty).close()

    held = database.read_bytes()
    for wrong, why in (
        (damaged, ""),
        (newer, "of a newer one"),
        (orphan, "refers to nothing"),
        (text, "not a database"),
        (empty, "no tables of Capfall"),
        (tmp_path / "none.db", "no file"),
    ):
        for command in ("check", "restore"):
            told = runner.invoke(commands, [command, str(wrong)])
            assert told.exit_code == 2, (wrong, told.output)
            assert why in told.output.replace("\n", " ")
            assert wrong.name in told.output.replace("\n", "")
        with pytest.raises(NoBackup):
            restore(url, wrong)
    assert database.read_bytes() == held
    assert not list(database.parent.glob("capfall.db.before-*"))


def test_a_backup_that_cannot_be_written_leaves_the_older_one(database: Path, tmp_path: Path) -> None:
    with pytest.raises(NoBackup, match=r"copy\.db cannot be written: there is no folder"):
        back_up(f"sqlite:///{database}", tmp_path / "no such folder" / "copy.db")
    with pytest.raises(NoBackup, match="pg_dump"):
        back_up("postgresql://capfall@127.0.0.1/capfall", tmp_path / "copy.db")
    assert runner.invoke(commands, ["check"]).exit_code == 0
