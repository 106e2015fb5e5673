"""All of a grower out as one file, and in again."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

import demo_weather
from service.cli import app
from service.store import Store
from service.usecases.everything import write_export
from tests.board.scenes import few_seasons


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, list(arguments))


def test_all_of_a_grower_is_taken_out_and_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CAPFALL_DATABASE_URL", f"sqlite:///{tmp_path / 'one.db'}")
    store = Store(f"sqlite:///{tmp_path / 'one.db'}")
    store.migrate()
    with store.transaction("local") as records:
        few_seasons(records)
        assert records.vineyards.get("few").station == demo_weather.STATION.key
    file = tmp_path / "all.jsonl"
    done = run("export", str(file))
    assert done.exit_code == 0, done.output
    assert "1 vineyard" in done.output
    refused = run("import", str(file))
    assert refused.exit_code == 2
    assert "vineyards: 1 stored" in refused.output
    over = run("import", str(file), "--grower", "other", "--preview")
    assert "other would have: " in over.output
    with store.transaction("other", read_only=True) as records:
        assert records.everything.held() == {}
    taken = run("import", str(file), "--grower", "other")
    assert taken.exit_code == 0, taken.output
    with store.transaction("other", read_only=True) as records:
        assert write_export(records).splitlines()[1:] == file.read_bytes().splitlines()[1:]
    store.close()


def test_nobody_is_not_exported_as_an_empty_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CAPFALL_DATABASE_URL", f"sqlite:///{tmp_path / 'one.db'}")
    assert run("grower", "add", "hill-farm").exit_code == 0
    for asked in ((), ("--grower", "nobody")):
        told = run("export", str(tmp_path / "all.jsonl"), *asked)
        assert told.exit_code == 2
        assert "names one of: hill-farm" in told.output
    assert not (tmp_path / "all.jsonl").exists()


@pytest.mark.parametrize(
    "command",
    ["run-all", "key list", "key revoke k", "grower list", "export all.jsonl", "calendar --vineyard few"],
)
def test_a_wrong_folder_is_told_and_gets_no_new_database(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CAPFALL_DATABASE_URL", f"sqlite:///{tmp_path / 'capfall.db'}")
    told = run(*command.split())
    assert (told.exit_code, list(tmp_path.iterdir())) == (2, [])
    assert "there is no database" in told.output
