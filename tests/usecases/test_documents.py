"""Dataclasses as plain JSON: back to the same numbers, and each fault where it stands."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from models.bloom.observations import IntArray
from models.records import HeatRule
from models.units import FloatArray
from service.usecases.documents import Written


@dataclass(frozen=True, eq=False)
class Shelf:
    """What a document may hold."""

    name: str
    rule: HeatRule
    heights: FloatArray
    counts: IntArray


SHELF = TypeAdapter[Shelf](Written[Shelf])
RULE = {"method": "average", "base_c": 10.0, "upper_c": None, "cutoff": "none", "accumulate_from": None}
PLAIN: dict[str, Any] = {"name": "s", "rule": RULE, "heights": [[0.1, 2.0]], "counts": [[[3]]]}


def test_arrays_and_parts_come_back() -> None:
    shelf = SHELF.validate_python(PLAIN)
    assert shelf.rule == HeatRule()
    assert (shelf.heights.shape, shelf.heights.dtype.name) == ((1, 2), "float64")
    assert (shelf.counts.shape, shelf.counts.dtype.name) == ((1, 1, 1), "int64")
    assert SHELF.dump_python(shelf, mode="json") == PLAIN
    assert json.loads(SHELF.dump_json(shelf)) == PLAIN


def test_whole_numbers_are_read_as_numbers_where_numbers_are_meant() -> None:
    shelf = SHELF.validate_python({**PLAIN, "heights": [1, 2]})
    assert SHELF.dump_json(shelf).count(b"[1.0,2.0]") == 1


@pytest.mark.parametrize(
    ("change", "where", "said"),
    [
        ({"heights": [[0.1], ["2"]]}, ("heights", 1, 0), "valid number"),
        ({"heights": [0.1, True]}, ("heights", 1), "valid number"),
        ({"heights": [float("inf")]}, ("heights", 0), "finite"),
        ({"heights": [[1.0], [1.0, 2.0]]}, ("heights",), "differ in length"),
        ({"heights": [[[[[1.0]]]]]}, ("heights", 0, 0, 0, 0), "valid number"),
        ({"heights": None}, ("heights",), "valid list"),
        ({"heights": 1.0}, ("heights",), "valid list"),
        ({"counts": [1.5]}, ("counts", 0), "integer"),
        ({"counts": [10**30]}, ("counts",), "too large"),
        ({"name": "\0"}, ("name",), "pattern"),
        ({"name": 1}, ("name",), "string"),
        ({"rule": {**RULE, "cutoff": "vertical"}}, ("rule", "cutoff"), "upper_c"),
        ({"rule": {**RULE, "accumulate_from": "02-30"}}, ("rule", "accumulate_from"), "MM-DD"),
        ({"rule": {**RULE, "base_c": "10"}}, ("rule", "base_c"), "number"),
        ({"rule": {}}, ("rule", "method"), "required"),
        ({"rule": None}, ("rule",), "dictionary"),
        ({"hook": 1}, ("hook",), "Unexpected"),
    ],
)
def test_a_fault_is_told_where_it_stands(
    change: dict[str, Any], where: tuple[str | int, ...], said: str
) -> None:
    with pytest.raises(ValidationError) as caught:
        SHELF.validate_python({**PLAIN, **change})
    first = caught.value.errors()[0]
    assert first["loc"] == where
    assert said in first["msg"]
