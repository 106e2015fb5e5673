"""Which fit a vineyard's answers rest on: put in use by what it was made for, or by hand, and never in passing."""

from __future__ import annotations

import datetime as dt
import time
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

from tests.api.asking import STATION, VINEYARD, assert_problem, send_csv
from tests.api.past_seasons import (
    CULTIVARS,
    HEAT,
    SEASONS,
    Days,
    block_heats,
    days_of,
    fitted,
    forecast,
    log_csv,
    plant,
    send,
)

AS_OF = dt.date(2015, 4, 1)
IN_USE = f"{VINEYARD}/fit"
LAST = SEASONS[-1]


@pytest.fixture
def days(client: TestClient) -> Days:
    """A vineyard with the dates of all its seasons but the last, and what the last one's were."""
    plant(client)
    found = days_of(block_heats(np.random.default_rng(5), between_seasons=15, within=10))
    send(client, "bloom-log", log_csv(found, SEASONS[:-1]))
    return found


def in_use(client: TestClient, vineyard: str = VINEYARD) -> dict[str, Any]:
    answer = client.get(f"{vineyard}/fit")
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


def imported(client: TestClient, fit: str, **changed: Any) -> str:
    """A fit of one's own, as if another grower had shared it."""
    document = client.get(f"/v1/fits/{fit}/document").json() | changed
    answer = client.post("/v1/fits/import", json=document)
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])


def neighbour(client: TestClient) -> str:
    """Path of a vineyard beside, with a block of the same cultivar, where nothing was ever noted."""
    path = "/v1/vineyards/beside"
    client.put(path, json={"name": "Beside", "station": "hollow-gauge"})
    planting = f"block,cultivar,flower_type,x_m,y_m\nn,{CULTIVARS[0]},perfect,0,0\n"
    assert send_csv(client, f"{path}/planting", planting).status_code == 200
    return path


def test_an_import_for_other_cultivars_changes_no_answer(client: TestClient, days: Days) -> None:
    assert days
    own = fitted(client)
    before = forecast(client, AS_OF)
    other = imported(client, own["id"], cultivars=["elm", "fir", "gum", "hazel"])
    assert forecast(client, AS_OF) == before
    assert in_use(client)["fit"] == own["id"]
    assert client.put(IN_USE, json={"fit": other}).status_code == 200
    after = forecast(client, AS_OF)
    assert {block["basis"] for block in after["blocks"]} == {"group"}
    assert any("species" in caution for caution in after["cautions"])


def test_a_fit_of_one_question_does_not_displace_the_one_in_use(client: TestClient, days: Days) -> None:
    assert days
    own = fitted(client)
    assert own["in_use_by"] == ["hollow"]
    for asked in (
        {"stages": ["bloom_end"]},
        {"exclude_seasons": [2005]},
        {"heat": {"base_c": 8}, "use": False},
    ):
        other = fitted(client, **asked)
        assert (other["id"] != own["id"], other["in_use_by"]) == (True, [])
    assert in_use(client)["fit"] == own["id"]
    assert fitted(client, heat={"base_c": 8})["in_use_by"] == ["hollow"]
    assert in_use(client)["fit"] != own["id"]


def test_fitting_again_puts_the_same_fit_in_use_again(client: TestClient, days: Days) -> None:
    assert days
    own = fitted(client)
    since = in_use(client)["since"]
    client.put(IN_USE, json={"fit": imported(client, own["id"])})
    assert in_use(client)["fit"] != own["id"]
    again = fitted(client)
    assert (again["id"], again["in_use_by"]) == (own["id"], ["hollow"])
    assert in_use(client)["fit"] == own["id"]
    assert in_use(client)["since"] > since


def test_a_fit_of_all_vineyards_is_put_in_use_where_none_is(client: TestClient, days: Days) -> None:
    assert days
    first = client.post("/v1/fits", json={"heat": HEAT}).json()
    assert first["in_use_by"] == ["hollow"]
    beside = neighbour(client)
    second = client.post("/v1/fits", json={"heat": HEAT}).json()
    assert (second["vineyards"], second["in_use_by"]) == (["beside", "hollow"], ["beside"])
    assert (in_use(client)["fit"], in_use(client, beside)["fit"]) == (first["id"], second["id"])
    listed = client.get("/v1/fits").json()["fits"]
    assert [(fit["vineyards"], fit["imported"], fit["in_use_by"]) for fit in listed] == [
        (["beside", "hollow"], False, ["beside"]),
        (["hollow"], False, ["hollow"]),
    ]


