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
    past, left_out = done.stdout.split("each left out in turn")
    assert "from the ones before it alone" in past  # what a user would have got comes first
    for told, scores in ((past, report["past_scores"]), (left_out, report["scores"])):
        known = scores[0]
        assert (known["stage"], known["cultivar"], known["lead"]) == ("bloom_start", None, "known weather")
        figures = told.split("known weather", 1)[1].split()[:12]
        names = ("n", "bias", "bias_by_season", "mae", "rmse", None, "crps", "baseline_rmse", "skill", None)
        for name, figure in zip((*names, "coverage", "coverage_by_season"), figures, strict=True):
            if name is not None:
                assert float(figure) == pytest.approx(known[name], abs=0.0051), name
        if known["seasons"] >= 5:
            assert figures[5] == f"{known['rmse_low']:.1f}..{known['rmse_high']:.1f}"
            assert figures[9] == f"{known['skill_low']:.2f}..{known['skill_high']:.2f}"
    assert report["scores"][0]["seasons"] == 6
    for words in (
        "30 days",
        "others seen",
        "thimble-ash",
        "inside",
        "50 %",
        "average above 50 °F",
        ": 6 seasons",
    ):
        assert words in done.stdout
    rows = list(csv.DictReader(io.StringIO((folder / "rows.csv").read_text())))
    assert len(rows) == len(report["past_rows"]) + len(report["rows"])
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


def test_a_planting_by_rows_and_vines_is_read_with_its_spacings(folder: Path) -> None:
    names = sorted(
        {row["cultivar"] for row in csv.DictReader(io.StringIO((folder / "bloom_log.csv").read_text()))}
    )
    lines = [f"{row},1,{name},perfect" for row, name in enumerate(names, start=1)]
    (folder / "planting.csv").write_text("\n".join(["row,vine,cultivar,flower_type", *lines]) + "\n")
    planted = [
        "--planting",
        f"{folder}/planting.csv",
        "--leads",
        "",
        "--stages",
        "bloom_start",
        "--base",
        "10",
    ]
    refused = run(folder, *planted)
    assert refused.exit_code == 2
    assert "how far rows and vines stand apart" in refused.output
    done = run(folder, *planted, "--row-spacing-m", "3.5", "--vine-spacing-m", "6")
    assert done.exit_code == 0, done.output
    assert f"planting: {len(names)} rows" in done.stdout
