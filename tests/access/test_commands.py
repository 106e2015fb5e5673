"""Growers and keys at the command line, and a service that other machines reach."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from typer.testing import CliRunner, Result

from service.cli import app
from service.store import Store, Vineyard
from service.store.access import Key
from service.usecases.keys import asker_with
from tests.access.certificates import self_signed


@pytest.fixture
def store(own_database: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    """The store of the commands."""
    monkeypatch.setenv("CAPFALL_DATABASE_URL", f"sqlite:///{own_database}")
    monkeypatch.delenv("CAPFALL_ACCESS", raising=False)
    return Store(f"sqlite:///{own_database}")


def run(*words: str, answer: str | None = None) -> Result:
    return CliRunner().invoke(app, list(words), input=answer)


def keys(store: Store) -> tuple[Key, ...]:
    with store.access(read_only=True) as access:
        return access.all_keys()


def test_a_key_is_shown_once_listed_and_revoked(store: Store) -> None:
    assert run("grower", "add", "hill-farm").exit_code == 0
    made = run(
        "key", "add", "Ida's phone", "--grower", "hill-farm", "--role", "record", "--expires-on", "2099-05-20"
    )
    assert made.exit_code == 0, made.output
    secret = made.stdout.splitlines()[0]
    [key] = keys(store)
    assert (key.name, key.role, key.growers) == ("Ida's phone", "record", ("hill-farm",))
    assert key.expires_at == dt.datetime(2099, 5, 21, tzinfo=dt.UTC)
    with store.access(read_only=True) as access:
        assert asker_with(access, secret) is not None
    listed = run("key", "list").stdout
    assert all(told in listed for told in (key.id, "Ida's phone", "record", "hill-farm", "2099-05-21"))
    assert secret not in listed
    assert run("key", "revoke", key.id).exit_code == 0
    assert keys(store) == ()
    again = run("key", "revoke", key.id)
    assert again.exit_code == 2
    assert "there is no key" in again.output


def test_open_access_becomes_a_named_grower(store: Store) -> None:
    with store.transaction("local") as records:
        records.vineyards.put(Vineyard("home", "Home"))
    assert run("grower", "rename", "local", "hill-farm").exit_code == 0
    assert run("grower", "list").stdout.split() == ["hill-farm"]
    with store.transaction("hill-farm", read_only=True) as records:
        assert records.vineyards.get("home").name == "Home"


@pytest.mark.usefixtures("store")
def test_a_grower_is_deleted_only_when_that_is_meant() -> None:
    run("grower", "add", "hill-farm")
    assert run("grower", "delete", "hill-farm", answer="n\n").exit_code == 1
    assert run("grower", "list").stdout.split() == ["hill-farm"]
    assert run("grower", "delete", "hill-farm", "--yes").exit_code == 0
    assert run("grower", "list").stdout == ""


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("grower", "add", "Hill Farm"), "no identifier"),
        (("grower", "rename", "none", "other"), "there is no grower 'none'"),
        (("grower", "delete", "none", "--yes"), "there is no grower 'none'"),
        (("key", "add", "Ida", "--grower", "none", "--role", "read"), "there is no grower 'none'"),
        (("key", "add", "", "--grower", "here", "--role", "read"), "give it a name"),
        (
            ("key", "add", "Ida", "--grower", "here", "--role", "read", "--expires-on", "2020-01-01"),
            "lies in the past",
        ),
        (("grower", "add", "here"), "already"),
    ],
)
@pytest.mark.usefixtures("store")
def test_what_cannot_be_is_said(words: tuple[str, ...], said: str) -> None:
    run("grower", "add", "here")
    refused = run(*words)
    assert refused.exit_code == 2
    assert said in refused.output
    assert "Traceback" not in refused.output


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """How the server was started; it is not run."""
    told: dict[str, Any] = {}
    monkeypatch.setattr(uvicorn, "run", lambda _, **how: told.update(how))
    return told


def test_other_machines_are_served_with_keys_only(
    store: Store, served: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    refused = run("serve", "--host", "0.0.0.0")
    assert refused.exit_code == 2
    assert "set CAPFALL_ACCESS=keys and make keys with capfall key add" in " ".join(refused.output.split())
    assert served == {}
    monkeypatch.setenv("CAPFALL_ACCESS", "keys")
    started = run("serve", "--host", "0.0.0.0")
    assert started.exit_code == 0, started.output
    assert served["host"] == "0.0.0.0"
    assert "Nobody has a key yet" in started.output
    assert "Keys travel unencrypted" in started.output
    with store.access() as access:
        access.add_grower("hill-farm")
    run("key", "add", "Ann", "--grower", "hill-farm", "--role", "manage")
    assert "Nobody" not in run("serve").output


@pytest.mark.usefixtures("store")
def test_tls_needs_both_files(
    served: dict[str, Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("CAPFALL_ACCESS", "keys")
    cert, key = self_signed(tmp_path, "127.0.0.1")
    assert run("serve", "--tls-cert", str(cert)).exit_code == 2
    assert run("serve", "--tls-cert", str(cert), "--tls-key", str(tmp_path / "none")).exit_code == 2
    swapped = run("serve", "--tls-cert", str(key), "--tls-key", str(cert))
    assert swapped.exit_code == 2
    assert "are no certificate and its private key" in swapped.output
    assert served == {}
    started = run("serve", "--host", "0.0.0.0", "--tls-cert", str(cert), "--tls-key", str(key))
    assert "unencrypted" not in started.output
    assert (served["ssl_certfile"], served["ssl_keyfile"]) == (cert, key)
