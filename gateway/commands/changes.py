"""`stile changes`: what changed from version to version, as the package carries it."""

import re
from importlib import resources

from gateway.commands.usage import CommandError

_HEADING = re.compile(r"^(?=## )", re.MULTILINE)
"""Before a heading: there the text is parted."""


def changes(since: str | None = None) -> str:
    """The changes of every version, the newest first; of those alone that came after `since`, where it is said.

    Raises `CommandError` where no such version was released.
    """
    text = resources.files("gateway").joinpath("guide", "changes.md").read_text("utf-8")
    by_version = {part.partition("\n")[0].removeprefix("## "): part.strip() for part in _HEADING.split(text)[1:]}
    if since is None:
        return "\n\n".join(by_version.values())
    if since not in by_version:
        raise CommandError(f"no version {since} is known: {', '.join(by_version)}")
    newer = list(by_version)[: list(by_version).index(since)]
    return "\n\n".join(by_version[version] for version in newer) or f"Nothing changed since {since}."
