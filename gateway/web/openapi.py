"""The OpenAPI document of the HTTP interface: the paths, with the schemas of the feed put in their places."""

import json
from collections.abc import Iterator
from importlib import resources
from typing import Any

from gateway import __version__
from gateway.feed.schemas import bundled

_ONLY_WITH_TOKEN = {
    "401": {"$ref": "#/components/responses/unauthorized"},
    "429": {"$ref": "#/components/responses/tooManyTokens"},
}


def document(*, with_token: bool) -> dict[str, Any]:
    """The document, for a gateway whose readers need a token or not."""
    paper: dict[str, Any] = json.loads(resources.files(__package__).joinpath("openapi.json").read_text("utf-8"))
    paper["info"]["version"] = __version__
    if with_token:
        paper["security"] = [{"token": []}]
        for operation in _operations(paper):
            if "security" not in operation:
                operation["responses"] |= _ONLY_WITH_TOKEN
    else:
        del paper["components"]["securitySchemes"]
        for reference in _ONLY_WITH_TOKEN.values():
            del paper["components"]["responses"][reference["$ref"].rpartition("/")[2]]
        for operation in _operations(paper):
            operation.pop("security", None)
    paper["components"]["schemas"] |= bundled("/components/schemas/{}")
    return paper


def _operations(paper: dict[str, Any]) -> Iterator[dict[str, Any]]:
    return (operation for path in paper["paths"].values() for operation in path.values())
