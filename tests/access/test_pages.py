"""Sign in on a page, add a phone, and pages of several growers."""

from __future__ import annotations

import datetime as dt
import re
from html import unescape

import pytest
from fastapi.testclient import TestClient

from service import clock
from service.board.phones import picture
from service.usecases.keys import digest_of
from tests.access.conftest import HOST, OWN_PAGE, Door
from tests.api.asking import VINEYARD, Answer, put_vineyard

FORM = {**OWN_PAGE, "Content-Type": "application/x-www-form-urlencoded"}


def sign_in(door: Door, secret: str, *, host: str = HOST, **fields: str) -> tuple[TestClient, Answer]:
    """A browser that has sent the form."""
    browser = door.client(host=host)
    answer = browser.post("/sign-in", data={"key": secret, **fields}, headers={"Origin": host})
    return browser, answer


def test_who_is_not_signed_in_is_asked_for_a_key(door: Door) -> None:
    answer = door.client().get("/vineyards/hollow?as_of=2026-05-20")
    assert answer.status_code == 401
    assert 'name="key"' in answer.text
    assert 'name="to" value="/vineyards/hollow?as_of=2026-05-20"' in answer.text
    assert door.client().get("/sign-in").status_code == 200


def test_signed_in_one_stays_so_until_one_signs_out(door: Door) -> None:
    _, secret = door.key("Ann", "manage", "ann")
    browser, answer = sign_in(door, secret, to="/roster")
    assert (answer.status_code, answer.headers["location"]) == (303, "/roster")
    assert "you are signed in as Ann" in browser.get("/roster").text.replace("You", "you")
    assert browser.get("/v1/me").json()["name"] == "Ann"
    assert browser.post("/sign-out", headers=OWN_PAGE).status_code == 303
    assert browser.get("/roster").status_code == 401


def test_the_cookie_is_out_of_reach_of_scripts_other_sites_and_plain_connections(door: Door) -> None:
    _, secret = door.key("Ann", "manage", "ann")
    cookie = sign_in(door, secret)[1].headers["set-cookie"]
    assert cookie.startswith("__Host-capfall=")
    assert {"HttpOnly", "Secure", "Path=/", "SameSite=lax"} <= set(cookie.split("; "))
    assert "Max-Age" not in cookie
    assert "Max-Age" in sign_in(door, secret, stay="true")[1].headers["set-cookie"]
    plain = sign_in(door, secret, host="http://vines.example")[1].headers["set-cookie"]
    assert plain.startswith("capfall=")
    assert "Secure" not in plain


@pytest.mark.usefixtures("quick_refusals")
def test_a_wrong_key_is_told_on_the_page(door: Door) -> None:
    link = door.key("x", "calendar", "ann", vineyard="hollow")[1]
    for wrong, said in (("wrong", "is not known"), ("", "is not known"), (link, "calendar link")):
        _, answer = sign_in(door, wrong)
        assert answer.status_code == 401
        assert said in answer.text
        assert 'href="/?lang=es" lang="es"' in answer.text
        assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("to", ["https://evil.example", "//evil.example", "/\\evil.example", "", "/\r\nX: y"])
def test_signing_in_leads_nowhere_else(door: Door, to: str) -> None:
    _, secret = door.key("Ann", "manage", "ann")
    assert sign_in(door, secret, to=to)[1].headers["location"] == "/"


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://[::1"},
        {"Origin": f"{HOST}.evil.example"},
        {"Origin": HOST, "Sec-Fetch-Site": "cross-site"},
        {"Origin": HOST, "Sec-Fetch-Site": "same-site"},
    ],
)
def test_forms_of_other_sites_do_nothing(door: Door, headers: dict[str, str]) -> None:
    _, secret = door.key("Ann", "manage", "ann")
    browser, _ = sign_in(door, secret)
    for path in ("/phones", "/sign-out", "/sign-in", "/phone/x", "/v1/keys"):
        answer = browser.post(path, headers=headers, data={"name": "x", "key": secret})
        assert answer.status_code == 403, (path, answer.text)
        assert "set-cookie" not in answer.headers
    with door.store.access(read_only=True) as access:
        assert len(access.all_keys()) == 1
    assert browser.get("/roster").status_code == 200


