"""What `stile check` says of a station file: what is wrong with it, and what its author may not have meant.

Whatever keeps `stile run` from starting is found here first: what the station file and its policy say is refused by the
same functions, and what only shows at the start, a missing extra or a journal that is none, is looked for.
"""

import importlib.util
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from gateway import settings
from gateway.bus.embedded import NOT_INSTALLED
from gateway.club.embedded import EmbeddedEngineError, find_program
from gateway.commands.answer import counted
from gateway.commands.station_warnings import file_warnings, station_warnings
from gateway.commands.understood import Understood
from gateway.frames.plain import PlainObject
from gateway.journal.reading import trouble_with
from gateway.journal.trouble import JournalRefusedError
from gateway.judge.review import review
from gateway.judge.source import PolicySource
from gateway.settings import DocumentError, Problem, policy_files


@dataclass(frozen=True, slots=True)
class CheckReport:
    """All that was found."""

    station: Path
    problems: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()
    understood: Understood | None = None
    """What the station file says, in other words; None where it cannot be used."""

    source: PolicySource | None = None
    """Its policy, where it could be read."""

    def in_words(self) -> str:
        """For a terminal: what was understood, and then one line that says whether it is fine."""
        if self.understood is None or self.source is None or self.problems:
            return f"{self.station}: {counted(len(self.problems), 'problem')}: it cannot be used as it is"
        parts = ", ".join(counted(count, kind.removesuffix("s")) for kind, count in self._counts().items())
        warned = f"; {counted(len(self.warnings), 'warning')}" if self.warnings else ""
        fine = f"{self.station}: fine, with the policy {self.source.label}: {parts} held{warned}"
        return f"{self.understood.in_words()}\n{fine}"

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {
            "station": str(self.station),
            "policy": self.source.label if self.source else None,
            "problems": [problem.to_object() for problem in self.problems],
            "warnings": [warning.to_object() for warning in self.warnings],
            **self._counts(),
            "understood": self.understood.to_object() if self.understood else None,
        }

    def _counts(self) -> dict[str, int]:
        kinds = ("rules", "rates", "examples")
        return {kind: len(getattr(self.source, kind)) if self.source else 0 for kind in kinds}


def check_station(path: Path) -> CheckReport:
    """Read a station file with its policy, and check the policy's examples."""
    try:
        text = settings.load_text(path)
    except DocumentError as error:
        return CheckReport(path, error.problems)
    problems: list[Problem] = []
    warnings = [*file_warnings([path])]
    station = source = None
    try:
        station = settings.with_secrets(text)
        problems += _what_a_start_would_find(station)
        warnings += station_warnings(station)
    except DocumentError as error:
        problems += error.problems
    try:
        source = policy_files.load_for(text)
        warnings += [*file_warnings(map(Path, source.files)), *review(source, text.settings.post)]
    except DocumentError as error:
        problems += error.problems
    understood = Understood(station) if station is not None else None
    return CheckReport(path, tuple(problems), tuple(warnings), understood, source)


def _what_a_start_would_find(station: settings.StationFile) -> Iterator[Problem]:
    bus = station.settings.bus
    if bus is not None and bus.embedded and importlib.util.find_spec("amqtt") is None:
        yield station.document.problem(("bus", "broker"), NOT_INSTALLED)
    if station.settings.club is not None:
        yield from _what_a_club_would_find(station, station.settings.club)
    journal = station.journal
    trouble = None if journal is None else trouble_with(journal.path)
    if isinstance(trouble, JournalRefusedError):
        yield station.document.problem(("journal", "path"), str(trouble))


def _what_a_club_would_find(station: settings.StationFile, club: settings.ClubSettings) -> Iterator[Problem]:
    try:
        _ = station.club
        if club.embedded:
            find_program()
    except DocumentError as error:
        yield from error.problems
    except EmbeddedEngineError as error:
        yield station.document.problem(("club", "servers"), str(error))
