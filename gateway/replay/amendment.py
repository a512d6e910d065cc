"""A policy with some lines of YAML added, as an operator would add them. No file is touched."""

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from gateway.documents import Document, check, parse
from gateway.judge.policy import Policy, Rate, Rule
from gateway.judge.source import DIGEST_LENGTH, Entry, PolicySource

LINES = "the lines to try"
"""What problems in them are said to be in."""

_PLAIN_WORD = re.compile(r"[a-z][a-z0-9-]*|[1-9]\d* (per|kB per|MB per) [a-z]+")
_WORDS_WITH_MEANING = frozenset({"true", "false", "null"})

_Named = TypeVar("_Named", bound=Rule | Rate)


def amended(source: PolicySource, lines: str) -> PolicySource:
    """The policy with `lines`: `duplicates:`, entries of `rules:` and of `rates:`.

    An entry takes the place of the one with its name; a new rule stands before all others, since the first that
    matches decides, and a new rate after them. Raises `DocumentError` where the lines are no part of a policy.
    """
    parsed = parse(lines, LINES)
    content = parsed.content if isinstance(parsed.content, dict) else {}
    whole = {"version": source.policy.version, "name": source.policy.name, **content}
    document = replace(parsed, content=whole)
    added = check(document, Policy)
    rules = _merged(
        source.policy.rules, source.rules, added.rules, _entries(document, "rules", added.rules), first=True
    )
    rates = _merged(
        source.policy.rates, source.rates, added.rates, _entries(document, "rates", added.rates), first=False
    )
    update: dict[str, object] = {"rules": [rule for rule, _ in rules], "rates": [rate for rate, _ in rates]}
    if "duplicates" in content:
        update["duplicates"] = added.duplicates
    return replace(
        source,
        policy=source.policy.model_copy(update=update),
        digest=hashlib.sha256(f"{source.digest}\0{lines}".encode()).hexdigest()[:DIGEST_LENGTH],
        rules=tuple(entry for _, entry in rules),
        rates=tuple(entry for _, entry in rates),
    )


def entry_lines(kind: str, entry: Mapping[str, Any]) -> str:
    """An entry of `rules:` or `rates:` as YAML, a key a line."""
    keys = [f"{key}: {_flow(value)}" for key, value in entry.items()]
    return "\n".join([f"{kind}:", f"  - {keys[0]}", *(f"    {key}" for key in keys[1:])]) + "\n"


def written(entry: Entry) -> dict[str, Any]:
    """An entry as it was written, to be changed and written anew."""
    value = entry.document.content
    for part in entry.place:
        value = value[part]
    return dict(value)


def _entries(document: Document, kind: str, added: Sequence[object]) -> list[Entry]:
    return [Entry(document, (kind, position)) for position in range(len(added))]


def _merged(
    present: Iterable[_Named],
    entries: Iterable[Entry],
    added: Iterable[_Named],
    new_entries: Iterable[Entry],
    *,
    first: bool,
) -> list[tuple[_Named, Entry]]:
    changes = {each.name: (each, entry) for each, entry in zip(added, new_entries, strict=True)}
    pairs = zip(present, entries, strict=True)
    merged = [changes.pop(each.name, (each, entry)) for each, entry in pairs]
    new = list(changes.values())
    return [*new, *merged] if first else [*merged, *new]


def _flow(value: object) -> str:
    """A value in YAML's flow style; text is in quotation marks wherever it could be taken for something else."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_flow(below)}" for key, below in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_flow, value)) + "]"
    if isinstance(value, str) and _PLAIN_WORD.fullmatch(value) and value not in _WORDS_WITH_MEANING:
        return value
    return json.dumps(value, ensure_ascii=False)
