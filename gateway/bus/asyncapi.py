"""The feed on the bus as an AsyncAPI 3.0 document: its channels as they stand in `asyncapi.json`, with all schemas.

The channels are written by hand; a test holds them to what the bus publishes. Version and schemas are put in from where
they belong: `python -m gateway.bus.asyncapi` writes the file anew, and a test says when that is due.
"""

import json
from pathlib import Path
from typing import Any

from gateway import __version__
from gateway.feed.schemas import bundled

FILE = Path(__file__).with_name("asyncapi.json")
DIALECT = "application/schema+json;version=draft-2020-12"


def document() -> dict[str, Any]:
    """The document. What differs from gateway to gateway is a parameter."""
    written: dict[str, Any] = json.loads(FILE.read_text("utf-8"))
    written["info"]["version"] = __version__
    written["components"]["schemas"] = {
        name: {"schemaFormat": DIALECT, "schema": schema}
        for name, schema in bundled("/components/schemas/{}/schema").items()
    }
    return written


def text() -> str:
    """The file's text."""
    return json.dumps(document(), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), "utf-8")
