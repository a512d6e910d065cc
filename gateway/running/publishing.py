"""The policy in force as the web shows it: its texts, and where each rule and rate stands in them."""

from collections.abc import Iterable, Iterator

from gateway.judge.policy import Rate, Rule
from gateway.judge.source import Entry, PolicySource
from gateway.web.sources import PolicyFile, PolicyPlace, PublishedPolicy


def published_policy(source: PolicySource, refused: str) -> PublishedPolicy:
    """The policy; `refused` says why a newer one cannot be used, and is empty where there is none."""
    files = {text.file: PolicyFile(text.file, text.text) for text in source.texts}
    entries = [
        *_entries("rule", source.policy.rules, source.rules, files),
        *_entries("rate", source.policy.rates, source.rates, files),
    ]
    return PublishedPolicy(source.label, list(files.values()), entries, refused)


def _entries(
    kind: str, written: Iterable[Rule | Rate], entries: Iterable[Entry], files: dict[str, PolicyFile]
) -> Iterator[PolicyPlace]:
    for each, entry in zip(written, entries, strict=True):
        yield PolicyPlace(kind, each.name, files[entry.document.file], entry.problem("").line)
