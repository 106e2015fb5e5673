"""The command that prints the scouting plan: of the demo, of files, and of the service's database."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from typer.testing import CliRunner

import demo_weather
from models.vineyard.scouting import WEEKDAY_NAMES
from service.cli import app

pytestmark = pytest.mark.slow

RUNNER = CliRunner()


@pytest.fixture
def files(tmp_path: Path) -> list[str]:
    """The demo's files as the options of the command."""
    arguments = []
    for name, content in demo_weather.files().items():
        path = tmp_path / name
        path.write_bytes(content)
        arguments += [f"--{path.stem.replace('_', '-')}", str(path)]
    return arguments


def test_the_demo_and_its_files_have_the_same_plan(files: list[str]) -> None:
    demo = RUNNER.invoke(app, ["scout", "--demo", "--weekdays", "tue,fri"])
    assert demo.exit_code == 0, demo.output
    assert max(map(len, demo.output.splitlines())) <= 100
    days = [line for line in demo.output.splitlines() if line.partition(" ")[0] in WEEKDAY_NAMES]
    assert days
    assert {line.split()[0] for line in days} == {"Tuesday", "Friday"}
    assert "The first caps on the ground or falling." in demo.output
    assert "Best look now: " in demo.output
    assert "Narrows the bloom windows by" in demo.output
    assert "local extension office" in " ".join(demo.output.split())
    given = ["--as-of", "2026-05-20", "--latitude", str(demo_weather.STATION.latitude)]
    same = RUNNER.invoke(app, ["scout", *files, *given, "--weekdays", "tue,fri"])
    assert same.exit_code == 0, same.output
    assert same.output == demo.output


def test_a_vineyard_of_the_database(
    demo_database: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = tmp_path / "kept.db"
    shutil.copy(demo_database, copy)
    monkeypatch.setenv("CAPFALL_DATABASE_URL", f"sqlite:///{copy}")
    key = demo_weather.VINEYARD.key
    told = RUNNER.invoke(app, ["scout", "--vineyard", key, "--as-of", "2026-05-20", "--max-trips", "1"])
    assert told.exit_code == 0, told.output
    assert "1 trip from 20 May on, season 2026" in told.output
    assert "1 trip leaves no day for it" in " ".join(told.output.split())
    unknown = RUNNER.invoke(app, ["scout", "--vineyard", "nowhere"])
    assert (unknown.exit_code, "nowhere" in unknown.output) == (2, True)
    wrong = RUNNER.invoke(app, ["scout", "--vineyard", key, "--as-of", "2026-05-20", "--weekdays", "someday"])
    assert (wrong.exit_code, "'someday' is no weekday" in wrong.output) == (2, True)


def test_without_a_day_it_is_the_vineyards_today(
    demo_client: TestClient,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    set_clock: Callable[[dt.datetime], None],
) -> None:
    body = {"name": "Bend", "station": demo_weather.STATION.key, "timezone": "America/Chicago"}
    assert demo_client.put(f"/v1/vineyards/{demo_weather.VINEYARD.key}", json=body).status_code == 200
    monkeypatch.setenv("CAPFALL_DATABASE_URL", f"sqlite:///{tmp_path / 'demo.db'}")
    set_clock(dt.datetime(2026, 5, 20, 2, 0, tzinfo=dt.UTC))  # 19 May there, as in tests/web/test_clock.py
    told = RUNNER.invoke(app, ["scout", "--vineyard", demo_weather.VINEYARD.key])
    assert told.exit_code == 0, told.output
    assert "from 19 May on, season 2026" in told.output


@pytest.mark.parametrize(
    "arguments",
    [[], ["--demo", "--vineyard", "hollow"], ["--bloom-log", "log.csv", "--demo", "--as-of", "x"]],
)
def test_what_is_refused(arguments: list[str]) -> None:
    assert RUNNER.invoke(app, ["scout", *arguments]).exit_code == 2


def test_files_are_read_as_the_other_commands_read_them(tmp_path: Path) -> None:
    files = []
    for name in ("temperatures", "planting", "bloom_log"):
        content = demo_weather.files()[f"{name}.csv"].decode()
        if name == "bloom_log":  # that does not say how often was looked
            content = "\n".join(line.rpartition(",")[0] for line in content.splitlines())
        (tmp_path / f"{name}.csv").write_text(content)
        files += [f"--{name.replace('_', '-')}", f"{tmp_path}/{name}.csv"]
    asked = ["scout", *files, "--as-of", "2026-05-20"]
    north = RUNNER.invoke(app, [*asked, "--latitude", "31.1"])
    assert north.exit_code == 0, north.output
    assert "counts as looked at every day" in " ".join(north.output.split())
    often = RUNNER.invoke(app, [*asked, "--latitude", "31.1", "--checked-every-days", "3"])
    assert often.exit_code == 0, often.output
    assert "counts as looked at every day" not in " ".join(often.output.split())
    south = RUNNER.invoke(app, [*asked, "--latitude", "-31.1"])
    assert (south.exit_code, "--confirm latitude" in south.output) == (2, True)
    confirmed = RUNNER.invoke(app, [*asked, "--latitude", "-31.1", "--confirm", "latitude"])
    assert "--confirm latitude" not in confirmed.output
