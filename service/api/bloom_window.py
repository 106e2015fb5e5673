"""When any block is in bloom, for beekeepers and for whoever sprays."""

from __future__ import annotations

import datetime as dt

from models.vineyard.whole_bloom import whole_bloom
from service.api.forecasts import Foreseen
from service.api.part import part
from service.api.responses import UNCHANGED, problems
from service.api.schemas import Body, ThreeDigits
from service.usecases.cautions import cautions_of
from service.web.kept import KEPT
from service.web.turns import HEAVY
from service.words.bloom_window import window_words
from service.words.cautions import caution_texts

router = part("/v1/vineyards/{vineyard}", "forecasts", KEPT, HEAVY)


class DayRangeAnswer(Body):
    """A date, and the days between which it falls with the asked probability."""

    median: dt.date
    low: dt.date
    high: dt.date


class BloomDayAnswer(Body):
    """A day, and the chance that any block is in bloom on it."""

    date: dt.date
    chance: ThreeDigits


class BloomWindowAnswer(Body):
    """First bloom start and last bloom end of all blocks, and the chance of bloom by day."""

    vineyard: str
    season: int
    as_of: dt.date
    interval: float
    first: DayRangeAnswer
    last: DayRangeAnswer
    days: list[BloomDayAnswer]
    said: str
    cautions: list[str]


@router.get("/bloom-window", summary="Show when any block blooms", responses=UNCHANGED | problems(404, 409))
def get_bloom_window(forecast: Foreseen) -> BloomWindowAnswer:
    """The days on which any block is in bloom, for a beekeeper and for whoever sprays. Product labels and local rules
    come first: a day that is not listed is no permission. Blocks that cannot be forecast are not in it.
    """
    found = forecast.forecast
    window = whole_bloom(found.draws, interval=found.interval)
    return BloomWindowAnswer.showing(
        window,
        vineyard=forecast.vineyard.key,
        season=found.season,
        as_of=found.as_of,
        interval=found.interval,
        said=window_words(window),
        cautions=caution_texts(cautions_of(forecast)),
    )
