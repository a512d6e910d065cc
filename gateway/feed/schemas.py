"""The JSON Schemas (draft 2020-12) of what is published, carried in the package beside this file."""

import json
from enum import StrEnum
from importlib import resources
from typing import Any


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
