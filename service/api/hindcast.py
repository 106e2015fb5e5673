"""How good a fit's forecasts of past seasons would have been."""

from __future__ import annotations

from fastapi import Request, Response

from service.api.fits import FitId
from service.api.hindcast_schemas import HindcastAnswer, HindcastBody
from service.api.jobs import JobAnswer
from service.api.part import part
from service.api.responses import Responses, problems, wants_csv
from service.usecases.hindcast_documents import rows_as_csv
from service.usecases.hindcast_jobs import hindcast_of, start_hindcast
from service.web.access import Grower
from service.web.records import Reading, jobs, store
from service.web.units import UnitsQuery
from service.web.uploads import CSV

router = part("/v1/fits/{fit}/hindcast", "fits")

REPORT: Responses = {200: {"content": {CSV: {"schema": {"type": "string"}}}}}


@router.post("", summary="Hindcast past seasons", status_code=202, responses=problems(404))
def run_hindcast(
    fit: FitId, request: Request, response: Response, grower: Grower, body: HindcastBody | None = None
) -> JobAnswer:
    """Forecast every past season of the fit's vineyards as if it were to come, each from all the others, and
    score what came of it.

    It takes minutes, so it runs as a job: `Location` tells where to see how far it is. While it is not
    finished, asking again answers with the same job. Jobs run one after the other.
    """
    asked = (body or HindcastBody()).asked()
    job = start_hindcast(store(request), jobs(request), grower, fit, asked)
    response.headers["Location"] = f"/v1/jobs/{job.id}"
    return JobAnswer.of(job)


@router.get("", summary="Show a hindcast", response_model=HindcastAnswer, responses=REPORT | problems(404))
def get_hindcast(
    fit: FitId, request: Request, records: Reading, units: UnitsQuery = "metric"
) -> HindcastAnswer | Response:
    """The newest report: for each stage, cultivar and lead n, bias, MAE, RMSE, CRPS, skill against the
    cultivar's own past dates, and coverage of the interval. With `Accept: text/csv` its single forecasts."""
    document = hindcast_of(records, fit)
    if wants_csv(request):
        return Response(rows_as_csv(document), media_type=CSV, headers={"Vary": "Accept"})
    return HindcastAnswer.of(fit, document, units)
