"""A vineyard's season as foreseen on a day, and its pollen cover."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Query

from models.units import celsius_from_fahrenheit
from service.api.forecast_schemas import ForecastAnswer
from service.api.part import part
from service.api.pollination_schemas import PollinationAnswer
from service.api.responses import UNCHANGED, problems
from service.api.season_query import Day, FitId
from service.usecases.forecasts import VineyardForecast, stored_forecast
from service.usecases.frost import LIMIT_C, look_for_frost
from service.usecases.fruit_set import set_so_far
from service.usecases.pollen import pollinate
from service.web.kept import KEPT
from service.web.keys import VineyardKey
from service.web.records import Reading
from service.web.turns import HEAVY
from service.web.units import UnitsQuery

router = part("/v1/vineyards/{vineyard}", "forecasts", KEPT, HEAVY)


def foreseen(
    vineyard: VineyardKey,
    records: Reading,
    day: Day,
    fit: FitId = None,
    interval: Annotated[
        float, Query(gt=0, lt=1, description="Probability of the interval from low to high.")
    ] = 0.8,
) -> VineyardForecast:
    """The forecast that is asked for."""
    return stored_forecast(records, vineyard, as_of=day, fit=fit, interval=interval)


Foreseen = Annotated[VineyardForecast, Depends(foreseen, scope="function")]


@router.get("/forecast", summary="Forecast the season", responses=UNCHANGED | problems(404, 409))
def get_forecast(
    forecast: Foreseen,
    frost_limit: Annotated[
        float | None,
        Query(
            ge=-60,
            le=60,
            allow_inf_nan=False,
            description="Highest minimum that counts as frost, by default 0 °C (32 °F); in °F with `units=us`.",
        ),
    ] = None,
    units: UnitsQuery = "metric",
) -> ForecastAnswer:
    """When every block reaches each stage, as foreseen on a day. The same data, fit and `as_of` give the same
    answer.

    `status`: `observed`; `expected`; `presumed`, as its median is past and nobody saw it come; `overdue`, as
    visits said not yet at more heat than the cultivar's interval holds; `unlikely` this season.

    `frost` is the chance of nights at or below the limit from budbreak on, and those that came. Which
    temperatures damage muscadine is not known.
    """
    limit_c = LIMIT_C if frost_limit is None else frost_limit
    if frost_limit is not None and units == "us":
        limit_c = celsius_from_fahrenheit(frost_limit)
    return ForecastAnswer.of(forecast, look_for_frost(forecast, limit_c=limit_c), units)


@router.get(
    "/pollination",
    summary="Forecast the pollen cover",
    responses=UNCHANGED | problems(404, 409),
)
def get_pollination(forecast: Foreseen, records: Reading) -> PollinationAnswer:
    """How much of each pistillate block's bloom gets pollen from which source, on which days none, and what
    to do. It rests on the same draws as the forecast. What set counts of the seasons before say of cover stands in
    `cautions`."""
    claim = set_so_far(records, forecast.vineyard.key, forecast.forecast.season)
    return PollinationAnswer.of(forecast, pollinate(forecast), claim)
