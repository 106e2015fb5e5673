"""Weather stations."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter, Response

from service.api.responses import created_or_replaced, problems
from service.api.schemas import StationAnswer, StationBody, StationList
from service.store.records import Station
from service.usecases import temperatures
from service.web.keys import StationKey
from service.web.records import Reading, Writing
from service.web.uploads import ConfirmQuery

router = APIRouter(prefix="/v1/stations", tags=["stations"])


def answer(station: Station) -> StationAnswer:
    """A station as the client sees it."""
    fields = asdict(station)
    return StationAnswer(station=fields.pop("key"), **fields)


@router.get("", summary="List stations")
def list_stations(records: Reading) -> StationList:
    """All of the grower's weather stations, by identifier."""
    return StationList(stations=[answer(station) for station in records.stations.all()])


@router.put("/{station}", summary="Create or replace a station", responses={201: {"model": StationAnswer}})
def put_station(
    key: StationKey, body: StationBody, response: Response, records: Writing, confirm: ConfirmQuery = ()
) -> StationAnswer:
    """Create a weather station (201) or replace its name and place (200). Its temperatures stay.

    A latitude that turns the seasons of its temperatures round is refused unless `confirm=latitude`.
    """
    station = Station(key, **body.model_dump())
    created_or_replaced(response, new=temperatures.put_station(records, station, confirm=confirm))
    return answer(station)


@router.get("/{station}", summary="Show a station", responses=problems(404))
def get_station(key: StationKey, records: Reading) -> StationAnswer:
    """Name and place of a weather station."""
    return answer(records.stations.get(key))


@router.delete("/{station}", summary="Delete a station", status_code=204, responses=problems(404, 409))
def delete_station(key: StationKey, records: Writing) -> None:
    """Delete a weather station with its temperatures; refused (409) while a vineyard uses it."""
    records.stations.delete(key)