def test_a_vineyard_without_history_takes_a_neighbours_fit_by_hand_and_says_whose(
    client: TestClient, days: Days
) -> None:
    assert days
    own = fitted(client)
    beside = neighbour(client)
    asked = {"as_of": str(AS_OF)}
    told = assert_problem(
        client.get(f"{beside}/forecast", params=asked), 409, "PUT /v1/vineyards/{vineyard}/fit"
    )
    assert told["type"] == "/problems/no-fit-in-use"
    assert in_use(client, beside) == {
        "vineyard": "beside",
        "fit": None,
        "since": None,
        "behind": {"rows": 0, "seasons": 0},
    }
    assert client.put(f"{beside}/fit", json={"fit": own["id"]}).status_code == 201
    answer = client.get(f"{beside}/forecast", params=asked).json()
    assert {block["basis"] for block in answer["blocks"]} == {"imported"}
    assert any("come from vineyard hollow" in caution for caution in answer["cautions"])
    here = forecast(client, AS_OF)
    assert {block["basis"] for block in here["blocks"]} == {"own"}
    assert not any("come from" in caution for caution in here["cautions"])


def test_a_fit_is_deleted_once_no_vineyard_has_it_in_use(client: TestClient, days: Days) -> None:
    assert days
    own = fitted(client)
    told = assert_problem(client.delete(f"/v1/fits/{own['id']}"), 409, "vineyard hollow")
    assert told["type"] == "/problems/in-use"
    fitted(client, heat={"base_c": 8})
    assert client.delete(f"/v1/fits/{own['id']}").status_code == 200
    assert_problem(client.get(f"/v1/fits/{own['id']}"), 404, own["id"])
    assert_problem(client.put(IN_USE, json={"fit": own["id"]}), 404, own["id"])
    assert_problem(client.put("/v1/vineyards/nowhere/fit", json={"fit": own["id"]}), 404, "nowhere")


def test_what_the_log_knows_and_the_fit_does_not(client: TestClient, days: Days) -> None:
    fitted(client)

    def behind() -> tuple[int, int]:
        told = in_use(client)["behind"]
        cautions = [text for text in forecast(client, AS_OF)["cautions"] if "has not seen" in text]
        assert len(cautions) == bool(told["rows"])
        assert all(f"{told['rows']} row" in text for text in cautions)
        return told["rows"], told["seasons"]

    assert behind() == (0, 0)
    send(client, "bloom-log", log_csv(days, [LAST]))
    assert behind() == (3 * len(CULTIVARS), 1)
    fitted(client)
    assert behind() == (0, 0)
    visit = days[LAST - 1, "a"][0]
    send(client, "visits", f"date,block,percent_open\n{visit},a,9\n{days[LAST, 'a'][0]},a,9\n")
    assert behind() == (2, 2)
    send(client, "visits", f"date,block,percent_open\n{dt.date(LAST + 2, 3, 20)},a,0\n")  # the running season
    assert behind() == (2, 2)
    fitted(client)
    gone = client.delete(f"{VINEYARD}/bloom-log/{LAST}/a", params={"stage": "bloom_end"})
    assert behind() == (1, 1)
    assert client.post(f"/v1/changes/{gone.headers['Capfall-Change']}/undo").status_code == 200
    assert behind() == (0, 0)
    # A fit that was made while a date was away does not know it once it is back.
    gone = client.delete(f"{VINEYARD}/bloom-log/{LAST}/a", params={"stage": "bloom_end"})
    fitted(client)
    assert behind() == (0, 0)
    assert client.post(f"/v1/changes/{gone.headers['Capfall-Change']}/undo").status_code == 200
    assert behind() == (1, 1)


def test_a_fit_that_left_seasons_out_or_came_from_elsewhere_is_behind_by_them(
    client: TestClient, days: Days
) -> None:
    assert days
    own = fitted(client)
    without = fitted(client, exclude_seasons=[2005, 2006])
    client.put(IN_USE, json={"fit": without["id"]})
    assert in_use(client)["behind"] == {"rows": 2 * 3 * len(CULTIVARS), "seasons": 2}
    client.put(IN_USE, json={"fit": imported(client, own["id"])})
    past = len(SEASONS) - 1
    assert in_use(client)["behind"] == {"rows": past * 3 * len(CULTIVARS), "seasons": past}


def test_a_new_fit_is_taken_back_with_its_use(client: TestClient, days: Days) -> None:
    fitted(client)
    before, told = in_use(client), forecast(client, AS_OF)
    send(client, "bloom-log", log_csv(days, [LAST]))
    made = client.post("/v1/fits", json={"heat": HEAT, "vineyards": ["hollow"]})
    assert forecast(client, AS_OF)["blocks"] != told["blocks"]
    assert client.post(f"/v1/changes/{made.headers['Capfall-Change']}/undo").status_code == 200
    after = in_use(client)
    assert (after["fit"], after["since"]) == (before["fit"], before["since"])
    assert forecast(client, AS_OF)["blocks"] == told["blocks"]
    preview = client.post("/v1/fits", params={"preview": True}, json={"heat": HEAT, "vineyards": ["hollow"]})
    assert (preview.json()["in_use_by"], in_use(client)) == (["hollow"], after)
    assert "Capfall-Change" not in preview.headers


