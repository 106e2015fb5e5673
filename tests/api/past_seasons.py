"""A small invented vineyard of known truth, for tests of the model through the service: heat, days and files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from fastapi.testclient import TestClient
from scipy.special import expit, logit

from models.heat.accumulate import SeasonHeat, accumulate_seasons
from models.records import DailyTemperatures, HeatRule
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from tests.api.asking import STATION, VINEYARD, send_csv
from tests.hindcast.past import invented_weather, weather_csv

LATITUDE = 33.5
CULTIVARS = ("alder", "birch", "cedar", "dogwood")
SEASONS = range(2003, 2015)
THIS_SEASON = 2015
RULE = HeatRule()
HEAT = {"method": "average", "base_c": 10.0}
# From a cultivar's bloom start to its full bloom and bloom end. [°C·day]
AFTER_START = np.array([0.0, 60.0, 130.0])

Days = dict[tuple[int, str], list[dt.date]]
Percents = dict[tuple[dt.date, str], float]


def weather() -> DailyTemperatures:
    """Whole years, with this season's to its end."""
    return invented_weather(SEASONS[0] - 1, THIS_SEASON)


def season_heats(rule: HeatRule = RULE) -> dict[int, SeasonHeat]:
    """Of all seasons, this one too."""
    return accumulate_seasons(weather(), rule, [*SEASONS, THIS_SEASON], LATITUDE)


def block_heats(
    random: np.random.Generator, *, between_seasons: float, within: float, first: float = 380.0
) -> dict[tuple[int, str], FloatArray]:
    """Heat at the bloom stages by season and block; each block bears its cultivar's initial. [°C·day]"""
    heats = {}
    for season in [*SEASONS, THIS_SEASON]:
        shared = random.normal(0, between_seasons)
        for place, cultivar in enumerate(CULTIVARS):
            own = np.cumsum([random.normal(0, within), 0.0, 0.0])
            heats[season, cultivar[0]] = first + 25.0 * place + AFTER_START + shared + own
    return heats


def days_of(heats: Mapping[tuple[int, str], FloatArray], rule: HeatRule = RULE) -> Days:
    """The days on which blocks reached the stages."""
    of_season = season_heats(rule)
    return {
        (season, block): [
            of_season[season].window.date_at(int(day))
            for day in np.searchsorted(of_season[season].accumulated, needed)
        ]
        for (season, block), needed in heats.items()
    }


def log_csv(days: Days, seasons: Sequence[int] = SEASONS, *, checked_every_days: int = 1) -> str:
    """As a bloom log by block."""
    lines = [
        f"{season},{block},{','.join(map(str, dates))},{checked_every_days}"
        for (season, block), dates in days.items()
        if season in seasons
    ]
    return "\n".join([f"season,block,{','.join(BLOOM_STAGES)},checked_every_days", *lines]) + "\n"


def weekly_percents(heats: Mapping[tuple[int, str], FloatArray]) -> Percents:
    """Each block of the past seasons looked at every week of its bloom."""
    of_season = season_heats()
    seen = {}
    for (season, block), needed in heats.items():
        if season in SEASONS:
            heat, start = of_season[season], logit(0.1)
            slope = (logit(0.95) - start) / (needed[2] - needed[0])
            first = int(np.searchsorted(heat.accumulated, needed[0])) - 10 - season % 7
            for day in range(first, first + 50, 7):
                share = float(expit(start + slope * (heat.accumulated[day] - needed[0])))
                seen[heat.window.date_at(day), block] = round(100 * share, 1)
    return seen


def visits_csv(percents: Percents, *, as_codes: bool = False) -> str:
    """As visits; or told by BBCH codes only, which say of each stage "not yet" or "come" and no more."""
    rows = []
    for (date, block), percent in percents.items():
        code = 55 + sum(step for share, step in ((10, 6), (50, 4), (95, 4)) if percent >= share)
        rows.append(f"{date},{block}," + (f",{code}" if as_codes else f"{percent},"))
    return "\n".join(["date,block,percent_open,bbch", *rows]) + "\n"


def plant(client: TestClient) -> None:
    """Station, weather, vineyard, and a block of each cultivar, all in reach of each other."""
    place = {"name": "Hollow gauge", "latitude": LATITUDE, "longitude": -84.0, "elevation_m": 250}
    assert client.put(STATION, json=place).status_code == 201
    assert client.put(VINEYARD, json={"name": "Hollow", "station": "hollow-gauge"}).status_code == 201
    assert send_csv(client, f"{STATION}/temperatures", weather_csv(weather())).status_code == 200
    kinds = ["perfect", "pistillate", "pistillate", "pistillate"]
    rows = [
        f"{cultivar[0]},{cultivar},{kind},{3 * place},0"
        for place, (cultivar, kind) in enumerate(zip(CULTIVARS, kinds, strict=True))
    ]
    planting = "\n".join(["block,cultivar,flower_type,x_m,y_m", *rows]) + "\n"
    assert send_csv(client, f"{VINEYARD}/planting", planting).status_code == 200


def send(client: TestClient, what: str, text: str) -> dict[str, Any]:
    """A bloom log or visits of the vineyard; gives the receipt."""
    answer = send_csv(client, f"{VINEYARD}/{what}", text)
    assert answer.status_code == 200, answer.text
    receipt: dict[str, Any] = answer.json()
    return receipt


def fitted(client: TestClient, **body: Any) -> dict[str, Any]:
    """A fit for the vineyard by the rule that the days were made with, unless another is asked for."""
    answer = client.post("/v1/fits", json={"heat": HEAT, "vineyards": ["hollow"], **body})
    assert answer.is_success, answer.text
    fit: dict[str, Any] = answer.json()
    return fit


def forecast(client: TestClient, as_of: dt.date, what: str = "forecast", **query: Any) -> dict[str, Any]:
    """A forecast or the pollination, as known on a day."""
    answer = client.get(f"{VINEYARD}/{what}", params={"as_of": str(as_of), **query})
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


def stage_of(told: dict[str, Any], block: str, stage: str) -> dict[str, Any]:
    """One stage of one block of a forecast."""
    (found,) = [each["stages"][stage] for each in told["blocks"] if each["block"] == block]
    return dict(found)


def threshold(fit: dict[str, Any], cultivar: str, stage: str) -> float:
    """Of one cultivar and stage. [°C·day]"""
    (found,) = [
        each["stages"][stage]["threshold"] for each in fit["cultivars"] if each["cultivar"] == cultivar
    ]
    return float(found)