def test_a_phone_in_a_minute(door: Door) -> None:
    desk, _ = sign_in(door, door.key("Ann", "manage", "ann")[1])
    put_vineyard(door.client_of("manage", "ann"))
    shown = desk.post("/phones", data={"name": "Ida"}, headers=OWN_PAGE)
    assert shown.status_code == 200, shown.text
    assert "<svg" in shown.text
    [link] = re.findall(r'value="(https://vines.example/phone/[^"]+)"', shown.text)
    phone, path = door.client(), link.removeprefix(HOST)
    for _ in range(2):  # looking at it uses nothing up
        asked = phone.get(path)
        assert "Add this phone" in asked.text
        assert "Ida" in asked.text
    added = phone.post(path, headers=OWN_PAGE)
    assert (added.status_code, added.headers["location"]) == (303, "/")
    assert "Max-Age" in added.headers["set-cookie"]
    me = phone.get("/v1/me").json()
    assert (me["name"], me["role"], me["growers"]) == ("Ida", "record", ["ann"])
    look = [{"date": "2026-05-20", "block": "b1", "percent_open": 12}]
    assert phone.post(f"{VINEYARD}/visits", json=look, headers=OWN_PAGE).status_code == 200
    assert phone.get("/phones").status_code == 403
    listed = desk.get("/phones").text
    assert "Ida" in listed
    assert desk.post(f"/phones/{me['key']}/revoke", headers=OWN_PAGE).status_code == 303
    assert phone.get("/v1/me").status_code == 401


@pytest.mark.usefixtures("quick_refusals")
def test_a_link_for_a_phone_works_once(door: Door) -> None:
    desk, _ = sign_in(door, door.key("Ann", "manage", "ann")[1])
    shown = desk.post("/phones", data={"name": "Ida"}, headers=OWN_PAGE).text
    path = re.findall(r'value="https://vines.example(/phone/[^"]+)"', shown)[0]
    assert door.client().post(path, headers=OWN_PAGE).status_code == 303
    again = door.client().post(path, headers=OWN_PAGE)
    assert again.status_code == 404
    assert "set-cookie" not in again.headers
    for used in (again, door.client().get(path)):
        assert used.status_code == 404
        assert (
            "<p>This link was used already, or is older than ten minutes: ask for a new one.</p>" in used.text
        )
        assert "invitation" not in used.text


def test_the_picture_is_a_symbol_that_holds_the_link() -> None:
    # ISO/IEC 18004, from memory: at level M version 3 holds 42 bytes and version 4 holds 62. Version 4 is 33 modules
    # wide, with 4 of quiet at each side.
    link = "https://vines.example/phone/abcdefghijklmnopqrstuvwxyz"
    assert 42 < len(link) <= 62
    assert 'viewBox="0 0 41 41"' in picture(link)


def test_pages_of_several_growers_keep_theirs(door: Door) -> None:
    for grower in ("ann", "bea"):
        put_vineyard(door.client_of("manage", grower))
    browser, _ = sign_in(door, door.key("Adviser", "manage", "ann", "bea")[1])
    start = browser.get("/")
    assert (start.status_code, start.headers["location"]) == (303, "/roster")
    listed = browser.get("/roster").text
    boards = {"/growers/ann/vineyards/hollow", "/growers/bea/vineyards/hollow"}
    assert boards <= set(re.findall(r'href="([^"]+)"', listed))
    form = browser.get("/growers/ann/vineyards/hollow/visit").text
    action = unescape(re.findall(r'<form[^>]*action="([^"]+)"', form)[0])
    assert action.startswith("/growers/ann/vineyards/hollow/visit")
    assert not re.findall(r'(?:href|action)="/(?:vineyards|v1)', form)
    visit = {"block": "b1", "date": "2026-05-20", "percent_open": "12"}
    sent = browser.post("/growers/ann/vineyards/hollow/visit", data=visit, headers=OWN_PAGE)
    assert sent.headers["location"].startswith("/growers/ann/vineyards/hollow?")
    for grower, looks in (("ann", 1), ("bea", 0)):
        visits = browser.get(f"{VINEYARD}/visits?grower={grower}").json()["visits"]
        assert len(visits) == looks
    assert browser.get("/growers/cid/vineyards/hollow/visit").status_code == 404
    assert browser.get("/growers/ann/v1/vineyards/hollow").status_code == 200
    assert browser.head("/growers/ann/vineyards/hollow/visit").status_code == 200


