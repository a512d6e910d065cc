"""A report as the flat JSON object that the house gets, and the schema that every one of them is held to."""

import json
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from importlib import resources
from typing import Any

from gateway.reports.moment import ReportMoment
from gateway.reports.report import CapabilitiesReport, Report

_DECIMALS_BY_NAME = {
    "latitude": 6,  # a tenth of a metre
    "longitude": 6,
    "area_latitude": 4,
    "area_longitude": 4,
    "area_latitude_span_deg": 5,
    "area_longitude_span_deg": 5,
    "ambiguity_m": 0,
    "snow_last_day_mm": 1,
}
_DECIMALS_BY_UNIT = {
    "kmh": 1,
    "ms": 1,
    "m": 1,
    "km": 2,
    "deg": 1,
    "c": 1,
    "hpa": 1,
    "pct": 1,
    "mm": 2,  # the air counts rain in 0.254 mm
    "mhz": 6,
    "v": 1,
}


def to_object(report: Report) -> dict[str, Any]:
    """The published object: `kind`, then every field that was sent, by name. What was not sent is not there.

    Numbers are finite and rounded to what their source can mean; text holds nothing that JSON cannot.
    """
    published: dict[str, Any] = {"kind": report.kind.value}
    if isinstance(report, CapabilitiesReport):
        published["capabilities"] = dict(report.capabilities)
        return published
    _add(report, published)
    return published


def _add(part: object, published: dict[str, Any]) -> None:
    """Put the fields of `part` into `published`, those of its own parts beside them.

    What was put there first stands: a range among the data extensions goes before that of a frequency.
    """
    for name, decimals in _plan(type(part)):  # type: ignore[arg-type]  # mypy takes a class for unhashable
        value = getattr(part, name)
        if value is None or value == "" or name in published:
            continue
        kind = type(value)
        if kind is str or kind is int or kind is bool:
            published[name] = value
        elif kind is float:
            published[name] = round(value, decimals) + 0.0  # turns a negative zero into a plain one
        elif kind is tuple:
            published[name] = [list(entry) if isinstance(entry, tuple) else entry for entry in value]
        elif isinstance(value, Enum):
            published[name] = value.value
        elif kind is ReportMoment:
            published[name] = str(value)
        else:
            _add(value, published)


@cache
def _plan(part: type[object]) -> tuple[tuple[str, int], ...]:
    """The names of a part's fields, each with the decimals that it is published with."""
    if not is_dataclass(part):
        raise TypeError(f"{part.__name__} is no part of a report")
    return tuple((field.name, _decimals(field.name)) for field in fields(part))


def _decimals(name: str) -> int:
    return _DECIMALS_BY_NAME.get(name, _DECIMALS_BY_UNIT.get(name.rpartition("_")[2], 6))


def load_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of the published object, with the fields that others add to it."""
    text = resources.files(__package__).joinpath("report.schema.json").read_text("utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema
