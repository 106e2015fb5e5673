"""The hindcast on the command line, from files."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from service.cli import app
from tests.hindcast.past import invented_vineyard, log_csv, weather_csv

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the files of a vineyard are; its log is by cultivar, and there is no planting."""
    path = tmp_path_factory.mktemp("files")
    past = invented_vineyard()
    (path / "temperatures.csv").write_text(weather_csv(past.site.temperatures))
    (path / "bloom_log.csv").write_text(log_csv(past.site.log))
    return path


def run(folder: Path, *more: str) -> Result:
    files = ["--temperatures", f"{folder}/temperatures.csv", "--bloom-log", f"{folder}/bloom_log.csv"]
    return CliRunner().invoke(app, ["hindcast", *files, *more])


def test_scores_rules_and_rows_are_told(folder: Path) -> None:
    done = run(
        folder,
        *("--leads", "30", "--by-cultivar", "--base", "50", "--units", "us", "--interval", "0.5"),
        *("--csv", f"{folder}/rows.csv", "--json", f"{folder}/report.json"),
    )
    assert done.exit_code == 0, done.output
    assert max(map(len, done.stdout.splitlines())) <= 100
    report = json.loads((folder / "report.json").read_text())
    known = report["scores"][0]
    assert (known["stage"], known["cultivar"], known["lead"]) == ("bloom_start", None, "known weather")
    names = ("n", "bias", "mae", "rmse", "crps", "baseline_rmse", "skill", "coverage")
    figures = [float(cell) for cell in done.stdout.split("known weather", 1)[1].split()[: len(names)]]
    assert figures == pytest.approx([known[name] for name in names], abs=0.0051)
    for words in ("30 days", "others seen", "thimble-ash", "in 50 %", "average above 50 °F", ": 6 seasons"):
        assert words in done.stdout
    rows = list(csv.DictReader(io.StringIO((folder / "rows.csv").read_text())))
    assert len(rows) == len(report["rows"])
    assert report["rules"][0]["heat"]["base_c"] == 10.0


def test_the_heat_rule_is_searched_for_unless_it_is_given(folder: Path) -> None:
    done = run(folder, "--leads", "", "--stages", "bloom_start")
    assert done.exit_code == 0, done.output
    assert "Heat rules, chosen without the season" in done.stdout
    assert "full_bloom" not in done.stdout
    given = run(folder, "--leads", "", "--stages", "bloom_start", "--no-search")
    assert "chosen without" not in given.stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["hindcast"], "give --temperatures and --bloom-log, or --demo"),
        (["hindcast", "--demo", "--search", "--base", "10"], "the search chooses the heat rule"),
        (["hindcast", "--demo", "--upper", "5"], "must lie above the base"),
        (["hindcast", "--demo", "--base", "50"], "outside 0 to 20 °C"),
        (["hindcast", "--demo", "--stages", "bud_swell"], "'bud_swell' is not a stage"),
        (["hindcast", "--demo", "--leads", "soon"], "'soon' is no number of days"),
        (["hindcast", "--demo", "--interval", "80"], "not a probability"),
    ],
)
def test_what_cannot_be_done_is_said_plainly(arguments: list[str], said: str) -> None:
    refused = CliRunner().invoke(app, arguments)
    assert refused.exit_code == 2
    assert said in " ".join(refused.output.split())
    assert "Traceback" not in refused.output


def test_the_demo_brings_its_own_files(folder: Path) -> None:
    refused = run(folder, "--demo")
    assert refused.exit_code == 2
    assert "brings its own files" in refused.output


def test_files_that_look_wrong_are_refused_and_the_word_overrides_it(folder: Path) -> None:
    quick = ("--leads", "", "--stages", "bloom_start", "--no-search")
    south = run(folder, *quick, "--latitude", "-33")
    assert south.exit_code == 2
    assert "--confirm latitude" in south.output
    confirmed = run(folder, *quick, "--latitude", "-33", "--confirm", "latitude")
    assert "--confirm latitude" not in confirmed.output


def test_how_often_rows_were_walked_is_taken_beside_the_log(folder: Path) -> None:
    quick = ("--leads", "", "--stages", "bloom_start", "--no-search")
    daily = run(folder, *quick)
    weekly = run(folder, *quick, "--checked-every-days", "7")
    assert (daily.exit_code, weekly.exit_code) == (0, 0)
    assert daily.stdout.split("It took")[0] != weekly.stdout.split("It took")[0]
