"""What a start costs: the list of commands computes nothing, and a service loads what it needs when it is asked."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from service.cli import COMMANDS, app, loaded

HEAVY = ("numpy", "scipy", "pandas", "xarray", "fastapi", "sqlalchemy", "pydantic")
FOR_SOME_REQUESTS = (
    "scipy.stats",
    "scipy.optimize",
    "statsmodels",
    "pandas",
    "xarray",
    "openpyxl",
    "alembic",
)


def loaded_by(code: str) -> set[str]:
    """Which modules a new process has loaded after some code."""
    told = f"{code}\nimport sys\nprint('loaded', *sys.modules)"
    found = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    return set(found.stdout.splitlines()[-1].split())


def test_the_list_of_commands_loads_no_computation() -> None:
    listing = (
        "from service.cli import app\ntry: app(['--help'])\nexcept SystemExit as end: assert not end.code"
    )
    assert loaded_by(listing) & set(HEAVY) == set()


def test_the_version_is_that_of_the_project() -> None:
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    told = CliRunner().invoke(app, ["--version"])
    assert (told.exit_code, told.output) == (0, f"capfall {project['version']}\n")


def test_what_a_service_loads_is_never_looked_through_for_garbage(tmp_path: Path) -> None:
    settings = {"CAPFALL_DATABASE_URL": f"sqlite:///{tmp_path / 'capfall.db'}"}
    code = "import gc, service.asgi; print(gc.isenabled(), gc.get_freeze_count() > 100_000)"
    asked = [sys.executable, "-c", code]
    found = subprocess.run(asked, env={**os.environ, **settings}, capture_output=True, text=True, check=True)
    assert found.stdout.split() == ["True", "True"]


def test_a_service_starts_without_what_few_requests_need() -> None:
    assert loaded_by("import service.app") & set(FOR_SOME_REQUESTS) == set()


@pytest.mark.parametrize("name", COMMANDS)
def test_the_list_says_what_the_command_says(name: str) -> None:
    said = " ".join(str(loaded(name).help).split("\n\n")[0].split())
    assert len(said) > 20
    for asked in (["--help"], [name, "--help"]):
        shown = CliRunner().invoke(app, asked, env={"COLUMNS": "400"}).output
        assert said in " ".join(shown.split()), asked
        assert name in shown
