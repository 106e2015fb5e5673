"""The README against the product: its steps run, its answers come, its tables hold what the code has."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any, get_args

import pytest
from starlette.routing import Match
from typer.main import get_command

from models.bloom.forecast import Status
from models.stages import STAGES
from models.vineyard.pollen_warnings import WarningCode
from service.app import create_app
from service.cli import app as commands
from service.ingest import bloom_log, grid, planting, visits
from service.settings import Settings
from tests.conftest import client_of
from tests.docs.session import (
    ADDRESS,
    DEVELOPERS,
    README,
    ROOT,
    blocks,
    comparable,
    fill_in,
    fragments,
    read_curl,
    send,
)

pytestmark = pytest.mark.slow

SHELL_LINES = [line for block in blocks(README) if block.kind == "sh" for line in block.text.splitlines()]
VARIABLES = {
    "api": f"{ADDRESS}/v1",
    "vineyard": f"{ADDRESS}/v1/vineyards/sandlark-bend",
    "fit": "a-fit",
    "job": "a-job",
}
BACKGROUND = ("/hindcast", "/jobs/")  # takes minutes: its routes are looked up, not run
REFUSED = "fahrenheit_as_celsius"


def table_rows(first_header: str) -> list[list[str]]:
    """Cells of the README's table under the header that starts so."""
    found = re.search(rf"^\| {first_header} \|.*\n\|[-| ]+\|\n((?:\|.*\n)+)", README, re.MULTILINE)
    assert found is not None, first_header
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in found[1].splitlines()]


def test_the_two_commands() -> None:
    assert "python3 -m venv .venv && .venv/bin/pip install -e . && .venv/bin/capfall demo" in SHELL_LINES
    assert "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/pytest" in SHELL_LINES


def test_settings_are_those_of_the_service() -> None:
    rows = {row[0]: row[1] for row in table_rows("variable")}
    fields = {
        f"`CAPFALL_{name.upper()}`": f"`{field.default}`" for name, field in Settings.model_fields.items()
    }
    assert rows == fields


def test_stages_statuses_and_warnings_are_all_there() -> None:
    stages = [(f"`{stage.key}`", stage.meaning, f"{stage.bbch:02}") for stage in STAGES]
    assert [tuple(row) for row in table_rows("key")] == stages
    assert [row[0] for row in table_rows("status")] == [f"`{status}`" for status in get_args(Status)]
    assert {row[0] for row in table_rows("code")} == {f"`{code}`" for code in get_args(WarningCode)}


@pytest.mark.parametrize("reader", [planting, grid, bloom_log, visits])
def test_every_column_that_is_read_is_there(reader: Any) -> None:
    section = README.split("## File formats")[1].split("\n## ")[0]
    assert [name for name in reader.SYNONYMS if f"`{name}`" not in section] == []


def test_commands_and_their_options_exist() -> None:
    group: Any = get_command(commands)
    assert {row[0] for row in table_rows("command")} == {f"`capfall {name}`" for name in group.commands}
    called = [match.split() for match in re.findall(r"\.venv/bin/capfall (\w.*)", "\n".join(SHELL_LINES))]
    evidence = "\n".join(block.text for block in blocks(DEVELOPERS))
    called += [shlex.split(text) for text in re.findall(r"capfall (hindcast --temp.*)", evidence)]
    assert len(called) >= 7
    for name, *words in called:
        known = {option for param in group.commands[name].params for option in param.opts}
        assert {word for word in words if word.startswith("--")} <= known, name


def test_files_that_commands_name_exist() -> None:
    named = re.findall(r"(?:@| )((?:demo_weather|openapi_examples)/[\w.]+)", "\n".join(SHELL_LINES))
    assert len(set(named)) >= 6
    assert [name for name in named if not (ROOT / name).is_file()] == []


@pytest.mark.parametrize("text", [README, DEVELOPERS])
def test_links_lead_somewhere(text: str) -> None:
    headings = {
        re.sub(r"[^\w -]", "", line.lstrip("# ")).lower().replace(" ", "-")
        for line in text.splitlines()
        if line.startswith("#")
    }
    for target in re.findall(r"\]\(([^)]+)\)", text):
        assert target[1:] in headings if target.startswith("#") else (ROOT / target).exists(), target


def test_routes_that_are_called_exist(tmp_path: Path) -> None:
    app = create_app(Settings(database_url=f"sqlite:///{tmp_path / 'empty.db'}"))
    lines = re.findall(r"^(?:\w+=\$\()?(curl .*?)(?: \| .*)?$", "\n".join(SHELL_LINES), re.MULTILINE)
    asked = [read_curl(fill_in(line, VARIABLES)) for line in lines]
    assert len(asked) >= 17
    for request in asked:
        scope = {"type": "http", "method": request.method, "path": request.path.partition("?")[0]}
        assert any(route.matches(scope)[0] is Match.FULL for route in app.router.routes), request


def test_the_steps_run_in_order_and_answer_as_shown(tmp_path: Path) -> None:
    variables = dict(VARIABLES)
    answers = ""
    shown = 0
    with client_of(tmp_path / "capfall.db") as client:
        for block in blocks(README.split("## Ten minutes")[1].split("\n## ")[0]):
            if block.kind == "sh":
                answers = ""
                for line in block.text.splitlines():
                    if not line.startswith("curl") or any(path in line for path in BACKGROUND):
                        continue
                    answer = send(client, read_curl(fill_in(line, variables)))
                    assert (answer.status_code < 300) is (REFUSED not in line), (line, answer.text)
                    answers += answer.text
            elif answers:
                told = comparable(answers)
                for part in fragments(block.text):
                    assert part in told, part
                    shown += 1
                    told = told[told.index(part) + len(part) :]
    assert shown >= 40
