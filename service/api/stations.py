"""Weather stations."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import Request, Response

from service.api.change_schemas import WriteReceipt
from service.api.editing import IfMatch, Patch, check_unchanged, patch_of, patched, tagged
from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.part import part
from service.api.responses import created_or_replaced, problems, wants_csv
from service.api.station_schemas import StationAnswer, StationBody, StationList
from service.store.records import Station
from service.usecases import temperatures
from service.web.keys import StationKey
from service.web.records import Reading, Writing
from service.web.uploads import ConfirmQuery

router = part("/v1/stations", "stations")


def answer(station: Station) -> StationAnswer:
    """A station as the client sees it."""
    fields = asdict(station)
    return StationAnswer(station=fields.pop("key"), **fields)


def _station(key: str, body: StationBody) -> Station:
    fields = body.model_dump()
    return Station(key, **{**fields, "changed_on": tuple(body.changed_on)})


@router.get("", summary="List stations", response_model=StationList, responses=AS_CSV)
def list_stations(request: Request, records: Reading, page: PageAsked) -> StationList | Response:
    """All of the grower's weather stations, by identifier; as CSV with `Accept: text/csv`."""
    stations, next_page = paged(records.stations.all(), page, lambda station: (station.key,))
    answers = [answer(station) for station in stations]
    if wants_csv(request):
        columns = ["station", *StationBody.model_fields]
        return csv_answer(request, columns, [each.model_dump(mode="json") for each in answers], next_page)
    return StationList(stations=answers, next=next_page)


@router.put(
    "/{station}",
    summary="Create or replace a station",
    responses={201: {"model": StationAnswer}, **problems(412)},
)
def put_station(
    key: StationKey,
    body: StationBody,
    response: Response,
    records: Writing,
    confirm: ConfirmQuery = (),
    if_match: IfMatch = None,
) -> StationAnswer:
    """Create a weather station (201) or replace its name and place (200). Its temperatures stay.

    A latitude that turns the seasons of its temperatures round is refused unless `confirm=latitude`. `changed_on`
    moves forecasts from the next fit on.
    """
    check_unchanged(if_match, lambda: answer(records.stations.get(key)))
    station = _station(key, body)
    created_or_replaced(response, new=temperatures.put_station(records, station, confirm=confirm))
    return tagged(response, answer(station))


@router.patch(
    "/{station}",
    summary="Change fields of a station",
    responses=problems(404, 412),
    openapi_extra=patch_of(StationBody),
)
def patch_station(
    key: StationKey,
    patch: Patch,
    response: Response,
    records: Writing,
    confirm: ConfirmQuery = (),
    if_match: IfMatch = None,
) -> StationAnswer:
    """Change the fields that are named; the others stay. A latitude is checked as with PUT."""
    current = answer(records.stations.get(key))
    check_unchanged(if_match, lambda: current)
    station = _station(key, patched(StationBody, current, patch))
    temperatures.put_station(records, station, confirm=confirm)
    return tagged(response, answer(station))


@router.get("/{station}", summary="Show a station", responses=problems(404))
def get_station(key: StationKey, response: Response, records: Reading) -> StationAnswer:
    """Name and place of a weather station."""
    return tagged(response, answer(records.stations.get(key)))


@router.delete("/{station}", summary="Delete a station", responses=problems(404, 409, 412))
def delete_station(key: StationKey, records: Writing, if_match: IfMatch = None) -> WriteReceipt:
    """Delete a weather station with its temperatures; refused (409) while a vineyard uses it."""
    check_unchanged(if_match, lambda: answer(records.stations.get(key)))
    records.stations.delete(key)
    return WriteReceipt.of(records.journal)
