"""What routes about a season ask for: the day and the fit."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from fastapi import Depends, Query

from service import clock
from service.usecases.forecasts import VineyardForecast, stored_forecast
from service.web.days import IsoDate
from service.web.keys import VineyardKey
from service.web.records import Reading

AsOf = Annotated[
    IsoDate | None,
    Query(
        description="The day on which to look ahead, by default today in the vineyard's time zone: temperatures of "
        "the days before it, and what was seen on it or before."
    ),
]
FitId = Annotated[str | None, Query(max_length=63, description="By default the vineyard's fit in use.")]


def day_asked(vineyard: VineyardKey, records: Reading, as_of: AsOf = None) -> dt.date:
    """The day on which to look ahead: as asked for, or the one that it is in the vineyard."""
    timezone = records.vineyards.get(vineyard).timezone
    return clock.today(timezone) if as_of is None else as_of


Day = Annotated[dt.date, Depends(day_asked, scope="function")]

INTERVAL = 0.8  # where an answer shows no interval of its own


def looked_ahead(vineyard: VineyardKey, records: Reading, day: Day, fit: FitId = None) -> VineyardForecast:
    """The forecast that an answer rests on."""
    return stored_forecast(records, vineyard, as_of=day, fit=fit, interval=INTERVAL)


LookedAhead = Annotated[VineyardForecast, Depends(looked_ahead, scope="function")]
