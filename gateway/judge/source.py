"""A policy's text, with what it includes, becomes one checked policy. No I/O: the texts are fetched by the caller."""

import hashlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import chain

from gateway.documents import MAXIMUM_TEXT, MAXIMUM_VALUES, Document, DocumentError, Problem, check, nearest, parse
from gateway.judge.compiled import CompiledPolicy, patterns_in
from gateway.judge.conditions import Post
from gateway.judge.policy import Policy

DIGEST_LENGTH = 6
MAXIMUM_FILES = 64


@dataclass(frozen=True, slots=True)
class PolicyText:
    """One file of a policy: the text, and the name by which problems are reported and includes are found."""

    file: str
    text: str


Fetch = Callable[[str, str], PolicyText]
"""Gives the file that an include names, as seen from the file it stands in. Raises `OSError`."""


@dataclass(frozen=True, slots=True)
class Entry:
    """Where a rule, rate or example stands."""

    document: Document
    place: tuple[str | int, ...]

    def problem(self, what: str) -> Problem:
        """A problem with this entry."""
        return self.document.problem(self.place, what)


@dataclass(frozen=True)
class PolicySource:
    """A policy with all that it includes, merged: its own entries first, then those of each include in turn."""

    policy: Policy
    digest: str
    """The first digits of the SHA-256 of all its texts."""

    texts: tuple[PolicyText, ...]
    """Its files, its own first."""

    rules: tuple[Entry, ...]
    rates: tuple[Entry, ...]
    examples: tuple[Entry, ...]

    overlooked: tuple[Entry, ...]
    """What stands in included files and counts in the first file alone."""

    @property
    def label(self) -> str:
        """Name and digest, as every verdict carries them."""
        return f"{self.policy.name}@{self.digest}"

    @property
    def files(self) -> tuple[str, ...]:
        """The names of its files."""
        return tuple(text.file for text in self.texts)

    def compiled(self, post: Post) -> CompiledPolicy:
        """The policy made ready to be asked at `post`."""
        if post not in self._compiled:
            self._compiled[post] = CompiledPolicy(self.policy, self.digest, post)
        return self._compiled[post]

    @cached_property
    def _compiled(self) -> dict[Post, CompiledPolicy]:
        """What was made ready: its examples, the review and the judge ask the same."""
        return {}


def read_policy(first: PolicyText, fetch: Fetch) -> PolicySource:
    """Read a policy and what it includes. Raises `DocumentError` with every problem found."""
    parts = list(_Files(first, fetch))
    groups = {name: patterns for _, policy in parts for name, patterns in policy.groups.items()}
    problems = chain(
        _groups_twice(parts), _twice(parts, "rules"), _twice(parts, "rates"), _unknown_groups(parts, groups)
    )
    if (first_problem := next(problems, None)) is not None:
        raise DocumentError(chain([first_problem], problems))
    entries = {kind: tuple(_entries(parts, kind)) for kind in ("rules", "rates", "examples")}
    merged = parts[0][1].model_copy(
        update={
            "groups": groups,
            **{kind: [entry for _, policy in parts for entry in getattr(policy, kind)] for kind in entries},
        }
    )
    texts = "\0".join(document.text for document, _ in parts)
    return PolicySource(
        policy=merged,
        digest=hashlib.sha256(texts.encode("utf-8")).hexdigest()[:DIGEST_LENGTH],
        texts=tuple(PolicyText(document.file, document.text) for document, _ in parts),
        rules=entries["rules"],
        rates=entries["rates"],
        examples=entries["examples"],
        overlooked=tuple(
            Entry(document, ("duplicates",))
            for document, policy in parts[1:]
            if "duplicates" in policy.model_fields_set
        ),
    )


class _Files:
    """The files of a policy, each as a document and its model; together they are no larger than one may be alone."""

    def __init__(self, first: PolicyText, fetch: Fetch) -> None:
        self._first = first
        self._fetch = fetch
        self._files_read = {first.file}
        self._values = MAXIMUM_VALUES
        self._characters = MAXIMUM_TEXT

    def __iter__(self) -> Iterator[tuple[Document, Policy]]:
        return self._read(self._first, ())

    def _read(self, text: PolicyText, above: tuple[str, ...]) -> Iterator[tuple[Document, Policy]]:
        """The file itself, then what it includes; what several files include is read once, in its first place."""
        self._characters -= len(text.text)
        if self._characters < 0:
            what = f"with it, the files of the policy hold more than {MAXIMUM_TEXT} characters"
            raise DocumentError([Problem(text.file, 1, "", what)])
        document = parse(text.text, text.file, most_values=self._values)
        self._values -= document.values
        policy = check(document, Policy)
        yield document, policy
        for position, name in enumerate(policy.include):
            included = self._included(document, position, name, (*above, text.file))
            if included is not None:
                yield from self._read(included, (*above, text.file))

    def _included(self, document: Document, position: int, name: str, above: tuple[str, ...]) -> PolicyText | None:
        """The file that an include names; None where it was read already."""
        try:
            included = self._fetch(name, document.file)
        except OSError as error:
            raise DocumentError(
                [document.problem(("include", position), f"{name} cannot be read: {error.strerror}")]
            ) from None
        if included.file in above:
            what = f"{name} includes itself, by way of this file"
        elif included.file in self._files_read:
            return None
        elif len(self._files_read) >= MAXIMUM_FILES:
            what = f"more than {MAXIMUM_FILES} files make up the policy"
        else:
            self._files_read.add(included.file)
            return included
        raise DocumentError([document.problem(("include", position), what)])


def _entries(parts: list[tuple[Document, Policy]], kind: str) -> Iterable[Entry]:
    for document, policy in parts:
        for position in range(len(getattr(policy, kind))):
            yield Entry(document, (kind, position))


def _groups_twice(parts: list[tuple[Document, Policy]]) -> Iterable[Problem]:
    names: set[str] = set()
    for document, policy in parts:
        for name in policy.groups:
            if name in names:
                yield document.problem(("groups", name), f"the group {name} stands in two files")
            names.add(name)


def _twice(parts: list[tuple[Document, Policy]], kind: str) -> Iterable[Problem]:
    first_by_name: dict[str, Problem] = {}
    for document, policy in parts:
        for position, entry in enumerate(getattr(policy, kind)):
            here = document.problem((kind, position, "name"), "")
            if (first := first_by_name.setdefault(entry.name, here)) is not here:
                what = (
                    f"{entry.name} stands at {first.file}:{first.line} too; a verdict names the entry, so names differ"
                )
                yield document.problem((kind, position, "name"), what)


def _unknown_groups(parts: list[tuple[Document, Policy]], groups: dict[str, list[str]]) -> Iterable[Problem]:
    for document, policy in parts:
        conditions = {"rules": [rule.when for rule in policy.rules], "rates": [rate.when for rate in policy.rates]}
        for kind, whens in conditions.items():
            for position, when in enumerate(whens):
                for pattern in patterns_in([when]):
                    if pattern.startswith("@") and pattern[1:] not in groups:
                        what = f"there is no group {pattern[1:]}{nearest(pattern[1:], groups)}"
                        yield document.problem((kind, position, "when"), what)
