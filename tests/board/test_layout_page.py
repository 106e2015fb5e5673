"""The page that searches a layout."""

from __future__ import annotations

from fastapi.testclient import TestClient

from tests.api.asking import VINEYARD, put_vineyard, send_csv

PAGE = "/vineyards/hollow/layout"


def plant(
    client: TestClient, rows: str = "b1,Thimble Ash,pistillate,0,0\nb2,Loam Whistle,perfect,90,0\n"
) -> None:
    put_vineyard(client)
    assert (
        send_csv(client, f"{VINEYARD}/planting", f"block,cultivar,flower_type,x_m,y_m\n{rows}").status_code
        == 200
    )


def test_a_planting_is_searched_from_the_form(client: TestClient) -> None:
    plant(client)
    form = client.get(PAGE).text
    assert "Loam Whistle" in form
    assert "To order" not in form
    found = client.get(PAGE, params={"search": "true", "plant": "loam-whistle"}).text
    assert "1 vine changed: a source in reach of every pistillate vine." in found
    assert "<li>Loam Whistle: 1</li>" in found
    assert "b1, vine 1: thimble-ash to loam-whistle" in found


def test_a_blank_field_is_searched_in_feet(client: TestClient) -> None:
    plant(client)
    rows = "5 thimble-ash\n\n5, thimble-ash"
    asked = {"search": "true", "rows": rows, "units": "us", "vine_spacing": "20", "row_spacing": "12"}
    assert "1 vine changed" in client.get(PAGE, params=asked).text  # two to each side
    # twice as wide: one vine to each side is in reach
    assert "2 vines changed" in client.get(PAGE, params={**asked, "vine_spacing": "40"}).text


def test_rows_that_cannot_be_read_are_named(client: TestClient) -> None:
    plant(client)
    answer = client.get(PAGE, params={"search": "true", "rows": "5 thimble-ash\nmany of them"})
    assert answer.status_code == 422
    assert "line 2" in answer.text
