"""The policy language as a JSON Schema, for editors: made from the models, so that it cannot say anything else.

`python -m gateway.judge.policy_schema > policies/policy.schema.json` writes it anew; a test says when that is due.
"""

import json
import sys
from typing import Any

from gateway.judge.policy import Policy

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def policy_schema() -> dict[str, Any]:
    """The JSON Schema of a policy file."""
    schema = _without_nothing(Policy.model_json_schema(by_alias=True))
    return {"$schema": DIALECT, **schema, "title": "Stile policy", "description": "See README.md beside this file."}


def _without_nothing(part: Any) -> Any:  # noqa: ANN401 - whatever JSON holds
    """`part` without the alternative "null": a key is given a value or left out."""
    if isinstance(part, list):
        return [_without_nothing(item) for item in part]
    if not isinstance(part, dict):
        return part
    kept = {key: _without_nothing(value) for key, value in part.items() if (key, value) != ("default", None)}
    choices = [choice for choice in kept.get("anyOf", ()) if choice != {"type": "null"}]
    if len(choices) == 1:
        del kept["anyOf"]
        return {**choices[0], **kept}
    return {**kept, "anyOf": choices} if choices else kept


def policy_schema_text() -> str:
    """The file's text."""
    return json.dumps(policy_schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    sys.stdout.write(policy_schema_text())
