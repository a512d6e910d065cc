"""The policy as an entry of the stream: its files with their names, and the judge that it is for. No I/O.

Hubs change over at its place in the stream. The folders of the hub that told it stay its own: files are named from the
policy's own folder, ready policies by where they stand in every installation.
"""

import json
import posixpath
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any

from gateway.club.slices import ALL, Slices, slices_from
from gateway.documents import DocumentError
from gateway.judge.source import MAXIMUM_FILES, PolicySource, PolicyText, read_policy

MAXIMUM_OCTETS = 900 * 1024
"""The engine takes messages up to 1 MiB, unless its operator says otherwise."""

READY = "(ready)"
SUFFIXES = (".yaml", ".yml")


class PolicyEntryError(ValueError):
    """It is no policy; the text is our own."""


@dataclass(frozen=True, slots=True)
class PolicyEntry:
    """A policy, and the judge that is to judge by it."""

    judge: int
    begins: bool
    """Whether every hub begins here with a judge that knows nothing: the first policy of a club, or the first after
    what the judge knew was lost."""

    texts: tuple[PolicyText, ...]
    """Its files, its own first."""

    slices: Slices = ALL
    """Which hubs it begins for: those that take these. For all others it is a policy as any other."""

    def begins_for(self, slices: Slices) -> bool:
        """Whether the hubs that take these begin here with a judge that knows nothing."""
        return self.begins and self.slices in (ALL, slices)

    def to_octets(self) -> bytes:
        """The message. Raises `PolicyEntryError` where it is longer than the engine takes."""
        files = [{"file": text.file, "text": text.text} for text in self.texts]
        fields: dict[str, Any] = {"judge": self.judge, "begins": self.begins, "files": files}
        if not self.slices.are_all:
            fields["slices"] = self.slices.numbers
        octets = json.dumps(fields, ensure_ascii=False).encode("utf-8")
        if len(octets) > MAXIMUM_OCTETS:
            raise PolicyEntryError(f"the policy with its includes is longer than {MAXIMUM_OCTETS // 1024} kB")
        return octets

    def source(self) -> PolicySource:
        """The policy, read and checked. Raises `PolicyEntryError`."""
        by_name = {text.file: text for text in self.texts}

        def fetch(name: str, including: str) -> PolicyText:
            if "/" not in name and not name.endswith(SUFFIXES):
                path = f"{READY}/{name}{SUFFIXES[0]}"
            else:
                path = posixpath.normpath(posixpath.join(posixpath.dirname(including), name))
            if path not in by_name:
                raise FileNotFoundError(2, "it did not come with the policy")
            return by_name[path]

        try:
            return read_policy(self.texts[0], fetch)
        except DocumentError as error:
            raise PolicyEntryError(str(error.problems[0])) from None


def entry_of(source: PolicySource, judge: int, ready: PurePath) -> PolicyEntry:
    """The entry of a policy that was read from files; `ready` is the folder of the ready policies."""
    own = PurePath(source.texts[0].file).parent

    def name_of(file: str) -> str:
        path = PurePath(file)
        if path.parent == ready:
            return f"{READY}/{path.name}"
        return posixpath.relpath(path.as_posix(), own.as_posix() or ".")

    texts = tuple(PolicyText(name_of(text.file), text.text) for text in source.texts)
    return PolicyEntry(judge, begins=False, texts=texts)


def read_entry(octets: bytes) -> PolicyEntry:
    """Read the message. Raises `PolicyEntryError`."""
    if len(octets) > MAXIMUM_OCTETS:
        raise PolicyEntryError("it is longer than a policy can be")
    try:
        value = json.loads(octets)
    except (ValueError, RecursionError):
        raise PolicyEntryError("it is no JSON") from None
    match value:
        case {"judge": int(judge), "begins": bool(begins), "files": list(files)} if (
            files and len(files) <= MAXIMUM_FILES
        ):
            return PolicyEntry(judge, begins, tuple(map(_text, files)), _slices(value.get("slices")))
    raise PolicyEntryError("it has other fields than ours")


def _slices(value: object) -> Slices:
    try:
        return ALL if value is None else slices_from(value)
    except ValueError:
        raise PolicyEntryError("its slices are none") from None


def _text(value: Mapping[str, Any]) -> PolicyText:
    match value:
        case {"file": str(file), "text": str(text)}:
            return PolicyText(file, text)
    raise PolicyEntryError("one of its files is none")