def test_the_answer_to_a_form_leads_to_its_page_in_another_language(door: Door) -> None:
    adviser = door.client_of("manage", "ann", "bea")
    put_vineyard(door.client_of("manage", "ann"))
    within = "/growers/ann/vineyards/hollow"
    for path, sent, status, leads, said in (
        ("/phones", {"name": "Ida", "grower": "ann"}, 200, "/phones", "Ida"),
        ("/phones", {"name": "Ida"}, 422, "/phones", "<b>Whose vineyards it shows</b>: name at least one"),
        (f"{within}/calendar", {}, 200, f"{within}/calendar", "Here is the link."),
        (
            f"{within}/frost/limits",
            {"budbreak": "-2"},
            422,
            f"{within}/frost",
            "<b>Whose limits, of which grape</b>",
        ),
        (
            "/growers/cid/vineyards/hollow/frost",
            {},
            404,
            "/growers/cid/vineyards/hollow/frost",
            "<b>Grower</b>: ",
        ),
        ("/no-such-page", {}, 404, "/", "There is no such thing"),
    ):
        adviser.cookies.clear()
        answer = adviser.post(path, data=sent, headers=OWN_PAGE | {"Accept": "text/html"})
        assert answer.status_code == status, path
        assert said in answer.text
        assert f'href="{leads}?lang=es" lang="es"' in answer.text, path
        assert adviser.get(f"{leads}?lang=es").status_code in (200, 303, 404), path


def test_a_page_that_one_grower_alone_can_be_meant_by_is_gone_on_to(door: Door) -> None:
    ann = door.client_of("manage", "ann")
    put_vineyard(ann)
    secret = door.key("Adviser", "record", "ann", "bea")[1]
    asked = "/vineyards/hollow/map?as_of=2026-05-20"
    browser, answer = sign_in(door, secret, to=asked)
    assert answer.headers["location"] == asked
    assert browser.get(asked).headers["location"] == f"/growers/ann{asked}"
    assert browser.get(f"/growers/ann{asked}").status_code == 200
    assert browser.get(asked.replace("hollow", "other")).headers["location"] == "/roster"
    put_vineyard(door.client_of("manage", "bea"))
    assert browser.get(asked).headers["location"] == "/roster"


def test_a_calendar_link_from_its_page(door: Door) -> None:
    put_vineyard(door.client_of("manage", "ann"))
    reader, _ = sign_in(door, door.key("Bo", "read", "ann")[1])
    ida, _ = sign_in(door, door.key("Ida", "record", "ann")[1])
    page = "/vineyards/hollow/calendar"
    assert reader.get(page).status_code == 200
    assert reader.post(page, headers=OWN_PAGE).status_code == 403
    shown = ida.post(page, headers=OWN_PAGE)
    assert 'data-copy="link"' in shown.text
    [address] = re.findall(r'href="(webcal://[^"]+)"', shown.text)
    assert (
        door.client().get(address.replace("webcal://", "https://")).status_code == 422
    )  # let in; no temperatures yet
    assert ida.get("/vineyards/none/calendar").status_code == 404


