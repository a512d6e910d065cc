"""What the judge hands on: a verdict with its reason, and the frame that it is about."""

from dataclasses import dataclass
from enum import StrEnum

from gateway.frames.frame import Frame
from gateway.frames.heard import Heard


class Decision(StrEnum):
    """Whether a frame should go up."""

    FORWARD = "forward"
    KEEP = "keep"
    """Kept at home: shown and published, not sent up."""


class Reason(StrEnum):
    """Why a frame was kept, in the order in which the questions are asked."""

    DAMAGED = "damaged"
    NOT_UI = "not-ui"
    WRONG_PID = "wrong-pid"
    BAD_CALLSIGN = "bad-callsign"
    PLACEHOLDER_CALLSIGN = "placeholder-callsign"
    Q_CONSTRUCT_ON_AIR = "q-construct-on-air"
    INTERNET_ORIGIN = "internet-origin"
    ASKED_NOT_TO_GATE = "asked-not-to-gate"
    THIRD_PARTY_MALFORMED = "third-party-malformed"
    THIRD_PARTY_INTERNET = "third-party-internet"
    EMPTY = "empty"
    GENERIC_QUERY = "generic-query"
    TOO_LONG = "too-long"
    DUPLICATE = "duplicate"
    RULE = "rule"
    OVER_RATE = "over-rate"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer to "should it go up?". It says nothing of whether it went: that is the outcome."""

    decision: Decision
    policy: str
    """Name and digest of the policy that decided, `receive-only@3fa9c1`."""

    reason: Reason | None = None
    """Why it is kept; None where it is to be forwarded."""

    rule: str | None = None
    """The rule or rate that decided, where one did."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A frame heard, with its verdict."""

    heard: Heard
    verdict: Verdict
    innermost: Frame | None
    """The frame that would go up, every third-party header stripped; None where the frame is damaged."""

    information: bytes = b""
    """Its information as it would go up: to the first line end, and nothing else left out."""

    emergency: bool = False
    """Whether its sender calls for help, whatever the verdict (see `emergency`). The policy cannot hold it back."""

    @property
    def counts_as_emergency(self) -> bool:
        """Whether it is an emergency and no copy of one that went up: a duplicate tells of no further one."""
        return self.emergency and self.verdict.reason is not Reason.DUPLICATE

    @property
    def forward(self) -> bool:
        """Whether it should go up."""
        return self.verdict.decision is Decision.FORWARD
