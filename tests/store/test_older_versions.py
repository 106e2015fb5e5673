"""What older versions kept and shared is still the same fit, and answers as if today's version had been given it.

Two things are held. An older database answers like a fresh one of today with the same rows, to the last digit. And
it answers near to what the older version said: since 0.2.0 the weather that continues a season is moved to today's
climate, nearer seasons count for more, and draws are made in another order. Here the moves are of at most 0.14
degrees, so in March to May at most 13 degree-days, about what a day of early June brings; and dates are rounded to
days. All that hangs on the fit alone is equal to the last digit there too.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.conftest import client_of
from tests.store.data.make_version import AS_OF, VINEYARD, keep
from tests.store.data.versions import VERSIONS, answers, restore

FITS = ("searched", "imported", "own")
# Sentences for readers: a newer version may put them in better words.
WORDS = {"cautions", "caution", "why", "message", "made", "not_scored"}
# What hangs on draws: dates and numbers of days, and shares of 2000 draws, of which two differ by less than three
# standard errors, 3 sqrt(2 / 4 / 2000).
DRAWN_DAYS = {"median", "low", "high", "from", "to"}
DRAWN_SHARES = {
    "chance",
    "chance_ends_first",
    "chance_starts_late",
    "share_of_bloom_covered",
    "share_lost_without_it",
    "synchrony",
}
NEAR_DAYS = 2
NEAR_SHARE = 0.05
# From this chance on a warning is told. [share]
WATCH_FROM = 0.2
# What later versions tell beside it, by the field that it stands in. "why" stands where a chance is not known.
ADDED = {
    "": {"trace_shifts", "frost_limits_source"},
    "blocks": {"frosted"},
    "frost": {"why", "by_stage", "colder_than_station"},
    "pistillate_blocks": {"at_other_reach", "notes"},
    "sources": {"share_of_supply"},
    "uncovered": {"level", "days", "share_of_bloom"},
    "warnings": {"donors", "past", "bouquets"},
}
# Warnings whose days are those of the runs without pollen.
OF_RUNS = {
    "pollen_ends_early",
    "pollen_gap",
    "pollen_starts_late",
    "no_pollen_source_in_reach",
    "no_viable_pollen",
}


def plain(answer: Any) -> str:
    """An answer without its sentences; equal means equal to the last digit."""
    if isinstance(answer, dict):
        return json.dumps({key: plain(value) for key, value in answer.items() if key not in WORDS})
    if isinstance(answer, list):
        return json.dumps([plain(value) for value in answer])
    return json.dumps(answer)


def as_told(answer: Any, told: Any) -> Any:
    """An answer without the fields that were added since, which say nothing of what was kept before."""
    if isinstance(told, dict):
        assert all(answer[key] in (None, [], 1.0) for key in answer.keys() - told.keys())
        return {key: as_told(value, told[key]) for key, value in answer.items() if key in told}
    if isinstance(told, list) and len(answer) == len(told):
        return [as_told(one, other) for one, other in zip(answer, told, strict=True)]
    return answer


def assert_near(answer: Any, told: Any, name: str = "") -> None:
    """Equal but for sentences, the order of pollen sources, what was added, and what hangs on draws."""
    if isinstance(told, dict):
        assert told.keys() <= answer.keys() <= told.keys() | ADDED.get(name, set()), name
        if "uncovered" in told:
            assert_days_without_pollen_near(answer, told)
        told_apart = {"uncovered", "warnings"}
        for key in told.keys() - WORDS - told_apart:
            inside = name in DRAWN_SHARES and key in DRAWN_DAYS
            assert_near(answer[key], told[key], name if inside else key)
    elif isinstance(told, list):
        assert len(answer) == len(told), name
        for one, other in zip(in_order(answer), in_order(told), strict=True):
            assert_near(one, other, name)
    elif name in DRAWN_DAYS and isinstance(told, str):
        assert abs(days_apart(answer, told)) <= NEAR_DAYS, (name, answer, told)
    elif name in DRAWN_DAYS | DRAWN_SHARES and told is not None:
        assert answer == pytest.approx(told, abs=NEAR_SHARE if name in DRAWN_SHARES else NEAR_DAYS), name
    else:
        assert answer == told, name


def assert_days_without_pollen_near(answer: dict[str, Any], told: dict[str, Any]) -> None:
    """Runs and warnings of one block.

    Version 0.1.0 told as a run all days of some chance, with the chance that one of them comes, and in a warning the
    days between medians. Since 0.2.0 both are the days of a chance of one half or more: within that run, and
    around those medians.
    """
    assert len(answer["uncovered"]) == len(told["uncovered"])
    for run, was in zip(answer["uncovered"], told["uncovered"], strict=True):
        assert run.keys() == was.keys() | ADDED["uncovered"]
        assert_within(run, was)
        assert 0.5 <= run["chance"] == max(run["days"]) <= was["chance"]
    warnings, told_warnings = (
        {warning["code"]: warning for warning in block["warnings"]} for block in (answer, told)
    )
    for code in warnings.keys() ^ told_warnings.keys():  # one of a fifth may come and go with the draws
        (found,) = (each[code] for each in (warnings, told_warnings) if code in each)
        assert found["level"] == "watch"
        assert found["chance"] <= WATCH_FROM + NEAR_SHARE
    for code in warnings.keys() & told_warnings.keys():
        warning, was = warnings[code], told_warnings[code]
        if code in OF_RUNS and warning["level"] == "act":
            (run,) = answer["uncovered"]
            assert (warning["from"], warning["to"]) == (run["from"], run["to"])
            assert_within(was, warning)
            was = {**was, "from": warning["from"], "to": warning["to"]}
        assert_near(warning, was, "warnings")


def assert_within(inner: dict[str, Any], outer: dict[str, Any]) -> None:
    """One run of days lies in another, as near as draws allow."""
    assert days_apart(inner["from"], outer["from"]) >= -NEAR_DAYS
    assert days_apart(inner["to"], outer["to"]) <= NEAR_DAYS


def days_apart(day: str, other: str) -> int:
    """From the other to the day."""
    return (dt.date.fromisoformat(day) - dt.date.fromisoformat(other)).days


def in_order(items: list[Any]) -> list[Any]:
    """Blocks by their key; all else as it stands."""
    named = all(isinstance(item, dict) and "block" in item for item in items)
    return sorted(items, key=lambda item: str(item["block"])) if named else items


@pytest.fixture(scope="module", params=VERSIONS)
def version(request: pytest.FixtureRequest) -> str:
    """Each version that was recorded."""
    return str(request.param)


@pytest.fixture(scope="module")
def old(version: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A service of today over the version's database."""
    database = tmp_path_factory.mktemp(version) / "capfall.db"
    restore(version, database)
    with client_of(database) as client:
        yield client


