"""One answer of the doctor: how it is, what was found, and what to do about it."""

from dataclasses import dataclass
from enum import StrEnum

from gateway.frames.plain import PlainObject


class Grade(StrEnum):
    """How a thing is, from best to worst."""

    OK = "ok"
    LOOK = "look"
    """It may be as it should be: only the operator can tell, or nobody can tell now."""

    WRONG = "wrong"
    """It cannot be as it should be, whatever was meant."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found of one thing. The texts are ours; what they quote of others was made printable and cut."""

    grade: Grade
    subject: str
    """What it is about: a receiver's name, a server's address, a folder; empty where the check says it all."""

    what: str
    do: str = ""
    in_report: str | None = None
    """Both texts for others, where they tell more of the operator's place than others need to know."""

    check: str = ""

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {name: getattr(self, name) for name in ("check", "subject", "grade", "what", "do")}


def ok(what: str, subject: str = "") -> Finding:
    """It is as it should be."""
    return Finding(Grade.OK, subject, what)


def look(what: str, do: str = "", subject: str = "") -> Finding:
    """The operator should have a look."""
    return Finding(Grade.LOOK, subject, what, do)


def wrong(what: str, do: str, subject: str = "") -> Finding:
    """Something must be done."""
    return Finding(Grade.WRONG, subject, what, do)


def untried(subject: str) -> Finding:
    """The time was over before it could be tried."""
    return look("it could not be tried in time", "try again", subject)
