"""Whatever is done to a vineyard over HTTP, undoing it all brings back every row and the forecast, byte for byte."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

import demo_weather
from service.app import create_app
from service.settings import Settings
from service.store import Store
from service.usecases.demo import load_demo
from tests.store.dumping import dump

HOME = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
MAST = f"/v1/stations/{demo_weather.STATION.key}"
FORECAST = f"{HOME}/forecast?as_of={demo_weather.AS_OF}"
BLOCKS = ("west-1", "west-2", "east-1", "far-1", "new-1")
CULTIVARS = ("wren-anvil", "copper-lull", "new-cultivar")

block = st.sampled_from(BLOCKS)
cultivar = st.sampled_from(CULTIVARS)
small = st.integers(0, 4)


class Step(NamedTuple):
    """One request; ``{visit}`` and ``{change}`` stand for one of those that there are."""

    method: str
    path: str
    body: Any = None
    csv: str | None = None
    pick: int = 0


def visits(name: str, day: int, percent: int) -> Step:
    return Step(
        "POST", f"{HOME}/visits", [{"date": f"2026-05-{10 + day}", "block": name, "percent_open": percent}]
    )


def log(name: str, season: int, day: int) -> Step:
    row = f"season,block,bloom_start,full_bloom\n{2020 + season},{name},{2020 + season}-05-{10 + day},\n"
    return Step("POST", f"{HOME}/bloom-log", csv=row)


def warm(day: int, degrees: int) -> Step:
    days = "".join(f"2026-05-{10 + day + after},{degrees},{degrees + 12}\n" for after in range(3))
    return Step("POST", f"{MAST}/temperatures", csv=f"date,tmin_c,tmax_c\n{days}")


def outlook(day: int, degrees: int) -> Step:
    issued = f"2026-05-{16 + day}"
    days = "".join(f"2026-05-{16 + day + after},{degrees},{degrees + 10}\n" for after in range(3))
    return Step(
        "POST", f"{MAST}/temperatures?kind=outlook&issued_on={issued}", csv=f"date,tmin_c,tmax_c\n{days}"
    )


def planting(names: list[str], kind: str) -> Step:
    rows = "".join(f"{name},{kind},perfect,{9 * place},0\n" for place, name in enumerate(names))
    return Step("POST", f"{HOME}/planting", csv=f"block,cultivar,flower_type,x_m,y_m\n{rows}")


def put_block(name: str, kind: str, x_m: int) -> Step:
    line = {"x2_m": x_m + 30, "y2_m": 3, "vines": 6} if x_m % 2 else {}
    return Step("PUT", f"{HOME}/blocks/{name}", {"cultivar": kind, "x_m": x_m, "y_m": 3, **line})


def put_cultivar(kind: str, flower_type: str, days: int) -> Step:
    body = {"name": kind, "flower_type": flower_type, "receptive_days": days + 1}
    return Step("PUT", f"/v1/cultivars/{kind}", body)


steps = st.one_of(
    st.builds(visits, block, small, st.integers(0, 100)),
    st.builds(
        lambda pick, note: Step("PATCH", f"{HOME}/visits/{{visit}}", {"note": note}, pick=pick), small, block
    ),
    st.builds(lambda pick: Step("DELETE", f"{HOME}/visits/{{visit}}", pick=pick), small),
    st.builds(
        lambda name, flowers: Step(
            "POST",
            f"{HOME}/set-counts",
            [{"date": "2025-05-10", "block": name, "cluster": "1", "flowers": flowers}],
        ),
        block,
        small,
    ),
    st.builds(
        lambda name, clusters: Step(
            "POST",
            f"{HOME}/crop-counts",
            [{"date": "2025-06-10", "block": name, "cane": "1", "clusters": clusters}],
        ),
        block,
        small,
    ),
    st.builds(log, block, small, st.integers(0, 19)),
    st.builds(lambda name, season: Step("DELETE", f"{HOME}/bloom-log/{2020 + season}/{name}"), block, small),
    st.builds(warm, small, st.integers(0, 18)),
    st.builds(
        lambda day: Step("DELETE", f"{MAST}/temperatures?from=2026-05-{10 + day}&to=2026-05-{12 + day}"),
        small,
    ),
    st.builds(outlook, small, st.integers(0, 18)),
    st.builds(
        lambda day: Step("DELETE", f"{MAST}/temperatures?kind=outlook&issued_on=2026-05-{16 + day}"), small
    ),
    st.builds(put_cultivar, cultivar, st.sampled_from(["pistillate", "perfect"]), small),
    st.builds(lambda kind: Step("DELETE", f"/v1/cultivars/{kind}"), cultivar),
    st.builds(put_block, block, cultivar, small),
    st.builds(lambda name: Step("PATCH", f"{HOME}/blocks/{name}", {"vines": 7}), block),
    st.builds(
        lambda name, past: Step("DELETE", f"{HOME}/blocks/{name}?past={past}"),
        block,
        st.sampled_from(["keep", "delete"]),
    ),
    st.builds(lambda name, to: Step("POST", f"{HOME}/blocks/{name}/rename", {"to": to}), block, block),
    st.builds(planting, st.lists(block, min_size=1, unique=True), cultivar),
    st.builds(lambda name, night: Step("PUT", f"{HOME}/blocks/{name}/frost/{2022 + night}"), block, small),
    st.builds(lambda name, night: Step("DELETE", f"{HOME}/blocks/{name}/frost/{2022 + night}"), block, small),
    st.builds(lambda reach_m: Step("PATCH", HOME, {"reach_m": reach_m}), small),
    st.builds(lambda north: Step("PATCH", MAST, {"latitude": 31.0 + north}), small),
    st.just(Step("DELETE", HOME)),
    st.just(Step("PUT", HOME, {"name": "Bend", "station": demo_weather.STATION.key})),
    st.builds(lambda pick: Step("POST", "/v1/changes/{change}/undo", pick=pick), small),
    st.builds(lambda pick: Step("POST", "/v1/changes/{change}/undo", pick=pick), small),
    st.builds(lambda pick: Step("POST", "/v1/changes/{change}/undo", pick=pick), small),
    st.builds(lambda pick: Step("POST", "/v1/changes/{change}/undo", pick=pick), small),
)


@pytest.fixture
def served(url: str, demo_database: Path) -> Iterator[TestClient]:
    """The demo and a fit of it on each kind of database."""
    fitted = Store(f"sqlite:///{demo_database}")
    with fitted.transaction("local", read_only=True) as records:
        newest = records.fits.all()[0].id
        document = records.fits.get(newest)
    fitted.close()
    store = Store(url)
    store.migrate()
    with store.transaction("local") as records:
        load_demo(records)
        records.fits.add(newest, document)
    store.close()
    with TestClient(
        create_app(Settings(database_url=url, access="open")),
        base_url="http://127.0.0.1:8000",
        client=("127.0.0.1", 50000),
    ) as client:
        assert client.put(f"{HOME}/fit", json={"fit": newest}).is_success
        yield client


def changes(client: TestClient) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get("/v1/changes?limit=1000").json()["changes"]
    return found


def take(client: TestClient, step: Step) -> int | None:
    """Send a request; the number of its change, if it made one."""
    path = step.path
    if "{visit}" in path:
        listed = client.get(f"{HOME}/visits").json().get("visits") or [{"visit": "none"}]
        path = path.format(visit=listed[step.pick % len(listed)]["visit"])
    if "{change}" in path:
        path = path.format(change=changes(client)[step.pick]["change"])
    headers = {"Content-Type": "application/json" if step.csv is None else "text/csv"}
    if step.csv is None:
        answer = client.request(step.method, path, headers=headers, json=step.body)
    else:
        answer = client.request(step.method, path, headers=headers, content=step.csv.encode())
    assert answer.status_code < 500
    named = answer.headers.get("Capfall-Change")
    assert answer.is_success or named is None
    return None if named is None else int(named)


def undo_all(client: TestClient, *, after: int) -> None:
    """Undo what holds of the changes after a number, the newest first. Pairs of a change and its undoing cancel."""
    for change in changes(client):
        cancels = change["undoes"] is not None and change["undoes"] > after
        if change["change"] > after and not change["undone"] and not cancels:
            answer = client.post(f"/v1/changes/{change['change']}/undo")
            assert answer.status_code == 200, (change, answer.text)


def test_undoing_all_brings_everything_back(served: TestClient, url: str) -> None:
    seen = {"steps": 0, "changes": 0, "undone": 0, "moved": 0}

    @settings(
        max_examples=20,
        deadline=None,
        derandomize=True,
        phases=[Phase.generate],  # to shrink would take many minutes; the sequence is told
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
    @given(st.lists(steps, min_size=8, max_size=14))
    def sequence(plan: list[Step]) -> None:
        rows, told, newest = dump(url), served.get(FORECAST), changes(served)[0]["change"]
        assert told.status_code == 200
        for step in plan:
            seen["steps"] += 1
            made = take(served, step)
            seen["changes"] += made is not None
            seen["undone"] += made is not None and "/undo" in step.path
        seen["moved"] += served.get(FORECAST).content != told.content
        undo_all(served, after=newest)
        assert dump(url) == rows
        assert served.get(FORECAST).content == told.content

    sequence()
    assert seen["moved"] >= 5, seen
    assert seen["undone"] >= 5, seen
    assert seen["changes"] >= 40, seen
