"""Frozen dataclasses as plain JSON, and back to the very same numbers."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterator
from functools import reduce
from operator import or_
from types import UnionType
from typing import Annotated, Any, TypeVar, get_args, get_type_hints

import numpy as np
from numpy.typing import NDArray
from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    FailFast,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    Strict,
    StringConstraints,
    Tag,
    TypeAdapter,
    ValidationError,
)
from pydantic_core import CoreSchema, InitErrorDetails, PydanticCustomError, core_schema

from models.bloom.observations import IntArray
from models.errors import BadInput
from models.units import FloatArray

Made = TypeVar("Made")
DEEPEST = 4  # axes of the arrays that are kept
TEXT = "text"

# one error a list is told: a wrong matrix would tell thousands
Items = Annotated[tuple[Made, ...], Strict(False), FailFast()]
SLUG = r"^[a-z0-9][a-z0-9-]{0,62}$"
Slug = Annotated[str, StringConstraints(pattern=SLUG)]
Label = Annotated[str, StringConstraints(pattern=r"^[^\x00]*$", max_length=1000)]


def _day(told: object) -> object:
    """A day stands as text in JSON, which strict fields would refuse."""
    return dt.date.fromisoformat(told) if isinstance(told, str) else told


Day = Annotated[dt.date, BeforeValidator(_day)]


class Document(BaseModel):
    """What every document has in common: no field too many, and numbers that are numbers."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True, strict=True)


@dataclasses.dataclass(frozen=True)
class Numbers:
    """Marks an array, which is written as numbers in lists."""

    number: type[float] | type[int]

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self._read, serialization=core_schema.plain_serializer_function_ser_schema(np.ndarray.tolist)
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"type": "array", "items": {}}

    def _read(self, told: object) -> NDArray[Any]:
        if isinstance(told, np.ndarray):
            return told
        lists = LISTS[self.number][_depth(told) - 1].validate_python(told)
        try:
            return np.array(lists, dtype=np.float64 if self.number is float else np.int64)
        except (ValueError, OverflowError):
            raise ValueError("rows differ in length, or a number is too large") from None


@dataclasses.dataclass(frozen=True)
class Fields:
    """Marks a dataclass, which is written field by field; faults that its own checks find are located."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        hints = get_type_hints(source)
        arguments = [
            core_schema.dataclass_field(
                field.name, handler.generate_schema(_written(hints[field.name])), kw_only=True
            )
            for field in dataclasses.fields(source)
        ]
        return core_schema.no_info_after_validator_function(
            _checked,
            core_schema.dataclass_schema(
                source,
                core_schema.dataclass_args_schema(source.__name__, arguments),
                list(hints),
                strict=False,  # JSON's object stands for it; the fields themselves are read strictly
                config=core_schema.CoreConfig(
                    strict=True, allow_inf_nan=False, extra_fields_behavior="forbid"
                ),
            ),
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        told = handler(schema)
        return {**told, "description": told["description"].partition("\n")[0]}


class Codes:
    """Marks a union of dataclasses with a code each, and perhaps a text."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return handler.generate_schema(_told_apart(get_args(source)))


Floats = Annotated[FloatArray, Numbers(float)]
Integers = Annotated[IntArray, Numbers(int)]
Written = Annotated[Made, Fields()]
Coded = Annotated[Made, Codes()]

WRITTEN_AS: dict[Any, Any] = {
    FloatArray: Floats,
    IntArray: Integers,
    str: Label,
    str | None: Label | None,
    dt.date: Day,
}


def _written(hint: Any) -> Any:
    """The type with what a document needs to know of it."""
    if dataclasses.is_dataclass(hint):
        return Annotated[hint, Fields()]
    if isinstance(hint, UnionType) and any(map(dataclasses.is_dataclass, get_args(hint))):
        return _told_apart(get_args(hint))
    return WRITTEN_AS.get(hint, hint)


def _told_apart(kinds: tuple[Any, ...]) -> Any:
    """Dataclasses by their code, or a text."""
    tagged = [Annotated[_written(kind), Tag(getattr(kind, "code", TEXT))] for kind in kinds]
    fault = "must be a text, or have one of the known codes"
    return Annotated[reduce(or_, tagged), Discriminator(_tag, "unknown_code", fault)]


def _tag(told: object) -> object:
    """Which of several dataclasses it is, or that it is a text."""
    if isinstance(told, str):
        return TEXT
    return told.get("code") if isinstance(told, dict) else getattr(told, "code", None)


def _readers(number: type[float] | type[int]) -> Iterator[TypeAdapter[Any]]:
    """What reads numbers in lists, those in lists again, and so on."""
    kind: Any = number
    for _ in range(DEEPEST):
        kind = Annotated[list[kind], FailFast()]
        yield TypeAdapter(kind, config=ConfigDict(strict=True, allow_inf_nan=False))


LISTS = {float: tuple(_readers(float)), int: tuple(_readers(int))}


def _depth(told: object) -> int:
    """How many lists stand within each other at the first number."""
    depth = 0
    while isinstance(told, list) and depth < DEEPEST:
        depth, told = depth + 1, told[0] if told else None
    return max(depth, 1)


def _checked(made: Any) -> Any:
    """The dataclass, by its own checks."""
    try:
        return dataclasses.replace(made)
    except BadInput as error:
        faults = [
            InitErrorDetails(
                type=PydanticCustomError("bad_input", "{problem}", {"problem": fault.problem}),
                loc=(fault.where,),
                input=made,
            )
            for fault in error.problems
        ]
        raise ValidationError.from_exception_data(type(made).__name__, faults) from None
