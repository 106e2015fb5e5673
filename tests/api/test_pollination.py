"""Pollen cover of the demo's vineyard: its three weak blocks, what removing a source does, and what mends a gap."""

from __future__ import annotations

import datetime as dt
from typing import Any

from fastapi.testclient import TestClient

import demo_weather
from service.words.plain import in_words, percent, short_span
from tests.api.asking import assert_problem

VINEYARD = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
AS_OF = {"as_of": demo_weather.AS_OF.isoformat()}


def cover(client: TestClient) -> dict[str, dict[str, Any]]:
    answer = client.get(f"{VINEYARD}/pollination", params=AS_OF)
    assert answer.status_code == 200, answer.text
    return {block["block"]: block for block in answer.json()["pistillate_blocks"]}


def told(block: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {warning["code"]: warning for warning in block["warnings"]}


def change(client: TestClient, path: str, **fields: object) -> None:
    """Replace a few fields of a stored thing."""
    body = client.get(path).json()
    del body[path.split("/")[-2].removesuffix("s")]
    assert client.put(path, json=body | fields).status_code == 200


def test_the_three_weak_blocks_carry_their_warnings(demo_client: TestClient) -> None:
    blocks = cover(demo_client)
    bloom = {
        block["block"]: block["stages"]
        for block in demo_client.get(f"{VINEYARD}/forecast", params=AS_OF).json()["blocks"]
    }
    out_of_reach = told(blocks["north-1"])["no_pollen_source_in_reach"]
    assert (out_of_reach["level"], out_of_reach["chance"]) == ("act", 1.0)
    assert blocks["north-1"]["sources"] == []
    early = told(blocks["west-4"])["pollen_ends_early"]
    assert early["level"] == "act"
    assert early["chance"] > 0.9
    assert "west-3" in early["message"]
    assert bloom["west-3"]["bloom_end"]["median"] < early["from"] < early["to"]
    assert early["to"] >= bloom["west-4"]["bloom_end"]["median"]
    days = [dt.date.fromisoformat(each["date"]) for each in early["bouquets"]]
    gap = dt.date.fromisoformat(early["to"]) - dt.date.fromisoformat(early["from"])
    assert days == [days[0] + dt.timedelta(days=place) for place in range(gap.days + 1)]
    assert early["bouquets"][0]["date"] == early["from"]
    assert early["bouquets"][0]["renew"]
    assert {block for each in early["bouquets"] for block in each["blocks"]} == {
        donor["block"] for donor in early["donors"]
    }
    assert "common practice in apple, no source for muscadine" in early["message"]
    single = told(blocks["middle-2"])["single_pollen_source"]
    assert (single["level"], single["chance"]) == ("watch", 1.0)
    assert "middle-1" in single["message"]
    stages = bloom["middle-2"]
    assert (single["from"], single["to"]) == (
        stages["bloom_start"]["median"],
        stages["bloom_end"]["median"],
    )
    (source,) = blocks["middle-2"]["sources"]
    assert source["share_lost_without_it"] == source["share_of_bloom_covered"]
    assert not told(blocks["middle-3"])
    assert blocks["west-4"]["uncovered_days"]["median"] > blocks["middle-3"]["uncovered_days"]["median"] == 0


def test_without_the_late_source_the_right_warnings_come(demo_client: TestClient) -> None:
    before = cover(demo_client)
    assert [source["block"] for source in before["middle-3"]["sources"]] == ["middle-4", "middle-1"]
    change(demo_client, f"{VINEYARD}/blocks/middle-4", x_m=960.0)  # the late one, out of reach
    after = cover(demo_client)
    warnings = told(after["middle-3"])
    assert set(warnings) == {"pollen_ends_early", "single_pollen_source"}
    assert warnings["pollen_ends_early"]["level"] == "act"
    assert "middle-1" in warnings["pollen_ends_early"]["message"]
    lost = before["middle-3"]["sources"][0]["share_lost_without_it"]
    share = before["middle-3"]["share_of_bloom_covered"]["median"] - lost
    assert abs(after["middle-3"]["share_of_bloom_covered"]["median"] - share) < 0.02
    left = told(after["middle-5"])  # middle-6 stands by it still
    assert "middle-6" in left["single_pollen_source"]["message"]
    assert "act" not in {warning["level"] for warning in left.values()}
    change(demo_client, f"{VINEYARD}/blocks/middle-6", x_m=960.0)
    assert set(told(cover(demo_client)["middle-5"])) == {"no_pollen_source_in_reach"}
    for block in ("west-2", "west-4", "north-1", "middle-2"):
        for found in (before, after):
            del found[block]["at_other_reach"]  # the late one stands in double the reach of north-1
        assert after[block] == before[block]


def test_a_cultivar_that_the_planting_check_names_closes_the_gap(demo_client: TestClient) -> None:
    check = demo_client.get(f"{VINEYARD}/planting-check").json()
    (exposed,) = [block for block in check["blocks"] if block["block"] == "west-4"]
    best = exposed["would_help"][0]
    assert (exposed["exposed"], best["closes_gap"], best["ask"]) == (True, True, None)
    before = cover(demo_client)["west-4"]
    beside = demo_client.get(f"{VINEYARD}/blocks/west-4").json()
    new = {"cultivar": best["cultivar"], "x_m": beside["x_m"] + 5, "y_m": beside["y_m"]}
    assert demo_client.put(f"{VINEYARD}/blocks/west-5", json=new).status_code == 201
    after = cover(demo_client)["west-4"]
    assert "pollen_ends_early" in told(before)
    assert "pollen_ends_early" not in told(after)
    assert after["share_of_bloom_covered"]["median"] > 0.9 > before["share_of_bloom_covered"]["median"]
    assert "west-5" in {source["block"] for source in after["sources"][:2]}
    again = demo_client.get(f"{VINEYARD}/planting-check").json()["blocks"]
    assert not next(block for block in again if block["block"] == "west-4")["exposed"]


def test_flower_days_of_the_vineyard_and_of_a_cultivar(demo_client: TestClient) -> None:
    before = cover(demo_client)
    change(demo_client, "/v1/cultivars/gourd-rafter", pollen_days=9)
    own = cover(demo_client)

    def share(blocks: dict[str, dict[str, Any]]) -> float:
        return float(blocks["west-4"]["share_of_bloom_covered"]["median"])

    assert share(own) > share(before) + 0.1
    assert own["middle-2"] == before["middle-2"]
    cautions = demo_client.get(f"{VINEYARD}/pollination", params=AS_OF).json()["cautions"]
    assert any("of their own are set for gourd-rafter" in caution for caution in cautions)
    change(demo_client, VINEYARD, pollen_days=9, receptive_days=1)
    body = demo_client.get(f"{VINEYARD}/pollination", params=AS_OF).json()
    assert (body["pollen_days"], body["receptive_days"]) == (9, 1)
    for path in ("/v1/cultivars/gourd-rafter", VINEYARD):
        body = demo_client.get(path).json()
        del body[path.split("/")[-2].removesuffix("s")]
        assert_problem(demo_client.put(path, json=body | {"pollen_days": 0}), 422, "body.pollen_days")


def test_the_planting_check_asks_for_the_flower_type_of_a_cultivar_that_only_the_fit_knows(
    demo_client: TestClient,
) -> None:
    fit = demo_client.get("/v1/fits").json()["fits"][0]["id"]
    document = demo_client.get(f"/v1/fits/{fit}/document").json()
    # the same thresholds under a name that sorts into the same place
    document["cultivars"] = [
        "tallow-plank" if cultivar == "tallow-moth" else cultivar for cultivar in document["cultivars"]
    ]
    imported = demo_client.post("/v1/fits/import", json=document)
    assert imported.status_code == 201, imported.text
    check = demo_client.get(f"{VINEYARD}/planting-check", params={"fit": imported.json()["id"]}).json()
    (alone,) = [block for block in check["blocks"] if block["block"] == "north-1"]
    best = alone["would_help"][0]
    assert (best["cultivar"], best["closes_gap"]) == ("tallow-plank", True)
    assert best["ask"].startswith("Is tallow-plank self-fertile or male, with viable pollen?")


def spans(found: list[dict[str, Any]]) -> list[tuple[str, str]]:
    return [(run["from"], run["to"]) for run in found]


def test_uncovered_days_have_a_chance_each_and_every_exit_names_the_same(demo_client: TestClient) -> None:
    blocks = cover(demo_client)
    runs = {key: block["uncovered"] for key, block in blocks.items()}
    for run in (run for found in runs.values() for run in found):
        first, last = (dt.date.fromisoformat(run[end]) for end in ("from", "to"))
        assert len(run["days"]) == (last - first).days + 1
        assert run["chance"] == max(run["days"])
        assert run["level"] == ("act" if run["chance"] >= 0.5 else "watch")
        assert min(run["days"]) >= (0.5 if run["level"] == "act" else 0.2)
        assert 0.02 <= run["share_of_bloom"] <= 1
    (late,) = runs["west-4"]
    assert late["level"] == "act"
    assert late["chance"] < 0.99  # no day is as sure as that one of them comes
    lacking = {
        "west-4": "pollen_ends_early",
        "north-1": "no_pollen_source_in_reach",
        "east-2": "no_viable_pollen",
    }
    feed = demo_client.get(f"{VINEYARD}/calendar.ics", params=AS_OF).text.replace("\r\n ", "")
    page = demo_client.get(f"/vineyards/{demo_weather.VINEYARD.key}", params=AS_OF).text
    on_map = demo_client.get(f"/vineyards/{demo_weather.VINEYARD.key}/map", params=AS_OF).text
    for key, code in lacking.items():
        warning = told(blocks[key])[code]
        assert [(warning["from"], warning["to"])] == spans(runs[key])
        first, last = (dt.date.fromisoformat(end) for end in spans(runs[key])[0])
        assert f"from {in_words(first)} to {in_words(last)}" in warning["message"]
        chance = runs[key][0][
            "chance"
        ]  # JSON rounds to thousandths; words only say of all what is in all draws
        opening = f"o pollen likely from {in_words(first)} to {in_words(last)}: "
        (said,) = (
            text
            for text in {f"{opening}{percent(each)} chance" for each in (chance, min(chance, 0.9999))}
            if text in on_map
        )
        assert short_span(first, last) in page
        (event,) = (event for event in feed.split("BEGIN:VEVENT") if said in event)
        assert f"DTSTART;VALUE=DATE:{first:%Y%m%d}" in event
        assert f"DTEND;VALUE=DATE:{last + dt.timedelta(days=1):%Y%m%d}" in event
    share = f"{percent(late['share_of_bloom'])} of west-4"
    assert share in told(blocks["west-4"])["pollen_ends_early"]["message"]


def test_cover_is_said_to_be_that_of_listed_sources(demo_client: TestClient) -> None:
    page = demo_client.get(f"/vineyards/{demo_weather.VINEYARD.key}", params=AS_OF).text
    assert "None of its flowers open while a listed source sheds" in page
    assert "of its flowers open while a listed source sheds (" in page
    assert "of its bloom" not in page.split('id="bloom"')[1].split('id="trips"')[0].replace("bloom from", "")
    answer = demo_client.get(f"{VINEYARD}/pollination", params=AS_OF).json()
    assert any("wild vines" in caution for caution in answer["cautions"])


def test_a_source_marked_as_frosted_or_made_worse_never_raises_cover(demo_client: TestClient) -> None:
    def medians() -> dict[str, float]:
        return {
            key: block["share_of_bloom_covered"]["median"]
            for key, block in cover(demo_client).items()
            if block["share_of_bloom_covered"]
        }

    before, alarm = medians(), told(cover(demo_client)["west-4"])["pollen_ends_early"]
    mark = f"{VINEYARD}/blocks/west-3/frost/2026"
    assert demo_client.put(mark).status_code == 201
    frosted = cover(demo_client)["west-4"]
    # west-3 is the last source to end: without it pollen ends earlier still, not later
    after = told(frosted)["pollen_ends_early"]
    assert (after["level"], after["chance"] >= alarm["chance"] - 0.01) == ("act", True)
    assert "west-1" in after["message"]
    assert any("west-3" in w["message"] and "frosted" in w["message"] for w in frosted["warnings"])
    assert (
        "marked as frosted: not counted on"
        in demo_client.get(f"/vineyards/{demo_weather.VINEYARD.key}", params=AS_OF).text
    )
    marked = medians()
    assert marked["west-4"] < before["west-4"]
    assert all(marked[key] <= before[key] for key in before)
    without_it = answers_of(cover(demo_client))
    demo_client.delete(mark)
    change(demo_client, f"{VINEYARD}/blocks/west-3", x_m=960.0)
    moved = medians()
    assert all(moved[key] <= before[key] for key in before)
    # A frosted source gives no pollen, and what was seen in it teaches nothing about others: a mark is worth exactly
    # what a source out of reach is that nobody visited this season.
    visits = demo_client.get(f"{VINEYARD}/visits", params={"block": "west-3", "from": "2026-01-01"}).json()
    assert visits["visits"]
    for visit in visits["visits"]:
        assert demo_client.delete(f"{VINEYARD}/visits/{visit['visit']}").status_code == 200
    assert answers_of(cover(demo_client)) == without_it


def answers_of(blocks: dict[str, dict[str, Any]]) -> dict[str, list[Any]]:
    """By block, what is said of its cover, to the last digit."""
    fields = ("sources", "share_of_bloom_covered", "uncovered_days", "uncovered")
    return {key: [block[field] for field in fields] for key, block in blocks.items()}


def test_once_its_days_are_over_a_warning_tells_what_happened(demo_client: TestClient) -> None:
    after = {"as_of": "2026-07-20"}
    answer = demo_client.get(f"{VINEYARD}/pollination", params=after).json()
    blocks = {block["block"]: block for block in answer["pistillate_blocks"]}
    warnings = [warning for block in blocks.values() for warning in block["warnings"]]
    assert told(blocks["west-4"])["pollen_ends_early"]["past"]
    assert {warning["level"] for warning in warnings} == {"watch"}
    assert not [
        warning for warning in warnings if warning["donors"] or "Place flowering" in warning["message"]
    ]
    assert "is thought to have finished" in told(blocks["west-4"])["pollen_ends_early"]["message"]
    feed = demo_client.get(f"{VINEYARD}/calendar.ics", params=after).text.replace("\r\n ", "")
    assert "SUMMARY:Past: block west-4" in feed
    assert "SUMMARY:Act" not in feed
    page = demo_client.get(f"/vineyards/{demo_weather.VINEYARD.key}", params=after).text
    assert "Place flowering" not in page


def test_shoots_are_advised_from_blocks_with_open_viable_anthers_then(demo_client: TestClient) -> None:
    warning = told(cover(demo_client)["west-4"])["pollen_ends_early"]
    bloom = {
        block["block"]: block
        for block in demo_client.get(f"{VINEYARD}/forecast", params=AS_OF).json()["blocks"]
    }
    assert warning["donors"]
    for donor in warning["donors"]:
        block = bloom[donor["block"]]
        assert block["flower_type"] == "perfect"
        assert block["stages"]["bloom_start"]["low"] <= donor["from"] <= donor["to"] <= warning["to"]
        assert donor["from"] >= warning["from"]
        assert donor["to"] <= block["stages"]["bloom_end"]["high"]
        assert f"block {donor['block']} (" in warning["message"] or len(warning["donors"]) > 4
    best = warning["donors"][0]["block"]
    change(demo_client, f"/v1/cultivars/{bloom[best]['cultivar']}", viable_pollen=False)
    after = told(cover(demo_client)["west-4"])["pollen_ends_early"]
    assert best not in [donor["block"] for donor in after["donors"]]


def test_the_study_that_found_no_trouble_is_told_beside_the_warnings(demo_client: TestClient) -> None:
    answer = demo_client.get(f"{VINEYARD}/pollination", params=AS_OF).json()
    assert any("Gupton 1998" in caution for caution in answer["cautions"])
    page = demo_client.get(f"/vineyards/{demo_weather.VINEYARD.key}", params=AS_OF).text
    assert "pollination may not be a problem in present cultivars" in page
    on_map = demo_client.get(f"/vineyards/{demo_weather.VINEYARD.key}/map").text
    assert "needs none" not in on_map


def test_set_is_counted_on_clusters_counted_before_and_crop_load_knows_no_berry_mass(
    demo_client: TestClient,
) -> None:
    def tasks(**query: str) -> dict[tuple[str, str], dict[str, Any]]:
        answer = demo_client.get(f"{VINEYARD}/scouting", params={**AS_OF, **query}).json()
        return {
            (task["block"], task["task"]): {**task, "on": trip["date"]}
            for trip in answer["trips"]
            for task in trip["tasks"]
        }

    before = tasks()
    fruiting = {block for block, kind in before if kind == "set_count"}
    assert fruiting == {block for block, kind in before if kind == "crop_load"}
    later = [block for block, kind in before if kind == "flower_count"]
    assert later
    for block in later:
        assert before[block, "flower_count"]["on"] < before[block, "set_count"]["on"]
    assert "marked before bloom" in before[later[0], "set_count"]["look_for"]
    change(demo_client, "/v1/cultivars/lantern-hush", berry_mass_g=16.0)
    assert tasks() == before


def test_the_answer_at_half_and_at_double_the_reach_where_it_matters(demo_client: TestClient) -> None:
    path = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
    fresh = demo_client.put("/v1/vineyards/elsewhere", json={"name": "Elsewhere"})
    assert fresh.json()["reach_m"] == 15.24
    blocks = cover(demo_client)
    (half,) = blocks["middle-2"]["at_other_reach"][:1]
    assert (half["reach_m"], half["reach_ft"]) == (7.62, 25.0)
    for key, block in blocks.items():
        for other in block["at_other_reach"]:
            assert sorted(other["sources"]) != sorted(source["block"] for source in block["sources"]), key
    assert "were pollen carried 7.62 m (25 ft): " in demo_client.get(
        f"/vineyards/{demo_weather.VINEYARD.key}", params=AS_OF
    ).text.replace("Were pollen", "were pollen")
    change(demo_client, path, reach_m=7.62)
    after = cover(demo_client)
    for key, block in blocks.items():
        for other in block["at_other_reach"]:
            if other["reach_m"] == 7.62:
                assert after[key]["share_of_bloom_covered"] == other["share_of_bloom_covered"]
                assert sorted(source["block"] for source in after[key]["sources"]) == sorted(other["sources"])


def test_wild_males_make_warnings_less_certain_in_words_and_hide_none(demo_client: TestClient) -> None:
    def answer() -> dict[str, Any]:
        found: dict[str, Any] = demo_client.get(f"{VINEYARD}/pollination").json()
        return found

    before = answer()
    assert demo_client.patch(VINEYARD, json={"wild_males": "many"}).json()["wild_males"] == "many"
    after = answer()
    assert after["pistillate_blocks"] == before["pistillate_blocks"]
    assert any("many wild males stand nearby" in caution for caution in after["cautions"])
    assert not any("wild males stand nearby" in caution for caution in before["cautions"])
    found = demo_client.post(f"{VINEYARD}/layout", json={"seasons": 0.5}).json()
    assert any("many wild males" in caution for caution in found["cautions"])
    assert_problem(demo_client.patch(VINEYARD, json={"wild_males": "a few"}), 422, "wild_males")
