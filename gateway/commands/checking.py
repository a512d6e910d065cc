"""What `stile check` says of a station file: what is wrong with it, and what its author may not have meant."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from gateway import policy_files, settings
from gateway.documents import DocumentError, Problem
from gateway.frames.plain import PlainObject
from gateway.judge.review import review

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
            "problems": [problem.to_object() for problem in self.problems],
            "warnings": [warning.to_object() for warning in self.warnings],
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
    refused = station.passcode_problem()
    problems = (refused,) if refused is not None else ()
    try:
        source = policy_files.load_for(station)
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


def _warnings(station: settings.StationFile) -> Iterable[Problem]:
    if station.passcode_number == settings.RECEIVE_ONLY_PASSCODE:
        yield station.document.problem(("uplink",), RECEIVE_ONLY)


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
