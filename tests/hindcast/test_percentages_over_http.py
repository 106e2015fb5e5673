"""What visits of a season say of the bloom curve stays out of what is said without that season."""

from __future__ import annotations

from typing import Any

import numpy as np
from fastapi.testclient import TestClient

from tests.api.past_seasons import (
    SEASONS,
    Percents,
    block_heats,
    fitted,
    plant,
    send,
    visits_csv,
    weekly_percents,
)
from tests.hindcast.test_over_http import followed

LEFT_OUT, SCORED = 2004, 2006
UNSEEN = ("known weather", "30")


def nearer_the_next_stage(percents: Percents, season: int) -> Percents:
    """Other percentages of a season, with the same days of "not yet" and "come"."""
    bounds = np.array([10.0, 50.0, 95.0, 100.0])
    return {
        (date, block): percent + 0.7 * (bounds[percent < bounds][0] - percent)
        if date.year == season and 1 < percent < 99
        else percent
        for (date, block), percent in percents.items()
    }


def hindcast(client: TestClient, fit: str) -> list[dict[str, Any]]:
    asked = client.post(f"/v1/fits/{fit}/hindcast", json={"leads": [30]})
    assert asked.status_code == 202, asked.text
    ended, _ = followed(client, asked.headers["Location"])
    assert ended["state"] == "done", ended
    rows: list[dict[str, Any]] = client.get(f"/v1/fits/{fit}/hindcast").json()["rows"]
    return rows


def test_percentages_of_seasons_left_out_do_not_leak_into_a_hindcast(client: TestClient) -> None:
    plant(client)
    every = weekly_percents(block_heats(np.random.default_rng(1), between_seasons=20, within=6))
    noted = {place: percent for place, percent in every.items() if place[0].year in SEASONS[:6]}
    send(client, "visits", visits_csv(noted))
    fit = fitted(client, exclude_seasons=[LEFT_OUT])["id"]
    before = hindcast(client, fit)
    assert {row["season"] for row in before} == set(SEASONS[:6]) - {LEFT_OUT}

    # of both, so that a leak of either moves what is said of the season that is scored
    send(client, "visits", visits_csv(nearer_the_next_stage(nearer_the_next_stage(noted, LEFT_OUT), SCORED)))
    after = hindcast(client, fit)
    own, others = (
        [row for row in before if (row["season"] == SCORED) is of_it and row["lead"] in UNSEEN]
        for of_it in (True, False)
    )
    assert own
    assert own == [row for row in after if row in own]
    assert others != [row for row in after if row["season"] != SCORED and row["lead"] in UNSEEN]
