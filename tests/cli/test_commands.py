"""The command line: what the demo prints, the report from files, and where the service refuses to listen."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

import demo_weather
from demo_weather import make_demo
from models.bloom.set_aside import SetAside
from service.cli import app
from service.cli.tables import WIDEST, set_aside_points

pytestmark = pytest.mark.slow

AS_OF = demo_weather.AS_OF.isoformat()


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, list(arguments))


@pytest.fixture(scope="module")
def demo() -> str:
    result = run("demo")
    assert result.exit_code == 0, result.output
    return result.output


def flowing(text: str) -> str:
    """Without line breaks and the blanks of wrapping."""
    return " ".join(text.split())


def test_no_line_is_wider_than_100_columns(demo: str) -> None:
    assert WIDEST == 100
    assert max(len(line.rstrip()) for line in demo.splitlines()) <= 100


def test_the_window_of_every_block_and_stage_is_printed(demo: str) -> None:
    rows = [[cell.strip() for cell in line.split("│")[1:-1]] for line in demo.splitlines() if "│" in line]
    block = ""
    found: dict[tuple[str, str], list[str]] = {}
    for row in rows:
        block = row[0] or block
        found[block, row[2]] = row[3:]
    assert found.keys() == {(each.key, stage) for each in make_demo.BLOCKS for stage in make_demo.STAGES}
    for cells in found.values():
        assert all(cells), "median, interval, status and heat"
    assert found["west-1", "bloom_start"][2] == "observed"
    assert found["north-1", "bloom_end"][2] == "expected"
    for cultivar in make_demo.CULTIVARS:
        assert cultivar in demo


def test_every_warning_is_printed_with_level_chance_and_message(demo: str) -> None:
    text = flowing(demo)
    for said in (
        "act pollen_ends_early, chance",
        "act no_pollen_source_in_reach, chance 100 %. No pollen source stands within 15.24 m",
        "act no_viable_pollen, chance 100 %. In reach of block east-2",
        "watch single_pollen_source, chance 100 %. Block middle-2",
        "Place flowering shoots in water among west-4's vines from",
        "west-2 (Copper Lull): no warning,",
    ):
        assert said in text, said


def test_what_was_wrong_in_the_files_and_what_is_assumed_is_printed(demo: str) -> None:
    text = flowing(demo)
    for said in (
        "2019-04-09 to 2019-04-14 (6 days)",
        "1 day has a code for missing",
        "set aside: 2017 middle-5 bloom_start: about",
        "set aside: 2021 west-3",
        "heat: ",
        "chosen: ",
        "Assumed, without a source: a flower is receptive for 3 days",
        "keep to product labels",
    ):
        assert said in text, said


def test_many_dates_of_one_season_are_told_together() -> None:
    gap = "a gap in the temperatures"
    many = [SetAside(2019, f"b{place}", "full_bloom", gap) for place in range(10)]
    few = [SetAside(2020, f"b{place}", "full_bloom", gap) for place in range(2)]
    assert set_aside_points([*many, *few]) == [
        f"set aside: 10 dates of 2019, the first of them b0 full_bloom: {gap}",
        f"set aside: 2020 b0 full_bloom: {gap}",
        f"set aside: 2020 b1 full_bloom: {gap}",
    ]


def test_the_demo_says_the_same_twice_and_speaks_us_units(demo: str) -> None:
    assert run("demo", "--as-of", AS_OF).output == demo
    us = run("demo", "--units", "us", "--interval", "0.5").output
    assert "°F·day" in us
    assert "50 % intervals" in us
    assert "above 50 °F" in us


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("demo", "--interval", "1"), "interval"),
        (("demo", "--as-of", "2026-02-31"), "2026-02-31"),
        (("serve", "--host", "0.0.0.0"), "open access serves only the machine it runs on"),
        (("serve", "--host", "192.168.1.4"), "CAPFALL_ACCESS"),
    ],
)
def test_what_cannot_be_done_is_told_without_a_traceback(arguments: tuple[str, ...], said: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert said in flowing(result.output)
    assert isinstance(result.exception, SystemExit)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("CAPFALL_MAX_UPLOAD_MB", "-1", "CAPFALL_MAX_UPLOAD_MB: "),
        ("CAPFALL_ACCESS", "everyone", "CAPFALL_ACCESS: "),
        ("CAPFALL_DATABASE_URL", "mysql://farm", "sqlite:// or postgresql://"),
    ],
)
def test_a_wrong_setting_is_told(monkeypatch: pytest.MonkeyPatch, name: str, value: str, said: str) -> None:
    monkeypatch.setenv(name, value)
    result = run("serve")
    assert result.exit_code == 2
    assert said in result.output


@pytest.fixture
def files(tmp_path: Path) -> dict[str, str]:
    """The demo's files as options of the report."""
    for name, content in demo_weather.files().items():
        (tmp_path / name).write_bytes(content)
    return {
        f"--{name.removesuffix('.csv').replace('_', '-')}": str(tmp_path / name)
        for name in demo_weather.FILE_NAMES
    }


