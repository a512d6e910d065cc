"""The JSON Schemas (draft 2020-12) of what is published, carried in the package beside this file."""

import json
from collections.abc import Mapping
from enum import StrEnum
from importlib import resources
from typing import Any

from gateway.reports.published import load_schema as load_report_schema

REPORT = "report"
"""What the schema of a report is called beside those of `Schema`."""


class Schema(StrEnum):
    """Each kind of payload that has a schema."""

    HEARD = "heard"
    FORWARDED = "forwarded"
    STATION = "station"
    ALERT = "alert"
    HEALTH = "health"
    STATUS = "status"


def load(schema: Schema) -> dict[str, Any]:
    """The schema as a plain object. Others refer to it by its `$id`, and it to that of `gateway.reports`."""
    text = resources.files(__package__).joinpath("schema", f"{schema}.schema.json").read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def bundled(place: str) -> dict[str, Any]:
    """Every schema by name, each fit to stand at `place`, where `{}` is its name, of one JSON document.

    There they refer to each other by JSON pointers (RFC 6901) into that document, instead of by `$id`. Each of their
    `$defs` is one beside the others, as `heard-time`: some readers do not find what stands beside a `$ref`.
    """
    schemas = {schema.value: load(schema) for schema in Schema} | {REPORT: load_report_schema()}
    names = {schema["$id"]: name for name, schema in schemas.items()}
    apart: dict[str, Any] = {}
    for name, schema in schemas.items():
        body = {key: value for key, value in schema.items() if key not in {"$id", "$schema", "$defs"}}
        parts = {name: body} | {f"{name}-{key}": value for key, value in schema.get("$defs", {}).items()}
        apart |= {key: _placed(part, place, names, name) for key, part in parts.items()}
    return apart


def _placed(part: Any, place: str, names: Mapping[str, str], own: str) -> Any:  # noqa: ANN401 - any part of JSON
    """`part` of the schema called `own`, with its references written as from anywhere in the document."""
    if isinstance(part, list):
        return [_placed(one, place, names, own) for one in part]
    if not isinstance(part, dict):
        return part
    changed = {key: _placed(value, place, names, own) for key, value in part.items()}
    if isinstance(part.get("$ref"), str):
        identity, _, pointer = part["$ref"].partition("#")
        name = names[identity] if identity else own
        if pointer.startswith("/$defs/"):
            name, pointer = f"{name}-{pointer.removeprefix('/$defs/')}", ""
        changed["$ref"] = f"#{place.format(name)}{pointer}"
    return changed
