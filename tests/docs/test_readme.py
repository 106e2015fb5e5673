"""README and guide against the product: tables hold what the code has, links lead somewhere, figures were measured."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any, get_args

import pytest
from typer.main import get_command

from models.bloom.forecast import Status
from models.stages import STAGE_KEYS, STAGES
from models.vineyard.pollen_warnings import WarningCode
from service.board.markdown import anchor
from service.cli import app as commands
from service.ingest import bloom_log, crop_counts, grid, planting, set_counts, visits
from service.settings import Settings
from tests.docs.session import HELP, README, ROOT, blocks

pytestmark = pytest.mark.slow

DEVELOPERS = ROOT / "DEVELOPERS.md"
EVIDENCE = ROOT / "tests/evidence/skill.md"
SHELL_LINES = [
    line
    for page in (README, *HELP.values())
    for block in blocks(page)
    if block.kind == "sh"
    for line in block.lines
]


def table_rows(page: str, first_header: str) -> list[list[str]]:
    """Cells of a help page's table under the header that starts so."""
    text = HELP[page].read_text(encoding="utf-8")
    found = re.search(rf"^\| {first_header} \|.*\n\|[-| ]+\|\n((?:\|.*\n)+)", text, re.MULTILINE)
    assert found is not None, first_header
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in found[1].splitlines()]


def test_the_two_commands() -> None:
    of_readme = [line for block in blocks(README) if block.kind == "sh" for line in block.lines]
    assert of_readme[0] == "python3 -m venv .venv && .venv/bin/pip install -e . && .venv/bin/capfall demo"
    assert of_readme[1] == "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/pytest"


def test_the_readme_is_short() -> None:
    assert len(README.read_bytes()) < 11_000


def test_settings_are_those_of_the_service() -> None:
    rows = {row[0]: row[1] for row in table_rows("settings", "variable")}
    fields = {
        f"`CAPFALL_{name.upper()}`": "none" if field.default is None else f"`{field.default}`"
        for name, field in Settings.model_fields.items()
    }
    assert rows == fields


def test_stages_statuses_and_warnings_are_all_there() -> None:
    stages = [(f"`{stage.key}`", stage.meaning, f"{stage.bbch:02}") for stage in STAGES]
    assert [tuple(row) for row in table_rows("answers", "key")] == stages
    assert [row[0] for row in table_rows("answers", "status")] == [
        f"`{status}`" for status in get_args(Status)
    ]
    assert {row[0] for row in table_rows("answers", "code")} == {
        f"`{code}`" for code in get_args(WarningCode)
    }


@pytest.mark.parametrize("reader", [planting, grid, bloom_log, visits, set_counts, crop_counts])
def test_every_column_that_is_read_is_there(reader: Any) -> None:
    text = HELP["files"].read_text(encoding="utf-8")
    columns = reader.SYNONYMS.keys() - set(STAGE_KEYS)  # for these it leads to the table of stages
    assert sorted(name for name in columns if f"`{name}`" not in text) == []
    assert "[the stages](answers.md#the-stages)" in text


def test_commands_and_their_options_exist() -> None:
    group: Any = get_command(commands)
    assert {row[0] for row in table_rows("commands", "command")} == {
        f"`capfall {name}`" for name in group.commands
    }
    evidence = EVIDENCE.read_text(encoding="utf-8")
    called = [
        shlex.split(text)
        for text in re.findall(r"capfall (hindcast --temp.*)", evidence.replace("\\\n", " "))
    ]
    assert len(called) >= 2
    for name, *words in called:
        _, command, _ = group.resolve_command(None, [name])
        known = {option for param in command.params for option in param.opts}
        assert {word for word in words if word.startswith("--")} <= known, name


def test_files_that_commands_name_exist() -> None:
    named = re.findall(r"(?:@| )((?:demo_weather|openapi_examples)/[\w.]+)", "\n".join(SHELL_LINES))
    assert len(set(named)) >= 6
    assert [name for name in named if not (ROOT / name).is_file()] == []


@pytest.mark.parametrize("page", [README, DEVELOPERS, EVIDENCE, *HELP.values()], ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)]+)\)", page.read_text(encoding="utf-8")):
        if target.startswith("/"):
            assert page in HELP.values(), target  # the service's own: tests/board asks for them
            continue
        file, _, heading = target.partition("#")
        linked = page.parent / file if file else page
        assert linked.exists(), target
        headings = re.findall(
            r"^#+ (.*)$", linked.read_text(encoding="utf-8") if heading else "", re.MULTILINE
        )
        assert not heading or heading in map(anchor, headings), target


def test_the_measured_skill_is_told_as_the_tables_have_it() -> None:
    grape = EVIDENCE.read_text(encoding="utf-8").partition("## Grape")[2].partition("## Apple")[0]
    told = " ".join(DEVELOPERS.read_text(encoding="utf-8").split())
    for way, begins in (("past only", "From the past alone: "), ("left out", "Each season left out: ")):
        rows = {row[0]: row for row in _table(grape, f"### bloom_start, {way}") if "-" not in row[0]}
        del rows["lead"]
        rmse = {lead: f"{float(row[4].split()[0]):.1f}" for lead, row in rows.items()}
        usual = f"{float(rows['7 days ahead'][6]):.1f}"
        by_date, by_season = (
            [round(100 * float(row[8].split(" / ")[place])) for row in rows.values()] for place in (0, 1)
        )
        week, fortnight = rmse["7 days ahead"], rmse["14 days ahead"]
        assert (
            f"{begins}{rmse['known weather']} with the weather known, {week} a week ahead, {fortnight} two weeks "
            f"ahead, {rmse['others seen']} once another block was seen; the cultivar's mean date misses by {usual}. "
            f"The 80 % interval held {min(by_date)} to {max(by_date)} % of the dates, and {min(by_season)} to "
            f"{max(by_season)} % with every season counted alike."
        ) in told
        if way == "past only":
            text = " ".join(README.read_text(encoding="utf-8").split())
            assert (
                f"bloom start is missed by {week} days a week ahead and by {fortnight} days two weeks ahead, "
                f"where the cultivar's usual date misses by {usual}"
            ) in text


def _table(text: str, heading: str) -> list[list[str]]:
    lines = text.partition(f"{heading}\n")[2].partition("\n#")[0].splitlines()
    return [[cell.strip() for cell in line.strip("| ").split("|")] for line in lines if line.startswith("|")]
