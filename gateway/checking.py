"""What `stile check` says of a station file: what is wrong with it, and what its author may not have meant."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from gateway import policy_files, settings
from gateway.documents import DocumentError, Problem
from gateway.frames.plain import PlainObject
from gateway.judge.review import review
from gateway.judge.source import PolicySource
from gateway.uplink import passcode

RECEIVE_ONLY = "without a passcode the gateway logs in to receive only: nothing goes up"


@dataclass(frozen=True, slots=True)
class CheckReport:
    """All that was found."""

    station: Path
    problems: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()
    policy: str = ""
    """Name and digest, where the policy could be read."""

    rules: int = 0
    rates: int = 0
    examples: int = 0

    def summary(self) -> str:
        """One line for a terminal."""
        if self.problems:
            return f"{self.station}: {_counted(len(self.problems), 'problem')}: it cannot be used as it is"
        parts = ", ".join(
            (_counted(self.rules, "rule"), _counted(self.rates, "rate"), _counted(self.examples, "example"))
        )
        warned = f"; {_counted(len(self.warnings), 'warning')}" if self.warnings else ""
        return f"{self.station}: fine, with the policy {self.policy}: {parts} held{warned}"

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {
            "station": str(self.station),
            "policy": self.policy or None,
            "problems": [_plain(problem) for problem in self.problems],
            "warnings": [_plain(warning) for warning in self.warnings],
            "rules": self.rules,
            "rates": self.rates,
            "examples": self.examples,
        }


def check_station(path: Path) -> CheckReport:
    """Read a station file with its policy, and check the policy's examples."""
    try:
        station = settings.load(path)
    except DocumentError as error:
        return CheckReport(path, error.problems)
    refused = passcode_problem(station)
    problems = (refused,) if refused is not None else ()
    try:
        source = load_policy(station)
    except DocumentError as error:
        return CheckReport(path, (*problems, *error.problems))
    policy = source.policy
    return CheckReport(
        station=path,
        problems=problems,
        warnings=(*_warnings(station), *review(source, station.settings.post)),
        policy=f"{policy.name}@{source.digest}",
        rules=len(policy.rules),
        rates=len(policy.rates),
        examples=len(policy.examples),
    )


def passcode_problem(station: settings.StationFile) -> Problem | None:
    """A passcode that does not belong to the callsign, as a problem; None where it does, or where there is none."""
    number = station.passcode_number
    if number is None or number == settings.RECEIVE_ONLY_PASSCODE:
        return None
    callsign = station.settings.station.callsign
    if passcode.belongs(callsign, number):
        return None
    what = f"the passcode does not belong to {callsign}: the network would not take anything"
    return station.document.problem(("uplink", "passcode_file"), what)


def load_policy(station: settings.StationFile) -> PolicySource:
    """The policy that the station file names, fit for this station. Raises `DocumentError`."""
    source = policy_files.load(station.settings.policy, station.settings.post, beside=station.folder)
    if problems := budget_problems(station, source):
        raise DocumentError(problems)
    return source


def budget_problems(station: settings.StationFile, source: PolicySource) -> list[Problem]:
    """A budget is to survive a restart, so there must be a journal to keep it in."""
    if station.settings.journal is not None:
        return []
    what = "a budget must survive a restart: write `journal: {path: stile.db}` into the station file"
    return [
        entry.problem(what) for rate, entry in zip(source.policy.rates, source.rates, strict=True) if rate.allow.octets
    ]


def _warnings(station: settings.StationFile) -> Iterable[Problem]:
    if station.passcode_number == settings.RECEIVE_ONLY_PASSCODE:
        yield station.document.problem(("uplink",), RECEIVE_ONLY)


def _plain(problem: Problem) -> PlainObject:
    return {"file": problem.file, "line": problem.line, "key": problem.key, "what": problem.what}


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
