"""The command writes what the service answers to those who subscribe."""

from __future__ import annotations

from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from typer.testing import CliRunner

import demo_weather
from service.cli import app
from tests.feed.reading import assert_rfc_5545, by_both

VINEYARD = demo_weather.VINEYARD.key


@pytest.fixture
def folder(demo_client: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the command runs, with the store of the test's service."""
    assert demo_client.get("/healthz").status_code == 200
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CAPFALL_DATABASE_URL", f"sqlite:///{tmp_path / 'demo.db'}")
    return tmp_path


def test_the_file_is_what_the_service_answers(demo_client: TestClient, folder: Path) -> None:
    done = CliRunner().invoke(
        app, ["calendar", "--vineyard", VINEYARD, "--as-of", "2026-05-20", "--out", "season.ics"]
    )
    assert (done.exit_code, done.stderr) == (0, "")
    written = (folder / "season.ics").read_bytes()
    assert_rfc_5545(written)
    assert f"season.ics: {len(by_both(written))} events" in done.stdout
    asked = {"as_of": "2026-05-20"}
    assert demo_client.get(f"/v1/vineyards/{VINEYARD}/calendar.ics", params=asked).content == written


def test_without_a_day_it_is_the_feed_and_counts_its_revisions(demo_client: TestClient, folder: Path) -> None:
    done = CliRunner().invoke(app, ["calendar", "--vineyard", VINEYARD])
    assert done.exit_code == 0, done.output
    written = by_both((folder / f"{VINEYARD}.ics").read_bytes())
    assert by_both(demo_client.get(f"/v1/vineyards/{VINEYARD}/calendar.ics").content) == written


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--vineyard", "nowhere"], "there is no vineyard 'nowhere'"),
        (["--vineyard", VINEYARD, "--as-of", "20 May"], "is not a day"),
        (["--vineyard", VINEYARD, "--fit", "f1"], "there is no fit 'f1'"),
    ],
)
def test_what_cannot_be_done_is_said_plainly(folder: Path, arguments: list[str], said: str) -> None:
    refused = CliRunner().invoke(app, ["calendar", *arguments])
    assert refused.exit_code == 2
    assert said in refused.output
    assert "Traceback" not in refused.output
    assert not list(folder.glob("*.ics"))
