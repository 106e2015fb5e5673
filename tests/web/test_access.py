"""Open access serves only this machine; with keys nobody comes in without one."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from service.app import create_app
from service.settings import Settings
from service.web.origins import is_loopback
from tests.api.asking import assert_problem


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.9.1", "::1", "::ffff:127.0.0.1", "localhost"])
def test_loopback(host: str) -> None:
    assert is_loopback(host)


@pytest.mark.parametrize(
    "host", ["192.168.0.9", "::ffff:10.0.0.1", "2001:db8::1", "localhost.example", "", None]
)
def test_not_loopback(host: str | None) -> None:
    assert not is_loopback(host)


def test_open_access_refuses_other_machines(settings: Settings) -> None:
    with TestClient(create_app(settings), base_url="http://127.0.0.1", client=("192.168.0.9", 50000)) as away:
        assert_problem(away.get("/v1/stations"), 403)
        assert away.get("/healthz").status_code == 200


@pytest.mark.parametrize(
    "headers",
    [{"Host": "vineyard.example"}, {"Origin": "https://vineyard.example"}, {"Origin": "null"}],
)
def test_open_access_refuses_foreign_pages_in_a_browser_on_this_machine(
    client: TestClient, headers: dict[str, str]
) -> None:
    assert_problem(client.get("/v1/stations", headers=headers), 403)


def test_open_access_serves_its_own_pages(client: TestClient) -> None:
    own = {"Host": "localhost:8000", "Origin": "http://localhost:8000"}
    assert client.get("/v1/stations", headers=own).status_code == 200


def test_keys_are_needed_where_settings_say_so(settings: Settings) -> None:
    app = create_app(settings.model_copy(update={"access": "keys"}))
    with TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 50000)) as client:
        answer = client.get("/v1/stations")
        assert_problem(answer, 401)
        assert answer.headers["www-authenticate"] == "Bearer"
        assert client.get("/healthz").status_code == 200