@pytest.mark.slow
def test_a_fit_is_made_in_the_background_where_that_is_preferred(client: TestClient, days: Days) -> None:
    assert days
    body = {"heat": HEAT, "vineyards": ["hollow"]}
    headers = {"Prefer": "wait=5, Respond-Async"}
    nothing = client.post("/v1/fits", json={**body, "stages": ["veraison"]}, headers=headers)
    assert_problem(nothing, 422, "no date of veraison")
    answer = client.post("/v1/fits", json=body, headers=headers)
    assert (answer.status_code, answer.headers["Preference-Applied"]) == (202, "respond-async")
    for _ in range(1200):
        job = client.get(answer.headers["Location"]).json()
        if job["state"] in ("done", "failed"):
            break
        time.sleep(0.1)
    assert (job["state"], job["kind"]) == ("done", "fit"), job
    assert job["result"] == {"fit": f"/v1/fits/{job['fit']}"}
    assert in_use(client)["fit"] == job["fit"]
    assert client.post("/v1/fits", json=body).json()["id"] == job["fit"]


@pytest.mark.parametrize("heat", [{"base_c": 50}, {"base_c": -1}, {"base_f": 31}, {"base_f": 69}])
def test_a_base_out_of_bounds_is_refused_everywhere(
    client: TestClient, days: Days, heat: dict[str, float]
) -> None:
    assert days
    ((name, base),) = heat.items()
    refused = client.post("/v1/fits", json={"heat": heat})
    (error,) = assert_problem(refused, 422, "0 to 20 °C (32 to 68 °F)")["errors"]
    assert error["where"] == f"body.heat.{name}"
    asked = {"base": base, "units": "us" if name == "base_f" else "metric"}
    refused = client.get(f"{STATION}/degree-days", params=asked)
    assert assert_problem(refused, 422, "0 to 20 °C (32 to 68 °F)")["errors"][0]["where"] == "query.base"
    assert client.get("/v1/fits").json()["fits"] == []


def test_a_shared_fit_with_a_base_out_of_bounds_is_refused(client: TestClient, days: Days) -> None:
    assert days
    document = client.get(f"/v1/fits/{fitted(client)['id']}/document").json()
    refused = client.post("/v1/fits/import", json={**document, "heat": {**document["heat"], "base_c": 50.0}})
    assert assert_problem(refused, 422, "0 to 20 °C")["errors"][0]["where"] == "heat.base_c"


def test_a_sum_that_every_season_passes_at_once_is_refused(client: TestClient) -> None:
    plant(client)
    log = "".join(
        f"{season},{key},{season}-04-{22 + place}\n" for season in SEASONS for place, key in enumerate("abcd")
    )
    send(client, "bloom-log", f"season,block,bloom_start\n{log}")
    late = {"heat": {**HEAT, "accumulate_from": "04-20"}, "vineyards": ["hollow"]}
    told = assert_problem(
        client.post("/v1/fits", json=late), 422, "within 14 days of the start", "accumulate_from"
    )
    assert {error["where"] for error in told["errors"]} == {"heat"}
    assert fitted(client, heat={**HEAT, "accumulate_from": "03-01"})["in_use_by"] == ["hollow"]


def test_few_seasons_are_said_to_be_few_and_many_are_not(client: TestClient) -> None:
    plant(client)
    random = np.random.default_rng(4)
    heats = block_heats(random, between_seasons=100, within=10)
    found = days_of(heats)
    found = {key: dates for key, dates in found.items() if key[1] != "d" or key[0] > LAST - 2}
    send(client, "bloom-log", log_csv(found))
    fit = fitted(client)
    answer = forecast(client, AS_OF)
    bases = {block["cultivar"]: block["basis"] for block in answer["blocks"]}
    assert "pooled" in {bases[cultivar] for cultivar in CULTIVARS[:3]}, fit["cultivars"]
    (caution,) = [text for text in answer["cautions"] if text.startswith("Few seasons")]
    assert caution.startswith("Few seasons of dogwood are known")


def test_putting_a_fit_in_use_honours_if_match(client: TestClient, days: Days) -> None:
    first = fitted(client)["id"]
    second = fitted(client, exclude_seasons=[SEASONS[0]])["id"]
    read = client.get(IN_USE).headers["ETag"]
    send(client, "bloom-log", log_csv(days, [LAST]))  # news of the log are no other fit
    assert client.get(IN_USE).headers["ETag"] == read
    put = client.put(IN_USE, json={"fit": second}, headers={"If-Match": read})
    assert (put.status_code, put.json()["fit"]) == (200, second)
    assert put.headers["ETag"] == client.get(IN_USE).headers["ETag"] != read
    assert_problem(
        client.put(IN_USE, json={"fit": first}, headers={"If-Match": read}), 412, "since you read it"
    )
    assert in_use(client)["fit"] == second
    assert client.put(IN_USE, json={"fit": first}, headers={"If-Match": "*"}).status_code == 200
