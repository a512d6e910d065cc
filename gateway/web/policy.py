"""The policy in force as it is shown: its texts, where each rule and rate stands in them, and how often it decided."""

from collections.abc import Mapping
from pathlib import PurePath

from gateway.frames.plain import PlainObject
from gateway.judge.source import PolicySource


def policy_object(source: PolicySource, refused: str, decided: Mapping[str, int]) -> PlainObject:
    """The plain form. `refused` says why a newer one cannot be used; `decided`, how often by rule and rate.

    Rules come before rates, each in the order in which they are asked; lines are counted from 1.
    """
    rules = zip([rule.name for rule in source.policy.rules], source.rules, strict=True)
    rates = zip([rate.name for rate in source.policy.rates], source.rates, strict=True)
    entries = [
        {
            "kind": kind,
            "name": name,
            "file": _shown_name(entry.document.file),
            "line": entry.problem("").line,
            "decided": decided.get(name, 0),
        }
        for kind, named in (("rule", rules), ("rate", rates))
        for name, entry in named
    ]
    files = [{"name": _shown_name(text.file), "text": text.text} for text in source.texts]
    plain: PlainObject = {"policy": source.label, "files": files, "entries": entries}
    return {**plain, "refused": refused} if refused else plain


def _shown_name(file: str) -> str:
    """As the operator wrote it. Of an absolute path only the last part is shown: the rest tells of the machine."""
    path = PurePath(file)
    return path.name if path.is_absolute() else file
