"""Finds and reads policy files: a ready one by its name, or any by its path."""

import os
from collections.abc import Iterator
from itertools import chain
from pathlib import Path

from gateway.documents import DocumentError, Problem, nearest, read_text
from gateway.judge.conditions import Post
from gateway.judge.examples import check_examples
from gateway.judge.policy import Rate, Rule, receivers_in
from gateway.judge.source import Entry, PolicySource, PolicyText, read_policy
from gateway.settings import StationText

SUFFIX = ".yaml"


def ready_policies() -> Path:
    """The folder of the ready policies: in the installed package, or beside it in a checkout."""
    package = Path(__file__).parent.parent
    installed = package / "policies"
    return installed if installed.is_dir() else package.parent / "policies"


def ready_names() -> list[str]:
    """The names by which the ready policies are asked for."""
    return sorted(path.stem for path in ready_policies().glob(f"*{SUFFIX}"))


def locate(policy: str, beside: Path) -> Path:
    """The file that `policy` means: a ready policy's name, or a path, relative ones from the folder `beside`."""
    if "/" not in policy and not policy.endswith((SUFFIX, ".yml")):
        return ready_policies() / f"{policy}{SUFFIX}"
    return beside / policy


def load(policy: str, post: Post, *, beside: Path) -> PolicySource:
    """Read a policy and everything that it includes, and check its examples at `post`.

    Raises `DocumentError`, which says what is wrong and where.
    """
    path = locate(policy, beside)
    try:
        first = _read(path)
    except OSError as error:
        ready = ready_names()
        hint = f"{nearest(policy, ready)}; ready policies are {', '.join(ready)}" if "/" not in policy else ""
        raise DocumentError([Problem(str(path), 1, "", f"cannot be read: {error.strerror}{hint}")]) from None
    source = read_policy(first, _fetch)
    check_examples(source, post)
    return source


def load_for(station: StationText) -> PolicySource:
    """The policy that the station file names, fit for this station. Raises `DocumentError`."""
    source = load(station.settings.policy, station.settings.post, beside=station.folder)
    if problems := [*_budget_problems(station, source), *_unknown_receivers(station, source)]:
        raise DocumentError(problems)
    return source


def _budget_problems(station: StationText, source: PolicySource) -> Iterator[Problem]:
    """A budget is to survive a restart, so there must be a journal to keep it in."""
    what = "a budget must survive a restart: write `journal: {path: stile.db}` into the station file"
    for rate, entry in zip(source.policy.rates, source.rates, strict=True):
        if rate.allow.octets and station.settings.journal is None:
            yield entry.problem(what)


def _unknown_receivers(station: StationText, source: PolicySource) -> Iterator[Problem]:
    """What asks for a receiver that there is not never holds, and nobody would notice.

    A hub of a club judges what the receivers of its posts hear, and their names are not in its station file.
    """
    if station.settings.club is not None and station.settings.club.role == "hub":
        return
    names = station.settings.receiver_names
    listed = ", ".join(names)
    rules = zip(source.policy.rules, source.rules, strict=True)
    rates = zip(source.policy.rates, source.rates, strict=True)
    for written, entry in chain[tuple[Rule | Rate, Entry]](rules, rates):
        for place, name in receivers_in(written.when, ("when",)):
            if name not in names:
                what = f"the station file has no receiver {name}{nearest(name, names) or f'; it has {listed}'}"
                yield entry.document.problem((*entry.place, *place), what)


def _fetch(name: str, including: str) -> PolicyText:
    return _read(locate(name, Path(including).parent))


def _read(path: Path) -> PolicyText:
    """The text of a file, which is known by its path without detours: an include is recognised by it."""
    return PolicyText(os.path.normpath(path), read_text(path))
