"""Anything can be deleted, renamed and changed in part; its past is kept where it teaches."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.api.asking import STATION, VINEYARD, assert_problem, put_vineyard, send_csv

DEMO = "/v1/vineyards/sandlark-bend"
LOG = "season,block,bloom_start,full_bloom\n2024,b1,2024-05-14,2024-05-18\n"
PLAIN = {"heat": {"method": "average", "base_c": 10}}


@pytest.fixture
def vineyard(client: TestClient) -> TestClient:
    put_vineyard(client)
    return client


def dates(client: TestClient) -> dict[str, str]:
    rows = client.get(f"{VINEYARD}/bloom-log").json()["rows"]
    return {stage: day for row in rows for stage, day in row["dates"].items()}


def test_a_visit_is_deleted_and_its_history_stays(vineyard: TestClient) -> None:
    seen = [{"date": f"2025-05-{day}", "block": "b1", "percent_open": 5} for day in (10, 12, 14)]
    vineyard.post(f"{VINEYARD}/visits", json=seen)
    vineyard.post(f"{VINEYARD}/visits", json=[{**seen[1], "percent_open": 50}])
    [visit] = vineyard.get(f"{VINEYARD}/visits?from=2025-05-11&to=2025-05-13&block=b1").json()["visits"]
    assert (visit["date"], visit["percent_open"]) == ("2025-05-12", 50.0)
    path = f"{VINEYARD}/visits/{visit['visit']}"
    assert vineyard.get(path).json() == visit
    assert vineyard.delete(path).json() == {
        "what": "Visit 2025-05-12 b1 deleted in vineyard hollow.",
        "rows": 1,
        "written": {"visits deleted": 1},
    }
    left = vineyard.get(f"{VINEYARD}/visits").json()["visits"]
    assert [each["date"] for each in left] == ["2025-05-10", "2025-05-14"]
    for answer in (vineyard.get(path), vineyard.delete(path), vineyard.patch(path, json={"note": "x"})):
        assert_problem(answer, 404, visit["visit"])
    versions = vineyard.get(f"{path}/history").json()["versions"]
    assert [version["percent_open"] for version in versions] == [5.0, 50.0]
    assert all(version["superseded_by"] == "local" for version in versions)
    assert versions[0]["superseded_at"] == versions[1]["stored_at"]
    assert vineyard.get(f"{VINEYARD}/visits?block=b2").json()["visits"] == []


def test_a_visit_is_changed_in_part(vineyard: TestClient) -> None:
    vineyard.post(
        f"{VINEYARD}/visits",
        json=[{"date": "2025-05-10", "block": name, "percent_open": 5} for name in ("b1", "b2")],
    )
    first = vineyard.get(f"{VINEYARD}/visits?block=b1").json()["visits"][0]
    path = f"{VINEYARD}/visits/{first['visit']}"
    changed = vineyard.patch(path, json={"percent_open": 15, "observer": "Ida"}).json()
    assert changed == {**first, "percent_open": 15.0, "observer": "Ida"}
    moved = vineyard.patch(path, json={"block": "b2"}).json()
    assert (moved["visit"], moved["block"], moved["cultivar"]) == (first["visit"], "b2", "loam-whistle")
    assert_problem(vineyard.patch(path, json={"observer": None}), 409, "2025-05-10 b2")
    assert_problem(vineyard.patch(path, json={"percent_open": 101}), 422, "body.percent_open")
    assert_problem(vineyard.patch(path, json={"percent_open": None}), 422, "percent_open or bbch")
    assert_problem(vineyard.patch(path, json={"block": "b9"}), 422, "b9")
    assert_problem(vineyard.patch(path, json={}), 422, "body")


def test_a_blank_cell_changes_nothing_and_a_date_is_cleared_by_deleting_it(vineyard: TestClient) -> None:
    send_csv(vineyard, f"{VINEYARD}/bloom-log", LOG)
    blank = "season,block,bloom_start,full_bloom\n2024,b1,,\n"
    assert send_csv(vineyard, f"{VINEYARD}/bloom-log", blank).status_code == 200
    assert dates(vineyard) == {"bloom_start": "2024-05-14", "full_bloom": "2024-05-18"}
    cleared = vineyard.delete(f"{VINEYARD}/bloom-log/2024/b1?stage=full_bloom")
    assert cleared.json()["written"] == {"bloom log dates deleted": 1}
    assert dates(vineyard) == {"bloom_start": "2024-05-14"}
    assert_problem(vineyard.delete(f"{VINEYARD}/bloom-log/2024/b1?stage=full_bloom"), 404, "full_bloom")
    assert_problem(vineyard.delete(f"{VINEYARD}/bloom-log/2024/b1?stage=leaf_fall"), 422, "leaf_fall")
    assert vineyard.delete(f"{VINEYARD}/bloom-log/2024/b1").status_code == 200
    assert dates(vineyard) == {}
    history = vineyard.get(f"{VINEYARD}/bloom-log/2024/b1/history").json()["versions"]
    assert [(each["stage"], each["date"], each["superseded_by"]) for each in history] == [
        ("bloom_start", "2024-05-14", "local"),
        ("full_bloom", "2024-05-18", "local"),
    ]
    assert_problem(vineyard.get(f"{VINEYARD}/bloom-log/2023/b1/history"), 404, "2023 b1")


def test_a_block_and_a_cultivar_of_one_name_are_told_apart(vineyard: TestClient) -> None:
    vineyard.put(f"{VINEYARD}/blocks/thimble-ash", json={"cultivar": "loam-whistle", "x_m": 3, "y_m": 3})
    send_csv(vineyard, f"{VINEYARD}/bloom-log", "season,cultivar,bloom_start\n2024,Thimble Ash,2024-05-10\n")
    send_csv(vineyard, f"{VINEYARD}/bloom-log", "season,block,bloom_start\n2024,thimble-ash,2024-05-20\n")
    assert vineyard.delete(f"{VINEYARD}/bloom-log/2024/thimble-ash").status_code == 200
    assert dates(vineyard) == {"bloom_start": "2024-05-10"}
    assert vineyard.delete(f"{VINEYARD}/bloom-log/2024/thimble-ash?of=cultivar").status_code == 200
    assert dates(vineyard) == {}


def test_days_and_outlooks_are_deleted(vineyard: TestClient) -> None:
    path = f"{STATION}/temperatures"
    days = "".join(f"2025-05-0{day},9,20\n" for day in range(1, 6))
    send_csv(vineyard, path, f"date,tmin_c,tmax_c\n{days}")
    send_csv(vineyard, path, f"date,tmin_c,tmax_c\n{days}", kind="outlook", issued_on="2025-05-01")
    gone = vineyard.delete(f"{path}?from=2025-05-02&to=2025-05-03")
    assert gone.json()["written"] == {"days of temperatures deleted": 2}
    left = vineyard.get(path).json()["days"]
    assert [day["date"][-2:] for day in left if day["tmin"] is not None] == ["01", "04", "05"]
    assert_problem(vineyard.delete(f"{path}?from=2025-05-02&to=2025-05-03"), 404, "2025-05-02 to 2025-05-03")
    gone = vineyard.delete(f"{path}?kind=outlook&issued_on=2025-05-01")
    assert gone.json()["written"] == {"days of an outlook deleted": 5}
    assert_problem(vineyard.delete(f"{path}?kind=outlook&issued_on=2025-05-01"), 404, "outlook")
    for query, where in (
        ("", "query.from"),
        ("?from=2025-05-01", "query.to"),
        ("?from=2025-05-01&to=2025-05-02&issued_on=2025-05-01", "query.issued_on"),
        ("?kind=outlook", "query.issued_on"),
        ("?kind=outlook&issued_on=2025-05-01&to=2025-05-02", "query.to"),
    ):
        assert_problem(vineyard.delete(path + query), 422, where)
    versions = vineyard.get(f"{path}/2025-05-02/history").json()["versions"]
    assert [(version["tmin_c"], version["superseded_by"]) for version in versions] == [(9.0, "local")]
    assert_problem(vineyard.get(f"{path}/2025-06-02/history"), 404, "2025-06-02")


def test_a_fit_is_deleted_and_comes_back(demo_client: TestClient) -> None:
    spare = {"heat": {"method": "average", "base_c": 9}, "use": False}
    fit = demo_client.post("/v1/fits", json=spare).json()["id"]
    document = demo_client.get(f"/v1/fits/{fit}/document").json()
    gone = demo_client.delete(f"/v1/fits/{fit}")
    assert gone.json()["what"] == f"Fit {fit} deleted."
    assert_problem(demo_client.get(f"/v1/fits/{fit}"), 404, fit)
    assert_problem(demo_client.delete(f"/v1/fits/{fit}"), 404, fit)
    assert demo_client.post(f"/v1/changes/{gone.headers['Capfall-Change']}/undo").status_code == 200
    assert demo_client.get(f"/v1/fits/{fit}/document").json() == document


def thresholds(client: TestClient) -> Any:
    return client.post("/v1/fits", json=PLAIN).json()["cultivars"]


def test_a_block_that_goes_keeps_teaching_unless_its_past_goes_too(demo_client: TestClient) -> None:
    before = thresholds(demo_client)
    gone = demo_client.delete(f"{DEMO}/blocks/west-1")
    assert gone.json()["written"] == {"blocks deleted": 1}
    assert_problem(demo_client.get(f"{DEMO}/blocks/west-1"), 404, "west-1")
    foreseen = demo_client.get(f"{DEMO}/forecast?as_of=2026-05-20").json()
    assert "west-1" not in {block["block"] for block in foreseen["blocks"]}
    assert thresholds(demo_client) == before
    log = demo_client.get(f"{DEMO}/bloom-log", headers={"Accept": "text/csv"}).text
    again = send_csv(demo_client, f"{DEMO}/bloom-log", log)
    assert again.json()["rows_unchanged"] == again.json()["rows_read"] > 0
    assert demo_client.delete(f"{DEMO}/blocks/west-1?past=delete").status_code == 200
    assert thresholds(demo_client) != before
    assert_problem(demo_client.delete(f"{DEMO}/blocks/west-1?past=delete"), 404, "west-1")


def test_all_that_is_asked_of_a_vineyard_goes_on_without_a_block_that_froze(demo_client: TestClient) -> None:
    demo_client.put(f"{DEMO}/blocks/west-1/frost/2026")
    assert demo_client.delete(f"{DEMO}/blocks/west-1").status_code == 200
    answers = {
        path: demo_client.get(path)
        for path in (
            f"{DEMO}/forecast?as_of=2026-05-20",
            f"{DEMO}/pollination?as_of=2026-05-20",
            f"{DEMO}/scouting?as_of=2026-05-20",
            f"{DEMO}/calendar.ics?as_of=2026-05-20",
            f"{DEMO}/planting-check",
            "/vineyards/sandlark-bend?as_of=2026-05-20",
            "/vineyards/sandlark-bend/visit",
        )
    }
    assert {path: answer.status_code for path, answer in answers.items()} == dict.fromkeys(answers, 200)


def test_a_renamed_block_has_the_forecast_that_it_had(demo_client: TestClient) -> None:
    def stages(name: str) -> Any:
        blocks = demo_client.get(f"{DEMO}/forecast?as_of=2026-05-20").json()["blocks"]
        return next(block["stages"] for block in blocks if block["block"] == name)["full_bloom"]["status"]

    looks = len(demo_client.get(f"{DEMO}/visits?block=west-1").json()["visits"])
    before = stages("west-1")
    answer = demo_client.post(f"{DEMO}/blocks/west-1/rename", json={"to": "west-one"})
    assert answer.json()["block"] == "west-one"
    assert stages("west-one") == before
    assert len(demo_client.get(f"{DEMO}/visits?block=west-one").json()["visits"]) == looks > 0
    taken = demo_client.post(f"{DEMO}/blocks/west-one/rename", json={"to": "west-2"})
    assert_problem(taken, 409, "west-2")
    assert_problem(demo_client.post(f"{DEMO}/blocks/none/rename", json={"to": "x"}), 404, "none")
    assert_problem(demo_client.post(f"{DEMO}/blocks/west-one/rename", json={"to": "West!"}), 422, "body.to")


def test_single_fields_are_changed_and_the_others_stay(vineyard: TestClient) -> None:
    for path, patch in (
        (STATION, {"elevation_m": 12.5}),
        (VINEYARD, {"reach_m": 20.0, "scouting_weekdays": ["mon"]}),
        ("/v1/cultivars/thimble-ash", {"berry_mass_g": 7.5}),
        (f"{VINEYARD}/blocks/b1", {"vines": 9, "neighbours": ["b2"]}),
    ):
        before = vineyard.get(path).json()
        changed = vineyard.patch(path, json=patch)
        assert changed.status_code == 200
        assert changed.json() == vineyard.get(path).json() == {**before, **patch}
        assert "Capfall-Change" in changed.headers
        assert "Capfall-Change" not in vineyard.patch(path, json=patch).headers
        refused: tuple[object, ...] = ({}, {"no_such": 1}, [])
        for bad in refused:
            assert_problem(vineyard.patch(path, json=bad), 422, "body")
        assert vineyard.get(path).json() == {**before, **patch}
    assert_problem(vineyard.patch(STATION, json={"latitude": 91}), 422, "body.latitude")
    assert_problem(vineyard.patch(VINEYARD, json={"station": "none"}), 422, "none")
    assert_problem(vineyard.patch(f"{VINEYARD}/blocks/b1", json={"neighbours": ["b1"]}), 422, "b1")
    for path in ("/v1/stations/none", "/v1/vineyards/none", "/v1/cultivars/none", f"{VINEYARD}/blocks/none"):
        assert_problem(vineyard.patch(path, json={"name": "x"}), 404, "none")


def test_pollen_follows_a_corrected_flower_type_unless_it_was_told_apart(vineyard: TestClient) -> None:
    path = "/v1/cultivars/thimble-ash"

    def pollen_after(**patch: object) -> object:
        return vineyard.patch(path, json=patch).json()["viable_pollen"]

    assert pollen_after(flower_type="perfect") is True
    assert pollen_after(flower_type="pistillate") is False
    assert pollen_after(flower_type="perfect", viable_pollen=False) is False
    assert pollen_after(flower_type="staminate") is False, "told apart before: it stays"
    assert pollen_after(viable_pollen=None) is True