@pytest.fixture(scope="module")
def told(version: str) -> dict[str, Any]:
    """What the version answered."""
    return answers(version)


@pytest.fixture(scope="module")
def fresh(version: str, old: TestClient, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A service of today over an empty database that was given the same rows, and the fits as they stand."""
    folder = tmp_path_factory.mktemp(f"{version}-fresh")
    with client_of(folder / "capfall.db") as client:
        keep(client, reach_m=old.get(VINEYARD).json()["reach_m"])
    restore(version, folder / "old.db")
    with client_of(folder / "old.db"):  # brings its tables to today's
        pass
    with sqlite3.connect(folder / "capfall.db") as connection:
        connection.execute("ATTACH ? AS old", [str(folder / "old.db")])
        for table in ("fits", "fit_in_use"):
            connection.execute(f"INSERT INTO {table} SELECT * FROM old.{table}")
        # they know all that stands in the log, as they do in the older database
        connection.execute("UPDATE fits SET knows_change = (SELECT max(number) FROM changes)")
    connection.close()
    with client_of(folder / "capfall.db") as client:
        yield client


@pytest.mark.parametrize("name", FITS)
@pytest.mark.parametrize("what", ["forecast", "pollination", "scouting", "planting-check"])
def test_an_older_database_answers_as_a_fresh_one_with_the_same_rows(
    old: TestClient, fresh: TestClient, told: dict[str, Any], name: str, what: str
) -> None:
    asked = {"fit": told[name]["fit"]["id"]} | ({} if what == "planting-check" else {"as_of": AS_OF})
    answer, expected = (client.get(f"{VINEYARD}/{what}", params=asked) for client in (old, fresh))
    assert answer.status_code == 200, answer.text
    assert answer.json() == expected.json()


@pytest.mark.parametrize("name", FITS)
def test_a_kept_fit_is_shown_and_shared_as_it_was(old: TestClient, told: dict[str, Any], name: str) -> None:
    fit = told[name]["fit"]["id"]
    shown = old.get(f"/v1/fits/{fit}").json()
    assert shown.pop("in_use_by") == (["sandlark-bend"] if name == "searched" else [])
    assert plain(as_told(shown, told[name]["fit"])) == plain(told[name]["fit"])
    assert old.get(f"/v1/fits/{fit}/document").json() == told[name]["document"]


@pytest.mark.parametrize("name", FITS)
@pytest.mark.parametrize("what", ["forecast", "pollination"])
def test_a_kept_fit_forecasts_as_it_did(old: TestClient, told: dict[str, Any], name: str, what: str) -> None:
    answer = old.get(f"{VINEYARD}/{what}", params={"as_of": AS_OF, "fit": told[name]["fit"]["id"]}).json()
    if what == "forecast" and "trace_shifts" not in told[name][what]:
        assert max(map(abs, answer.pop("trace_shifts"))) <= 0.14
    assert_near(answer, told[name][what])


@pytest.mark.parametrize("what", ["forecast", "pollination"])
def test_the_newest_fit_of_all_own_seasons_is_in_use(
    old: TestClient, told: dict[str, Any], what: str
) -> None:
    used = old.get(f"{VINEYARD}/fit").json()
    assert (used["fit"], used["since"][:10]) == (told["searched"]["fit"]["id"], "2026-11-26")
    assert used["behind"] == {"rows": 0, "seasons": 0}
    answer = old.get(f"{VINEYARD}/{what}", params={"as_of": AS_OF})
    named = old.get(f"{VINEYARD}/{what}", params={"as_of": AS_OF, "fit": used["fit"]})
    assert plain(answer.json()) == plain(named.json())


def test_a_fit_that_was_shared_is_taken_over_as_the_same_fit(
    version: str, told: dict[str, Any], tmp_path: Path
) -> None:
    with client_of(tmp_path / "another.db") as client:
        first = client.post("/v1/fits/import", json=told["searched"]["document"])
        assert (first.status_code, first.json()["id"]) == (201, told["imported"]["fit"]["id"])
    restore(version, tmp_path / "kept.db")
    with client_of(tmp_path / "kept.db") as client:
        again = client.post("/v1/fits/import", json=told["searched"]["document"])
        assert (again.status_code, again.json()["id"]) == (200, told["imported"]["fit"]["id"])
        own = client.post("/v1/fits/import", json=told["own"]["document"])
        assert (own.status_code, own.json()["imported"]) == (201, True)


def test_a_kept_hindcast_is_shown_as_it_was(old: TestClient, told: dict[str, Any]) -> None:
    path = f"/v1/fits/{told['own']['fit']['id']}/hindcast"
    for units, name in (("metric", "hindcast"), ("us", "hindcast_us")):
        shown = old.get(path, params={"units": units}).json()
        assert plain(as_told(shown, told["own"][name])) == plain(told["own"][name])
    rows, before = (
        list(csv.DictReader(io.StringIO(text)))
        for text in (old.get(path, headers={"Accept": "text/csv"}).text, told["own"]["hindcast_csv"])
    )
    added = {"learned_from": "others", "after": "", "inside": ""}
    assert rows == [added | row for row in before]
    assert old.get("/vineyards/sandlark-bend/skill").status_code == 200