def options(files: dict[str, str]) -> list[str]:
    return [part for option in files.items() for part in option]


def test_the_report_prints_the_windows_of_the_demo(files: dict[str, str], demo: str) -> None:
    latitude = str(demo_weather.STATION.latitude)
    result = run("report", *options(files), "--as-of", AS_OF, "--latitude", latitude)
    assert result.exit_code == 0, result.output

    def thresholds(text: str) -> set[tuple[str, str, str]]:
        cells = [
            [cell.strip() for cell in line.split("│")[1:-1]] for line in text.splitlines() if "│" in line
        ]
        return {(row[1], row[2], row[6]) for row in cells if row[0]}

    assert thresholds(result.output) == thresholds(demo)
    assert "Northern hemisphere assumed" not in result.output


def test_a_report_from_visits_alone_says_what_is_not_known(files: dict[str, str]) -> None:
    kept = {name: path for name, path in files.items() if name not in {"--bloom-log", "--outlook"}}
    result = run("report", *options(kept), "--as-of", AS_OF)
    assert result.exit_code == 0, result.output
    text = flowing(result.output)
    assert "No season of" in text
    assert "dusk-bobbin" in text.partition("No season of")[2].partition("is in the fit")[0]
    assert "The fit lacks full_bloom, bloom_end" in text
    assert "Northern hemisphere assumed" in text


def test_the_report_names_file_and_line(files: dict[str, str]) -> None:
    Path(files["--bloom-log"]).write_text("season,block,bloom_start\n2024,west-9,2024-05-14\n")
    result = run("report", *options(files), "--as-of", AS_OF)
    assert result.exit_code == 2
    assert "bloom_log: line 2: unknown block 'west-9'" in flowing(result.output)
    missing = run("report", "--temperatures", "nowhere.csv", "--planting", files["--planting"])
    assert missing.exit_code == 2
    kept = {name: files[name] for name in ("--temperatures", "--planting")}
    assert "no observations" in run("report", *options(kept)).output


@pytest.mark.skipif(os.name != "posix", reason="the service is stopped by a signal")
def test_serve_answers_on_this_machine_and_keeps_its_data_here(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-c", "from service.cli import app; app()", "serve", "--port", str(port)]
    environment = {key: value for key, value in os.environ.items() if not key.startswith("CAPFALL_")}
    environment["PYTHONPATH"] = str(Path(__file__).parents[2])
    with subprocess.Popen(command, cwd=tmp_path, env=environment, stderr=subprocess.DEVNULL) as served:
        try:
            answer = b""
            until = time.monotonic() + 60
            while not answer and time.monotonic() < until and served.poll() is None:
                try:
                    with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=5) as found:
                        answer = found.read()
                except OSError:
                    time.sleep(0.2)
            assert answer == b'{"status":"ok"}'
            assert (tmp_path / "capfall.db").is_file()
        finally:
            served.send_signal(signal.SIGINT)
            served.wait(30)


def test_serve_says_in_a_sentence_that_the_port_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        result = run("serve", "--port", str(port))
    assert result.exit_code == 2
    assert flowing(result.output).startswith(f"port {port} on 127.0.0.1 is taken: ")
    assert "{" not in result.output


def test_a_refusal_names_the_options_of_the_command(files: dict[str, str], tmp_path: Path) -> None:
    visits = tmp_path / "visits.csv"
    visits.write_text("date,block,percent_open\n05/06/2025,west-1,0\n", encoding="utf-8")
    given = ("report", *options({name: files[name] for name in ("--temperatures", "--planting")}))
    result = run(*given, "--visits", str(visits), "--as-of", AS_OF)
    assert result.exit_code == 2
    assert "--date-format %d/%m/%Y or %m/%d/%Y" in flowing(result.output)
    visits.write_text("date,block,percent_open\n1926-05-06,west-1,0\n", encoding="utf-8")
    assert "give --confirm dates" in flowing(run(*given, "--visits", str(visits), "--as-of", AS_OF).output)