def test_every_answer_has_the_safe_headers(door: Door) -> None:
    ann = door.client_of("manage", "ann")

    def broken() -> None:
        raise RuntimeError

    door.app.add_api_route("/broken", broken)
    answers = [
        ann.get(path)
        for path in (
            "/healthz",
            "/v1/stations",
            "/v1/none",
            "/roster",
            "/static/board.css",
            "/openapi.json",
            "/broken",
        )
    ]
    answers += [door.client().get("/v1/me"), ann.options("/v1/me"), ann.put("/healthz")]
    assert {200, 204, 401, 404, 405, 500} == {answer.status_code for answer in answers}
    for answer in answers:
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
        assert answer.headers["referrer-policy"] == "same-origin"
    assert ann.get("/v1/stations").headers["cache-control"] == "private, no-cache"


def test_what_a_proxy_tells_is_believed_of_trusted_ones_only(door: Door) -> None:
    _, secret = door.key("Ann", "manage", "ann")
    forwarded = {"X-Forwarded-Proto": "https", "Origin": "http://vines.example"}
    for address, cookie in (("127.0.0.1", "__Host-capfall="), ("203.0.113.9", "capfall=")):
        browser = TestClient(
            door.app, base_url="http://vines.example", client=(address, 50000), follow_redirects=False
        )
        answer = browser.post("/sign-in", data={"key": secret}, headers=forwarded)
        assert answer.headers["set-cookie"].startswith(cookie)


def test_a_host_that_cannot_be_read_is_refused(door: Door) -> None:
    ann = door.client_of("manage", "ann")
    for host in ("[::1", 'x"y', "a/b"):
        answer = ann.post("/phones", data={"name": "x"}, headers={"Host": host, "Origin": f"https://{host}"})
        assert answer.status_code == 400, host
        assert ann.get("/v1/none", headers={"Host": host}).status_code == 404


def test_a_phone_begins_in_its_vineyard_and_is_shown_no_form_that_it_may_not_send(door: Door) -> None:
    desk = door.client_of("manage", "ann")
    phone, reader = door.client_of("record", "ann"), door.client_of("read", "ann")
    assert phone.get("/").headers["location"] == "/roster"
    put_vineyard(desk)
    assert "Make a vineyard" in desk.get("/").text
    assert phone.get("/").headers["location"] == "/vineyards/hollow/visit"
    assert reader.get("/").headers["location"] == "/vineyards/hollow"
    assert 'id="visit"' in phone.get("/vineyards/hollow/visit").text
    assert "not record visits" in reader.get("/vineyards/hollow/visit").text
    for path, form in (("/roster", "Make a vineyard"), ("/vineyards/hollow/data", "Make a fit")):
        assert form in desk.get(path).text
        assert form not in phone.get(path).text
        assert form not in reader.get(path).text


@pytest.mark.slow
def test_what_is_kept_of_a_page_for_one_role_is_not_shown_to_another(door: Door) -> None:
    desk, phone = door.client_of("manage", "ann"), door.client_of("record", "ann")
    page = desk.post("/demo", headers=OWN_PAGE).headers["location"]
    for _ in range(2):
        assert "Fit again with all that is known" in desk.get(page).text
        told = phone.get(page).text
        assert "Fit again with all that is known" not in told
        assert "Add data" not in told


def test_a_browser_is_known_by_a_token_that_ends_with_the_key_or_by_signing_out(door: Door) -> None:
    key, secret = door.key("Ann", "manage", "ann")
    browser, _ = sign_in(door, secret)
    other, _ = sign_in(door, secret, stay="true")
    tokens = [next(iter(each.cookies.values())) for each in (browser, other)]
    assert secret not in tokens
    assert len(set(tokens)) == 2
    for token in tokens:  # what a browser holds is no key, and a key is no token
        assert door.client(token).get("/v1/me").status_code == 401
    assert door.client().get("/v1/me", headers={"Cookie": f"__Host-capfall={secret}"}).status_code == 401
    taken = door.client()
    taken.cookies.update(browser.cookies)
    assert taken.get("/v1/me").status_code == 200
    browser.post("/sign-out", headers=OWN_PAGE)
    assert taken.get("/v1/me").status_code == 401
    assert other.get("/v1/me").status_code == 200
    door.client(secret).delete(f"/v1/keys/{key.id}")
    assert other.get("/v1/me").status_code == 401
    with door.store.access(read_only=True) as access:
        assert all(access.key_of_session(digest_of(token)) is None for token in tokens)


