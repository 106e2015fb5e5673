"""A hindcast's report as plain JSON, and its rows as CSV."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from models.bloom.hindcast import Hindcast
from models.bloom.set_aside import SetAside
from models.bloom.skill import Score
from service.usecases.hindcast import HindcastReport
from service.usecases.shared_fits import SLIPS

DIGITS = 3
COLUMNS = (
    "season",
    "vineyard",
    "block",
    "cultivar",
    "stage",
    "lead",
    "observed",
    "median",
    "low",
    "high",
    "error",
    "crps",
    "covered",
)


def to_document(report: HindcastReport) -> dict[str, Any]:
    """Plain JSON; null where there is no number."""
    return {
        "made": report.made,
        "stages": list(report.stages),
        "interval": report.interval,
        "leads": list(report.leads),
        "searched": report.searched,
        "scores": [
            {
                "stage": group.stage,
                "cultivar": group.cultivar,
                "lead": group.lead,
                **_score(group.score),
            }
            for group in report.scores
        ],
        "rules": [{"season": chosen.season, "heat": asdict(chosen.rule)} for chosen in report.rules],
        "rows": [_row(row) for row in report.rows],
        "not_scored": SLIPS.dump_python(report.not_scored, mode="json"),
        "seconds": round(report.seconds, 1),
    }


def not_scored_of(document: Mapping[str, Any]) -> list[SetAside | str]:
    """What a document's report did not score; texts in those that were made before reasons had codes."""
    return [
        told if isinstance(told, str) else SLIPS.validate_python((told,))[0]
        for told in document["not_scored"]
    ]


def rows_as_csv(rows: Iterable[Mapping[str, Any]]) -> str:
    """The rows of a document, one a forecast and date; empty where there is no value."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(COLUMNS)
    for row in rows:
        cells = ({**row, "covered": str(row["covered"]).lower()}[name] for name in COLUMNS)
        table.writerow(["" if cell is None else cell for cell in cells])
    return text.getvalue()


def _score(found: Score) -> dict[str, int | float | None]:
    return {name: value if name == "n" else _number(value) for name, value in asdict(found).items()}


def _row(row: Hindcast) -> dict[str, Any]:
    return {
        "season": row.season,
        "vineyard": row.site,
        "block": row.block,
        "cultivar": row.cultivar,
        "stage": row.stage,
        "lead": row.lead,
        "observed": row.observed.isoformat(),
        **{
            name: None if day is None else day.isoformat()
            for name, day in (("median", row.median), ("low", row.low), ("high", row.high))
        },
        "error": _number(row.outcome.error),
        "crps": _number(row.outcome.crps),
        "covered": row.outcome.covered,
    }


def _number(value: float) -> float | None:
    return None if math.isnan(value) else round(value, DIGITS)
