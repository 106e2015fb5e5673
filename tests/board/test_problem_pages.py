"""What people read where something is wrong, and programs too."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from service.app import create_app
from service.settings import Settings
from tests.conftest import client_of

BROWSER = {"accept": "text/html,application/xhtml+xml,*/*;q=0.8"}


@pytest.fixture
def client(own_database: Path) -> Iterator[TestClient]:
    with client_of(own_database) as asked:
        yield asked


@pytest.mark.parametrize(
    ("method", "path", "status", "said"),
    [
        ("GET", "/nowhere", 404, "There is no such thing"),
        ("GET", "/vineyards/none/log", 404, "There is no such thing"),
        ("GET", "/vineyards/None!/log", 422, "The input cannot be right"),
        ("DELETE", "/help", 405, "This method is not offered here"),
    ],
)
def test_people_get_a_page_and_programs_json(
    method: str, path: str, status: int, said: str, client: TestClient
) -> None:
    page = client.request(method, path, headers=BROWSER)
    assert (page.status_code, page.headers["content-type"]) == (status, "text/html; charset=utf-8")
    assert f"<h1>{said}</h1>" in page.text
    assert "To all vineyards" in page.text
    assert "Back to what you typed" not in page.text


def test_only_who_sent_a_form_is_led_back_to_it(client: TestClient) -> None:
    for path in ("/nowhere", "/vineyards/none/settings"):
        assert "Back to what you typed" in client.post(path, headers=BROWSER).text


@pytest.mark.parametrize(
    ("path", "headers"), [("/nowhere", {"accept": "application/json"}), ("/v1/nowhere", BROWSER)]
)
def test_programs_get_json_wherever_they_ask(path: str, headers: dict[str, str], client: TestClient) -> None:
    answer = client.get(path, headers=headers)
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["type"] == "/problems/not-found"


def test_a_file_that_is_too_large_is_told_on_a_page(own_database: Path) -> None:
    app = create_app(Settings(database_url=f"sqlite:///{own_database}", access="open", max_upload_mb=0.001))
    with TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 1)) as small:
        answer = small.post("/vineyards", data={"name": "x" * 2000}, headers=BROWSER)
    assert answer.status_code == 413
    assert "The body is too large" in answer.text


def test_a_fault_of_ours_is_told_on_a_page_without_its_details(
    own_database: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.board.start.page", lambda *_, **__: 1 / 0)
    app = create_app(Settings(database_url=f"sqlite:///{own_database}", access="open"))
    with TestClient(
        app, base_url="http://127.0.0.1", client=("127.0.0.1", 1), raise_server_exceptions=False
    ) as failing:
        answer = failing.get("/", headers=BROWSER)
    assert answer.status_code == 500
    assert "The service failed" in answer.text
    assert "ZeroDivision" not in answer.text
