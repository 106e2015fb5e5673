"""What routes about a season ask for: the day and the fit."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from fastapi import Depends, Query

from service.clock import today
from service.usecases.forecasts import VineyardForecast, stored_forecast
from service.web.keys import VineyardKey
from service.web.records import Reading

AsOf = Annotated[
    dt.date | None,
    Query(
        description="The day on which to look ahead, by default today: temperatures of the days before it, and "
        "what was seen on it or before."
    ),
]
FitId = Annotated[str | None, Query(max_length=63, description="By default the newest.")]

INTERVAL = 0.8  # where an answer shows no interval of its own


def looked_ahead(
    vineyard: VineyardKey, records: Reading, as_of: AsOf = None, fit: FitId = None
) -> VineyardForecast:
    """The forecast that an answer rests on."""
    day = today() if as_of is None else as_of
    return stored_forecast(records, vineyard, as_of=day, fit=fit, interval=INTERVAL)


LookedAhead = Annotated[VineyardForecast, Depends(looked_ahead, scope="function")]
