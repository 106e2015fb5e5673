"""DEVELOPERS.md against the code: dependencies, modules, markers and numbers that it names."""

from __future__ import annotations

import re
import tomllib
from typing import Any

import pytest

from models.bloom import calibration, climate, estimation, mixed_model, search, thresholds, traces
from tests.docs.session import DEVELOPERS, ROOT

PROJECT: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
MAP = DEVELOPERS.split("## The house")[1].split("\n## ")[0]
MODEL = DEVELOPERS.split("## The model")[1].split("\n## ")[0]


def table_of(folder: str) -> set[str]:
    """Names in the map's table of a folder; for models/ itself, its leaves."""
    found = re.search(rf"^\| `{folder}/` \|.*\n\|[-|]+\|\n((?:\|.*\n)+)", MAP, re.MULTILINE)
    assert found is not None, folder
    return {name for line in found[1].splitlines() for name in re.findall(r"`([\w/]+)`", line.split("|")[1])}


def test_every_dependency_has_its_reason() -> None:
    extras = PROJECT["project"]["optional-dependencies"]
    wanted = [*PROJECT["project"]["dependencies"], *(one for extra in extras.values() for one in extra)]
    names = {match[0] for one in wanted if (match := re.match(r"[\w-]+", one)) and match[0] != "capfall"}
    section = DEVELOPERS.split("## Dependencies")[1].split("\n## ")[0]
    told = {
        name
        for row in re.findall(r"^\| ([\w, -]+?)(?: \(.*?\))? \|", section, re.MULTILINE)
        for name in row.split(", ")
    }
    assert names == told - {"package"}


@pytest.mark.parametrize(
    "folder",
    [
        *("models/heat", "models/bloom", "models/vineyard"),
        *("service", "service/api", "service/board", "service/feed", "service/ingest", "service/usecases"),
        *("service/cli", "service/store", "service/web", "service/words"),
    ],
)
def test_every_module_has_its_line(folder: str) -> None:
    modules = {path.stem for path in (ROOT / folder).glob("*.py")} - {"__init__"}
    assert {name for name in table_of(folder) if not name.endswith("/")} == modules


def test_every_marker_is_told() -> None:
    markers = {text.partition(":")[0] for text in PROJECT["tool"]["pytest"]["ini_options"]["markers"]}
    testing = DEVELOPERS.split("## Testing")[1].split("\n## ")[0]
    assert markers <= set(re.findall(r"^\| `(\w+)` \|", testing, re.MULTILINE))


def test_numbers_of_the_model_are_those_of_the_code() -> None:
    assert f"`TAIL_DEGREES` = {mixed_model.TAIL_DEGREES:g} " in DEVELOPERS
    assert f"`DRIFT_YEARS` = {mixed_model.DRIFT_YEARS:g} " in DEVELOPERS
    days = (
        estimation.ASSUMED_DAYS_BETWEEN_CULTIVARS,
        estimation.ASSUMED_DAYS_BETWEEN_SEASONS,
        estimation.ASSUMED_DAYS_WITHIN,
    )
    said = [
        f"A prior counts as {mixed_model.PRIOR_COUNT:g} more cultivars",
        "with {:g}, {:g} and {:g} days of usual heat".format(*days),
        f"ρ starts at {mixed_model.PRIOR_DRIFT_SHARE:g}, counted as {mixed_model.PRIOR_DRIFT_COUNT:g} seasons",
        f"more than {thresholds.SLIP_SCALES:g} scales",
        f"From {calibration.CALIBRATED_FROM_SEASONS} seasons on, each season",
        f"as if {calibration.UNCHECKED_COUNT:g} more seasons",
        f"within {search.NEGLIGIBLE:g} of the best",
        f"Below {search.FEWEST_SEASONS} seasons the trade default stands",
        f"(weights fade over {traces.CLIMATE_YEARS:g} years)",
        f"whose weights fade over {climate.LEVEL_YEARS:g} years",
    ]
    text = re.sub(r"\s+", " ", MODEL)
    assert [words for words in said if words not in text] == []
