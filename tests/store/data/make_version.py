"""What a version of the service keeps and answers, recorded for the tests of later versions.

Run it with the code of the version that is to be recorded, before anything of it changes:

    python -m tests.store.data.make_version 0.1.0

It writes beside itself, named after the version, `.sql.gz` (the statements that make its SQLite database), and
`.json.gz` (what it answered from that database).
"""

from __future__ import annotations

import gzip
import json
import sqlite3
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient

import demo_weather
from tests.api.asking import send_csv
from tests.conftest import client_of

FOLDER = Path(__file__).parent
FIRST_YEAR = 2017
VINEYARD = "/v1/vineyards/sandlark-bend"
# Before anything was seen in the season: what is said then hangs on the fit and the weather alone.
AS_OF = "2026-04-20"


def main(version: str) -> None:
    """Record the version."""
    with tempfile.TemporaryDirectory() as folder:
        database = Path(folder) / "capfall.db"
        with client_of(database) as client:
            answers = _filled(client)
        with sqlite3.connect(database) as connection:
            statements = "\n".join(connection.iterdump())
        connection.close()
    _write(f"{version}.sql.gz", statements)
    _write(f"{version}.json.gz", json.dumps(answers, indent=1))


def _filled(client: TestClient) -> dict[str, Any]:
    """Keep a bit of everything, and ask for what follows from it."""
    keep(client, reach_m=demo_weather.VINEYARD.reach_m)
    rule = {"method": "single_sine", "base_c": 7.0, "upper_c": 30.0, "cutoff": "horizontal"}
    searched = _posted(client, "/v1/fits", {})["id"]
    shared = client.get(f"/v1/fits/{searched}/document").json()
    imported = _posted(client, "/v1/fits/import", shared)["id"]
    own = _posted(client, "/v1/fits", {"heat": rule, "exclude_seasons": [2019]})["id"]
    job = _posted(client, f"/v1/fits/{own}/hindcast", {"leads": [14]})["job"]
    while (state := client.get(f"/v1/jobs/{job}").json()["state"]) in ("waiting", "running"):
        time.sleep(0.2)
    assert state == "done"
    client.get(f"{VINEYARD}/calendar.ics").raise_for_status()
    answers: dict[str, Any] = {}
    for name, fit in (("searched", searched), ("imported", imported), ("own", own)):
        asked = {"as_of": AS_OF, "fit": fit}
        answers[name] = {
            "fit": _got(client, f"/v1/fits/{fit}"),
            "document": _got(client, f"/v1/fits/{fit}/document"),
            "forecast": _got(client, f"{VINEYARD}/forecast", **asked),
            "pollination": _got(client, f"{VINEYARD}/pollination", **asked),
        }
    answers["own"]["hindcast"] = _got(client, f"/v1/fits/{own}/hindcast")
    answers["own"]["hindcast_us"] = _got(client, f"/v1/fits/{own}/hindcast", units="us")
    answers["own"]["hindcast_csv"] = client.get(
        f"/v1/fits/{own}/hindcast", headers={"Accept": "text/csv"}
    ).text
    return answers


def keep(client: TestClient, *, reach_m: float) -> None:
    """Send a bit of everything that a grower keeps, fits aside."""
    station, vineyard, files = demo_weather.STATION, demo_weather.VINEYARD, demo_weather.files()
    place = {name: getattr(station, name) for name in ("name", "latitude", "longitude", "elevation_m")}
    client.put(f"/v1/stations/{station.key}", json=place).raise_for_status()
    weather = f"/v1/stations/{station.key}/temperatures"
    _sent(client, weather, _from(files["temperatures.csv"], FIRST_YEAR))
    _sent(
        client, weather, "date,tmin_c,tmax_c\n2017-01-02,3.5,15.5\n"
    )  # corrected: the old value stays as history
    _sent(client, weather, files["outlook.csv"].decode(), kind="outlook", issued_on="2026-05-20")
    body = {"name": vineyard.name, "station": station.key, "reach_m": reach_m}
    days = {"receptive_days": 4, "pollen_days": 2, "scouting_weekdays": ["tue", "fri"]}
    client.put(VINEYARD, json=body | days).raise_for_status()
    _sent(client, f"{VINEYARD}/planting", files["planting.csv"].decode())
    _sent(client, f"{VINEYARD}/bloom-log", _from(files["bloom_log.csv"], FIRST_YEAR))
    _sent(client, f"{VINEYARD}/visits", files["visits.csv"].decode())
    block = client.get(f"{VINEYARD}/blocks").json()["blocks"][0]["block"]
    client.put(f"{VINEYARD}/blocks/{block}/frost/2026", json={"night": "2026-03-30"}).raise_for_status()


def _from(content: bytes, year: int) -> str:
    """A table's head and its rows from a year on."""
    head, *rows = content.decode().splitlines()
    return "\n".join([head, *(row for row in rows if row[:4] >= str(year))]) + "\n"


def _sent(client: TestClient, path: str, text: str, **query: str) -> None:
    answer = send_csv(client, path, text, **query)
    assert answer.status_code == 200, answer.text


def _posted(client: TestClient, path: str, body: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(path, json=body)
    assert answer.is_success, answer.text
    told: dict[str, Any] = answer.json()
    return told


def _got(client: TestClient, path: str, **query: str) -> Any:
    answer = client.get(path, params=query)
    assert answer.is_success, answer.text
    return answer.json()


def _write(name: str, text: str) -> None:
    (FOLDER / name).write_bytes(gzip.compress(text.encode(), 9, mtime=0))


if __name__ == "__main__":
    main(sys.argv[1])
