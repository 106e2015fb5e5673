"""The report from files alone: what the stored way answers, nothing kept, every fault with file and line."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

import demo_weather
from tests.api.asking import Answer, assert_problem

pytestmark = pytest.mark.slow

AS_OF = demo_weather.AS_OF.isoformat()
REPORT = "/v1/bloom-report"
Files = dict[str, bytes]


def demo_files() -> Files:
    return {name.removesuffix(".csv"): content for name, content in demo_weather.files().items()}


def sent(client: TestClient, files: Files, **form: Any) -> Answer:
    parts = {name: (f"{name}.csv", content) for name, content in files.items()}
    return client.post(REPORT, files=parts, data={"as_of": AS_OF, "search": "false", **form})


def test_the_report_says_what_the_stored_way_says(client: TestClient, demo_client: TestClient) -> None:
    answer = sent(client, demo_files(), latitude=demo_weather.STATION.latitude)
    assert answer.status_code == 200, answer.text
    report = answer.json()
    (listed,) = demo_client.get("/v1/fits").json()["fits"]
    fit = demo_client.get(f"/v1/fits/{listed['id']}").json()
    for field in ("heat", "stages", "seasons", "running_seasons", "spread", "cultivars", "set_aside"):
        assert report["fit"][field] == fit[field], field
    vineyard = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
    stored = demo_client.get(f"{vineyard}/pollination", params={"as_of": AS_OF}).json()

    foreseen = demo_client.get(f"{vineyard}/forecast", params={"as_of": AS_OF}).json()
    told = {block["block"]: block["stages"] for block in report["forecast"]["blocks"]}
    assert told == {block["block"]: block["stages"] for block in foreseen["blocks"]}

    def codes(blocks: list[dict[str, Any]]) -> dict[str, list[str]]:
        return {block["block"]: [warning["code"] for warning in block["warnings"]] for block in blocks}

    assert codes(report["pollination"]["pistillate_blocks"]) == codes(stored["pistillate_blocks"])
    cautions = report["cautions"]
    assert set(cautions) == {*report["forecast"]["cautions"], *report["pollination"]["cautions"]}
    assert len(cautions) == len(set(cautions))
    assert not any("orthern hemisphere" in caution for caution in cautions)
    assert report["forecast"]["outlook_through"] == "2026-05-26"


def test_nothing_is_stored_and_the_same_files_have_the_same_bytes(client: TestClient) -> None:
    first = sent(client, demo_files())
    assert sent(client, demo_files()).content == first.content
    for kind in ("stations", "cultivars", "vineyards", "fits"):
        assert client.get(f"/v1/{kind}").json()[kind] == []
    assert any("orthern hemisphere" in caution for caution in first.json()["cautions"])


def test_what_the_files_hold_is_told(client: TestClient) -> None:
    uploads = sent(client, demo_files()).json()["uploads"]
    weather = uploads["temperatures"]
    assert weather["missing_values"] == 1
    assert {"from": "2019-04-09", "to": "2019-04-14", "days": 6} in weather["gaps"]
    assert "full_bloom 2021-06-08" in uploads["bloom_log"]["warnings"][0]
    assert uploads["visits"]["rows_read"] == 12
    without = sent(client, {key: demo_files()[key] for key in ("temperatures", "planting", "bloom_log")})
    assert without.json()["uploads"]["outlook"] is None


def test_nothing_dated_later_is_looked_at(client: TestClient) -> None:
    parts = ("fit", "forecast", "pollination")
    before = sent(client, demo_files()).json()
    files = demo_files()
    files["temperatures"] += b"2026-05-20,25,44\n2026-05-21,25,44\n"
    files["bloom_log"] += b"2026,west-4,,2026-05-21,2026-05-22,,1\n"
    files["visits"] += b"2026-05-21,west-2,99,\n"
    after = sent(client, files).json()
    assert after["uploads"] != before["uploads"]
    assert [after[part] for part in parts] == [before[part] for part in parts]
    files["visits"] += b"2026-05-20,west-2,99,\n"
    assert sent(client, files).json()["forecast"] != before["forecast"]


def test_an_earlier_day_knows_nothing_of_the_seasons_after_it(client: TestClient) -> None:
    as_of, files = "2024-05-15", demo_files()
    del files["outlook"], files["visits"]
    whole = sent(client, files, as_of=as_of).json()
    header, *rows = files["temperatures"].decode().splitlines()
    cut = [header, *(row for row in rows if row < as_of)]
    header, *rows = files["bloom_log"].decode().splitlines()
    log = [header]
    for row in rows:
        season, block, *dates, checked = row.split(",")
        log.append(",".join([season, block, *(date if date <= as_of else "" for date in dates), checked]))
    files |= {"temperatures": "\n".join(cut).encode(), "bloom_log": "\n".join(log).encode()}
    known = sent(client, files, as_of=as_of).json()
    assert whole["fit"]["seasons"] == list(range(2013, 2024))
    for part in ("fit", "forecast", "pollination"):
        assert whole[part] == known[part], part


def test_the_options_count(client: TestClient) -> None:
    files = demo_files()
    files["temperatures"] = files["temperatures"].replace(b"tmin_c,tmax_c", b"tmin,tmax", 1)
    files["outlook"] = files["outlook"].replace(b"tmin_c,tmax_c", b"tmin,tmax", 1)
    assert_problem(sent(client, files), 422, "temperatures", "unit")
    report = sent(client, files, unit="C", units="us", interval=0.5, reach_m=30).json()
    assert report["fit"]["heat_unit"] == report["forecast"]["heat_unit"] == "degF_day"
    assert report["forecast"]["interval"] == 0.5
    blocks = {block["block"]: block for block in report["pollination"]["pistillate_blocks"]}
    assert [source["block"] for source in blocks["north-1"]["sources"]]


def _line(content: bytes, number: int, text: str) -> bytes:
    lines = content.splitlines()
    lines[number - 1] = text.encode()
    return b"\n".join(lines)


@pytest.mark.parametrize(
    ("name", "number", "text", "said"),
    [
        ("temperatures", 5, "2012-02-31,1,2", "temperatures: line 5"),
        ("planting", 3, "west-2,Copper Lull,shy,9,0,24,no,9", "planting: line 3"),
        ("bloom_log", 4, "2013,west-99,2013-03-15,,,,1", "bloom_log: line 4"),
        ("visits", 2, "2026-05-08,west-1,180,", "visits: line 2"),
        ("outlook", 2, "2026-05-20,warm,32", "outlook: line 2"),
    ],
)
def test_a_fault_is_told_with_its_file_and_line(
    client: TestClient, name: str, number: int, text: str, said: str
) -> None:
    files = demo_files()
    files[name] = _line(files[name], number, text)
    problem = assert_problem(sent(client, files), 422, said)
    assert problem["detail"].startswith(f"{name}: ")
    skipped = sent(client, files, on_bad_rows="skip")
    if name == "planting":  # a block of the log is then unknown
        skipped = sent(client, {key: files[key] for key in files if key != "visits"}, on_bad_rows="skip")
    assert skipped.status_code == 200, skipped.text
    assert skipped.json()["uploads"][name]["bad_rows"][0]["line"] == number


def test_what_makes_no_report_is_told(client: TestClient) -> None:
    files = demo_files()
    assert_problem(sent(client, {key: files[key] for key in ("temperatures", "planting")}), 422, "bloom_log")
    assert_problem(
        sent(client, {key: files[key] for key in ("temperatures", "visits")}), 422, "body.planting"
    )
    assert_problem(sent(client, {**files, "bloomlog": b"x"}), 422, "body.bloomlog")
    assert_problem(sent(client, files, intervall=0.5), 422, "body.intervall")
    assert_problem(sent(client, files, latitude=91), 422, "body.latitude")
    assert_problem(sent(client, files, as_of="2012-01-01"), 422, "begin on 2012-01-01")
    assert_problem(sent(client, {**files, "temperatures": b""}), 422, "temperatures: ", "empty")
    assert_problem(client.post(REPORT, json={}), 415, "multipart/form-data")
    assert_problem(client.post(REPORT, content=b"x", headers={"Content-Type": "text/csv"}), 415)
    form = {"Content-Type": "multipart/form-data; boundary=x"}
    assert_problem(client.post(REPORT, content=b"no form", headers=form), 400)
    assert_problem(sent(client, {**files, "visits": b"9" * 21_000_000}), 413, "20000000")
    as_text = client.post(REPORT, files={"planting": ("p.csv", b"x")}, data={"temperatures": "1,2"})
    assert_problem(as_text, 422, "body.temperatures")


def test_only_this_machine_is_served(client: TestClient) -> None:
    answer = client.post(REPORT, headers={"Host": "farm.example"}, files={"planting": ("p.csv", b"x")})
    assert_problem(answer, 403)
