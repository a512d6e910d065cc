"""Holds payloads to the JSON Schemas that the package carries, with a general reader of such schemas."""

import json
from functools import cache
from typing import Any

from jsonschema import Draft202012Validator
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from gateway.feed.schemas import Schema, load
from gateway.reports import load_schema as load_report_schema


@cache
def validator(schema: Schema) -> Draft202012Validator:
    """A validator that knows every schema of the package."""
    loaded = [load_report_schema(), *(load(one) for one in Schema)]
    resources = [(one["$id"], DRAFT202012.create_resource(one)) for one in loaded]
    return Draft202012Validator(load(schema), registry=Registry().with_resources(resources))


def held_to(schema: Schema, payload: bytes) -> dict[str, Any]:
    """The object that `payload` is. Raises where it is no JSON (RFC 8259: no NaN) or breaks the schema."""
    plain = json.loads(payload, parse_constant=_refuse)
    validator(schema).validate(plain)
    assert isinstance(plain, dict)
    return plain


def _refuse(constant: str) -> None:
    raise AssertionError(f"{constant} is no JSON")