def test_a_browser_that_is_not_to_stay_is_forgotten_after_a_week(
    door: Door, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, secret = door.key("Ann", "manage", "ann")
    leaves, _ = sign_in(door, secret)
    stays, _ = sign_in(door, secret, stay="true")
    later = clock.now() + dt.timedelta(days=8)
    monkeypatch.setattr(clock, "now", lambda: later)
    assert (leaves.get("/v1/me").status_code, stays.get("/v1/me").status_code) == (401, 200)


def test_whose_key_does_not_manage_sees_no_form_that_would_be_refused(door: Door) -> None:
    desk = door.client_of("manage", "ann")
    put_vineyard(desk)
    phone, reader = door.client_of("record", "ann"), door.client_of("read", "ann")
    board = "/vineyards/hollow"
    for page in ("data", "settings", "block?block=b1", "log/entry?season=2025&key=b1"):
        assert 'method="post"' in desk.get(f"{board}/{page}").text, page
        for other, said in (
            (phone, "record visits, counts and frost, but change nothing else"),
            (reader, "not change it"),
        ):
            told = other.get(f"{board}/{page}").text
            assert 'method="post"' not in told, page
            assert said in told, page
    assert 'method="post"' in phone.get(f"{board}/calendar").text
    assert 'method="post"' not in reader.get(f"{board}/calendar").text
    assert (phone.get("/everything").status_code, desk.get("/everything").status_code) == (403, 200)


@pytest.mark.parametrize(
    ("page", "offered", "said_instead"),
    [
        ("frost", 'name="full_bloom"', "No limit is stored."),
        ("cultivars/thimble-ash", 'name="quality"', "Quality of its pollen"),
        ("data", "send it back below", "a sheet each."),
        ("log", "tap a cell", "Bloom log"),
        ("", "Add a station", "A station"),
    ],
)
def test_a_page_offers_nothing_that_the_key_may_not_do(
    page: str, offered: str, said_instead: str, door: Door
) -> None:
    desk = door.client_of("manage", "ann")
    put_vineyard(desk, station=False)
    address = f"/vineyards/hollow/{page}".rstrip("/")
    assert offered in desk.get(address).text
    for role in ("record", "read"):
        told = door.client_of(role, "ann").get(address).text
        assert offered not in told
        assert said_instead in told


def test_who_may_not_revoke_a_calendar_link_is_not_sent_to_do_it(door: Door) -> None:
    desk, phone = door.client_of("manage", "ann"), door.client_of("record", "ann")
    put_vineyard(desk)
    for who, leads in ((desk, True), (phone, False)):
        shown = who.post("/vineyards/hollow/calendar", headers=OWN_PAGE).text
        assert ("Phones and keys" in shown) == leads
        assert ("Whoever has a key that may manage" in shown) != leads


def test_a_phone_undoes_on_the_page_what_it_recorded_and_nothing_else(door: Door) -> None:
    desk, phone = door.client_of("manage", "ann"), door.client_of("record", "ann", name="Ida")
    put_vineyard(desk)
    look = [{"date": "2026-05-20", "block": "b1", "percent_open": 12}]
    change = phone.post(f"{VINEYARD}/visits", json=look, headers=OWN_PAGE).headers["Capfall-Change"]
    listed = phone.get("/vineyards/hollow/changes").text
    assert re.findall(r"/changes/(\d+)/undo", listed) == [change]
    assert phone.post("/changes/1/undo", headers=OWN_PAGE).status_code == 403
    assert phone.post(f"/changes/{change}/undo", headers=OWN_PAGE).status_code == 303
    assert desk.get(f"{VINEYARD}/visits").json()["visits"] == []


def test_a_key_is_revoked_after_it_was_asked_for_twice(door: Door) -> None:
    key, secret = door.key("Ann", "manage", "ann")
    listed = door.client(secret).get("/phones").text
    revoking = re.search(rf'<details><summary[^>]*>Revoke</summary>\s*<form[^>]*/{key.id}/revoke"', listed)
    assert revoking is not None
    assert "is let in no more, at once" in listed


def test_keys_of_one_name_are_told_apart(door: Door) -> None:
    secret = door.key("Adviser", "manage", "ann", "bea")[1]
    ids = {grower: door.key("Ida", "record", grower, "cid")[0].id for grower in ("ann", "bea")}
    listed = door.client(secret).get("/phones").text
    rows = re.findall(r"<tr>.*?</tr>", listed, re.DOTALL)
    for grower, id in ids.items():
        [row] = [row for row in rows if f'<span class="light">{id}</span>' in row]
        assert f'<td data-label="Grower">{grower}</td>' in row
    assert "cid" not in listed
    assert 'data-label="Grower"' not in door.client_of("manage", "ann").get("/phones").text


@pytest.mark.parametrize(("host", "warned"), [("http://127.0.0.1:8000", True), (HOST, False)])
def test_a_calendar_link_that_no_phone_reaches_says_so(door: Door, host: str, warned: bool) -> None:
    _, secret = door.key("Ann", "manage", "ann")
    put_vineyard(door.client(secret))
    browser, _ = sign_in(door, secret, host=host)
    shown = browser.post("/vineyards/hollow/calendar", headers={"Origin": host}).text
    assert ("A phone cannot reach this address" in shown) == warned


def test_the_feed_of_news_takes_the_key_of_a_calendar_link(door: Door) -> None:
    desk = door.client_of("manage", "ann")
    put_vineyard(desk)
    link = desk.post(f"{VINEYARD}/calendar-link").json()
    assert "/news.atom?key=" in link["news"]
    stranger = door.client()
    assert stranger.get(link["news"]).headers["content-type"].startswith("application/atom+xml")
    assert stranger.get(link["news"].replace("hollow", "other")).status_code == 404
    assert stranger.get(link["news"].replace("news.atom", "visits")).status_code in (401, 422)
    desk.delete(f"/v1/keys/{link['key']}")
    assert stranger.get(link["news"]).status_code == 401


def test_all_of_a_grower_is_saved_deleted_and_taken_in_by_page(door: Door) -> None:
    desk = door.client_of("manage", "ann")
    put_vineyard(desk)
    page = desk.get("/everything").text
    assert "1 vineyard" in page
    export = desk.get("/v1/export").content
    wrong = desk.post("/everything/delete", data={"confirm": "an"}, headers=OWN_PAGE)
    assert (wrong.status_code, desk.get("/v1/export").content) == (422, export)
    assert desk.post("/everything/delete", data={"confirm": "ann"}, headers=OWN_PAGE).status_code == 303
    assert "Nothing is kept of ann" in desk.get("/everything").text
    file = {"export": ("ann.jsonl", export)}
    over = desk.post("/everything/import", data={"step": "preview"}, files=file, headers=OWN_PAGE)
    assert "The file would bring" in over.text
    assert "1 vineyard" in over.text
    assert desk.get("/v1/vineyards").json()["vineyards"] == []
    cut = {"export": ("ann.jsonl", export[: len(export) // 2])}
    assert (
        desk.post("/everything/import", data={"step": "apply"}, files=cut, headers=OWN_PAGE).status_code
        == 422
    )
    assert (
        desk.post("/everything/import", data={"step": "apply"}, files=file, headers=OWN_PAGE).status_code
        == 303
    )
    assert desk.get("/v1/export").content == export


def test_pages_about_all_of_one_of_several_growers_stay_with_that_one(door: Door) -> None:
    put_vineyard(door.client_of("manage", "ann"))
    put_vineyard(door.client_of("manage", "bea"))
    adviser = door.client_of("manage", "ann", "bea")
    page = adviser.get("/growers/bea/everything").text
    assert 'href="/growers/bea/v1/export"' in page
    assert 'action="/growers/bea/everything/delete"' in page
