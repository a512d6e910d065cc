"""What every part of the gateway answers when it is asked how it is: its state, why, what to do, and its figures.

A part joins by answering (`Answers`): health, metrics and the closing summary show what is answered, and know no part
by name. Asking changes nothing, so anyone may ask at any time.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import Any, Protocol, TypeVar


class State(StrEnum):
    """How a part is, from best to worst."""

    OK = "ok"
    """It works, and something has shown that it does."""

    WAITING = "waiting"
    """Nothing is wrong as far as it can tell, but nothing has shown yet that it works."""

    QUIET = "quiet"
    """It works, as far as it can tell, but less comes from it than this post is used to."""

    DEGRADED = "degraded"
    DOWN = "down"


SEVERITY = {state: place for place, state in enumerate(State)}
"""A state is worse than another where its number is higher."""


class PartKind(StrEnum):
    """The kinds of part that a post is made of."""

    RECEIVER = "receiver"
    UPLINK = "uplink"
    BUS = "bus"
    LINES = "lines"
    WEB = "web"
    JOURNAL = "journal"
    CAPTURES = "captures"
    POLICY = "policy"
    CLOCK = "clock"
    ALERTS = "alerts"
    CLUB = "club"
    LOG = "log"
    PULSE = "pulse"
    GATEWAY = "gateway"
    """What joins all that is told of what is heard."""


@dataclass(frozen=True, slots=True)
class Part:
    """How one part is. The texts are for the operator and are our own: never from the air.

    Where one quotes a server, it says so, and what it quotes was made printable and cut.
    """

    kind: PartKind
    name: str
    """The receiver's name in the station file; for the other kinds, the kind."""

    state: State
    since_ms: int
    """Since when it is in this state, in Unix milliseconds."""

    why: str = ""
    do: str = ""
    """What the operator can do about it."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why something does not work, and what the operator can do about it. The words are our own."""

    why: str
    do: str

    def __str__(self) -> str:
        """In one sentence."""
        return f"{self.why}; {self.do}"


class FigureKind(StrEnum):
    """The kinds of figure."""

    COUNTER = "counter"
    GAUGE = "gauge"


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of a part. Parts that count the same thing give it the same name, kind and help text."""

    name: str
    """Words joined by `_`, the unit last where there is one: `octets`, `last_frame_age_seconds`."""

    value: float
    kind: FigureKind
    help: str
    """What it counts, in one sentence."""

    labels: Mapping[str, str] = field(default_factory=dict)
    """One at most: what tells it from its siblings of the same name, from a closed set. Nothing from the air."""


class Answers(Protocol):
    """Who answers for one part. Both are pure: asking changes nothing."""

    def part(self) -> Part:
        """How it is now."""

    def figures(self) -> Sequence[Figure]:
        """All that it counts, from the start, also while it is 0."""


def counter(name: str, value: float, help_text: str, **labels: str) -> Figure:
    """A number that only grows."""
    return Figure(name, value, FigureKind.COUNTER, help_text, labels)


def gauge(name: str, value: float, help_text: str, **labels: str) -> Figure:
    """A number that goes up and down."""
    return Figure(name, value, FigureKind.GAUGE, help_text, labels)


def counted(help_text: str, named: str = "") -> int:
    """A field of a dataclass, and what it counts; `named`: what its figure is called, if otherwise."""
    number: int = field(default=0, metadata={"help": help_text, "named": named})
    return number


def figures_of(tally: Any) -> list[Figure]:  # noqa: ANN401 - whichever dataclass it is
    """Such fields as counters, in their order."""
    return [
        counter(each.metadata["named"] or each.name, getattr(tally, each.name), each.metadata["help"])
        for each in fields(tally)
        if "help" in each.metadata
    ]


_Text = TypeVar("_Text", bound=str)


def counters(name: str, label: str, values: Mapping[_Text, float], help_text: str) -> list[Figure]:
    """A counter for each value of one label."""
    return [Figure(name, value, FigureKind.COUNTER, help_text, {label: str(which)}) for which, value in values.items()]


def shed(values: Mapping[_Text, float]) -> list[Figure]:
    """What a part dropped since it could not keep up, by what it carries."""
    return counters("shed", "carries", values, "Dropped, as the part could not keep up, by what it carries.")


def failed(values: Mapping[_Text, float]) -> list[Figure]:
    """Of what a part could make nothing, by what it carries."""
    help_text = "Of what nothing could be made, by what it carries: a fault of the gateway's own."
    return counters("failed", "carries", values, help_text)


def waiting(values: Mapping[_Text, float]) -> list[Figure]:
    """What waits in a part, by what it carries."""
    help_text = "What waits, by what it carries."
    return [gauge("waiting", value, help_text, carries=which) for which, value in values.items()]
