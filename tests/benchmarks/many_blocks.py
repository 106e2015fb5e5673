"""The board of a vineyard with as many blocks as wanted: the demo's, planted again and again beside each other."""

from __future__ import annotations

import statistics
import time
from dataclasses import replace

import demo_weather
from service.board.season_view import season_view
from service.store.engine import Store
from service.usecases.cautions import cautions_of
from service.usecases.forecasts import stored_forecast
from service.usecases.frost import look_for_frost
from service.usecases.pollen import pollinate
from service.usecases.scouting import plan_scouting

VINEYARD = demo_weather.VINEYARD.key
APART_M = 40.0


def board_seconds(store: Store, count: int, *, times: int = 3) -> tuple[float, float]:
    """Median processor time of the forecast, and of all that the board of so many blocks shows. [s]"""
    with store.transaction("local") as records:
        planted = records.blocks.all(VINEYARD)
        demo = planted[: min(12, len(planted))]
        for place in range(len(planted), count):
            block, row = demo[place % len(demo)], place // len(demo)
            moved = replace(block, key=f"{block.key}-{row}", x_m=block.x_m + APART_M * row, neighbours=None)
            records.blocks.put(VINEYARD, moved)
    forecasts, boards = zip(*(_once(store) for _ in range(times)), strict=True)
    return statistics.median(forecasts), statistics.median(boards)


def _once(store: Store) -> tuple[float, float]:
    before = time.process_time()
    with store.transaction("local", read_only=True) as records:
        foreseen = stored_forecast(records, VINEYARD, as_of=demo_weather.AS_OF, fit=None, interval=0.8)
    foreseen_at = time.process_time()
    pollen, frost = pollinate(foreseen), look_for_frost(foreseen)
    plan_scouting(foreseen)
    season_view(foreseen, pollen.blocks)
    cautions_of(foreseen, pollen=pollen, frost=frost)
    return foreseen_at - before, time.process_time() - before
