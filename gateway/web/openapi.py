"""The OpenAPI document of the HTTP interface: the paths, with the schemas of the feed put in their places."""

import json
from importlib import resources
from typing import Any

from gateway import __version__
from gateway.feed.schemas import Schema, load
from gateway.reports.published import load_schema as load_report_schema

REPORT = "report"
_ONLY_WITH_TOKEN = {
    "401": {"$ref": "#/components/responses/unauthorized"},
    "429": {"$ref": "#/components/responses/tooManyTokens"},
}

_SHARED = "#/components/schemas/"


def document(*, with_token: bool) -> dict[str, Any]:
    """The document, for a gateway whose readers need a token or not."""
    written: dict[str, Any] = json.loads(resources.files(__package__).joinpath("openapi.json").read_text("utf-8"))
    written["info"]["version"] = __version__
    if with_token:
        written["security"] = [{"token": []}]
        for path in written["paths"].values():
            if "security" not in path["get"]:
                path["get"]["responses"] |= _ONLY_WITH_TOKEN
    else:
        del written["components"]["securitySchemes"]
        for reference in _ONLY_WITH_TOKEN.values():
            del written["components"]["responses"][reference["$ref"].rpartition("/")[2]]
        for path in written["paths"].values():
            path["get"].pop("security", None)
    schemas = {schema.value: load(schema) for schema in Schema} | {REPORT: load_report_schema()}
    names = {schema["$id"]: name for name, schema in schemas.items()}
    shared = written["components"]["schemas"]
    for name, schema in schemas.items():
        body = {key: value for key, value in schema.items() if key not in {"$id", "$schema"}}
        shared[name] = _with_shared_references(body, names, _SHARED + name)
    document: dict[str, Any] = _with_shared_references(written, names, "")
    return document


def _with_shared_references(part: Any, names: dict[str, str], own: str) -> Any:  # noqa: ANN401 - any part of JSON
    """`part` of a document, with each reference as it is written from anywhere in the document.

    `names` are those under which the schemas stand, by their `$id`; `own` is where the schema that `part` is of stands.
    """
    if isinstance(part, list):
        return [_with_shared_references(one, names, own) for one in part]
    if not isinstance(part, dict):
        return part
    changed = {key: _with_shared_references(value, names, own) for key, value in part.items()}
    reference = part.get("$ref")
    if isinstance(reference, str):
        identity, _, place = reference.partition("#")
        if identity:
            changed["$ref"] = _SHARED + names[identity] + place
        elif own:
            changed["$ref"] = own + place
    return changed
