"""`stile changes`: what changed from version to version, as the package carries it."""

import re
from collections.abc import Iterator
from importlib import resources

from gateway.commands.usage import CommandError

_HEADING = re.compile(r"^## (?P<version>.+)$", re.MULTILINE)


def changes(since: str | None = None) -> str:
    """The changes of every version, the newest first; of those alone that came after `since`, where it is said.

    Raises `CommandError` where no such version was released.
    """
    text = resources.files("gateway").joinpath("guide", "changes.md").read_text("utf-8")
    by_version = dict(_versions(text))
    if since is None:
        return "\n\n".join(by_version.values())
    if since not in by_version:
        raise CommandError(f"no version {since} is known: {', '.join(by_version)}")
    newer = list(by_version)[: list(by_version).index(since)]
    return "\n\n".join(by_version[version] for version in newer) or f"Nothing changed since {since}."


def _versions(text: str) -> Iterator[tuple[str, str]]:
    """Each version with what stands under it, its heading included."""
    headings = list(_HEADING.finditer(text))
    ends = [heading.start() for heading in headings[1:]] + [len(text)]
    for heading, end in zip(headings, ends, strict=True):
        yield heading["version"], text[heading.start() : end].strip()
