"""Types of values that all our files share: lengths of time, distances, names, lists of one or more."""

import re
from collections.abc import Callable
from typing import Annotated, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    WithJsonSchema,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from gateway.groundwork.duration import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS


class Section(BaseModel):
    """Keys with values: unknown keys are errors, what was read stays as it is, no error quotes what may be a secret."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True, defer_build=True)


_Item = TypeVar("_Item")


class _Listed:
    """Reads one value as a list of one, and says so in the schema."""

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(
            lambda value: value if isinstance(value, list) else [value], handler(source)
        )

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        several = handler(schema)
        return {"anyOf": [several["items"], several]}


OneOrMore = Annotated[list[_Item], Field(min_length=1, fail_fast=True), _Listed()]
"""A list means any of it; one value stands for a list of one. It may be long: of its mistakes the first is told."""


def fits(pattern: str, what_is_meant: str) -> Callable[[str], str]:
    """A check that a text matches all of `pattern`; `what_is_meant` tells the operator what is meant, instead of it."""
    expression = re.compile(pattern)

    def check(text: str) -> str:
        if expression.fullmatch(text) is None:
            raise ValueError(f"{text!r} {what_is_meant}")
        return text

    return check


NAME = r"[a-z0-9][a-z0-9-]{0,62}"
"""Of what the operator gives a name."""

Name = Annotated[
    str,
    AfterValidator(fits(NAME, "is no name: write small letters, digits and hyphens, no more than 63")),
    WithJsonSchema({"type": "string", "pattern": f"^{NAME}$"}),
]


def duration_ms(text: object) -> int:
    """Milliseconds from `30s`, `90s`, `5m`, `24h`, `30d`. Raises `ValueError`."""
    match = re.fullmatch(r"(\d{1,9})\s*(ms|s|m|h|d)", text) if isinstance(text, str) else None
    if match is None:
        raise ValueError(f"{text!r} is no length of time; write a number and its unit, as 30s, 5m, 24h or 30d")
    return int(match[1]) * {"ms": 1, "s": SECOND_MS, "m": MINUTE_MS, "h": HOUR_MS, "d": DAY_MS}[match[2]]


Duration = Annotated[
    int, BeforeValidator(duration_ms), WithJsonSchema({"type": "string", "pattern": r"^\d{1,9}\s*(ms|s|m|h|d)$"})
]
"""In milliseconds."""


def between(shortest: str, longest: str) -> AfterValidator:
    """Bounds of a `Duration`, both included."""
    least, most = duration_ms(shortest), duration_ms(longest)

    def check(milliseconds: int) -> int:
        if not least <= milliseconds <= most:
            raise ValueError(f"this should be from {shortest} to {longest}")
        return milliseconds

    return AfterValidator(check)


def _kilometres(text: object) -> float:
    match = re.fullmatch(r"(\d{1,5}(?:\.\d{1,6})?)\s*(km|m)", text) if isinstance(text, str) else None
    if match is None:
        raise ValueError(f"{text!r} is no distance; write a number and its unit, as 300km or 500m")
    return float(match[1]) / (1000 if match[2] == "m" else 1)


Kilometres = Annotated[
    float,
    BeforeValidator(_kilometres),
    WithJsonSchema({"type": "string", "pattern": r"^\d{1,5}(\.\d{1,6})?\s*(km|m)$"}),
]
