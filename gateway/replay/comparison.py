"""What differs: between two policies, and between a policy now and what was decided live."""

from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from gateway.frames.plain import PlainObject, rfc3339
from gateway.judge.verdict import Judged, Reason, Verdict
from gateway.replay.bounded import BoundedCounter
from gateway.replay.record import Record

MAXIMUM_NAMED = 20
"""How many frames judged otherwise than live are named; all are counted."""

MAXIMUM_LABELS = 64
"""How many policies of a capture are told apart."""


class Side(StrEnum):
    """Which of two policies forwards a frame that the other keeps."""

    POLICY = "policy"
    AGAINST = "against"


class Group(NamedTuple):
    """Frames that differ in the same way."""

    side: Side
    """The policy that forwards them."""

    station: str
    reason: Reason
    """Why the other keeps them."""

    rule: str | None
    """The rule or rate of the other that keeps them, where it is one."""

    def to_object(self) -> PlainObject:
        """The plain form."""
        plain: PlainObject = {"forwarded_by": self.side, "station": self.station, "reason": self.reason}
        return plain if self.rule is None else {**plain, "rule": self.rule}


@dataclass
class Difference:
    """Where two policies part: one forwards, the other keeps."""

    frames: Counter[Side] = field(default_factory=Counter)
    """How many only the one policy forwards."""

    octets: Counter[Side] = field(default_factory=Counter)
    """Of their network lines."""

    other_reason: int = 0
    """Frames that both keep, but for different reasons."""

    groups: BoundedCounter[Group] = field(default_factory=BoundedCounter)
    stations: dict[Side, BoundedCounter[str]] = field(
        default_factory=lambda: {side: BoundedCounter[str]() for side in Side}
    )

    def add(self, judged: Judged, against: Judged, octets: int) -> bool:
        """Compare two verdicts on one frame, whose line has so many octets; whether it differs."""
        ours, theirs = judged.verdict, against.verdict
        if ours.reason is theirs.reason:
            return False
        if ours.reason is not None and theirs.reason is not None:
            self.other_reason += 1
            return False
        side, keeps = (Side.POLICY, theirs) if ours.reason is None else (Side.AGAINST, ours)
        station = "" if judged.innermost is None else judged.innermost.header.source
        self.frames[side] += 1
        self.octets[side] += octets
        self.stations[side].add(station)
        if keeps.reason is not None:
            self.groups.add(Group(side, station, keeps.reason, keeps.rule))
        return True

    def to_object(self, top: int) -> PlainObject:
        """The plain form, with the `top` greatest groups."""
        return {
            "only_policy_forwards": {"frames": self.frames[Side.POLICY], "octets": self.octets[Side.POLICY]},
            "only_against_forwards": {"frames": self.frames[Side.AGAINST], "octets": self.octets[Side.AGAINST]},
            "kept_by_both_for_other_reasons": self.other_reason,
            "groups": [{**group.to_object(), "frames": frames} for group, frames in self.groups.greatest(top)],
            "frames_in_other_groups": self.groups.total() - sum(frames for _, frames in self.groups.greatest(top)),
        }


class Disagreement(NamedTuple):
    """A frame that the same policy judged otherwise when it was live."""

    run: str
    sequence: int
    time_ms: int
    live: Verdict
    replayed: Verdict

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {
            "run": self.run,
            "sequence": self.sequence,
            "time": rfc3339(self.time_ms),
            "live": in_words(self.live),
            "replayed": in_words(self.replayed),
        }


@dataclass
class Agreement:
    """Whether a policy decides as it did live, wherever the capture says that it was the one that decided."""

    label: str
    compared: int = 0
    agreed: int = 0
    unsure: int = 0
    """Judged otherwise where the capture does not hold all that the gateway knew: no proof of anything."""

    otherwise: int = 0
    """Judged otherwise though the capture holds all of it: this must not be."""

    named: list[Disagreement] = field(default_factory=list)
    """The first of the frames judged otherwise, sure and unsure."""

    by_others: BoundedCounter[str] = field(default_factory=lambda: BoundedCounter(MAXIMUM_LABELS))
    """Frames that another policy judged live, by its name and digest."""

    def add(self, record: Record, replayed: Verdict, *, whole: bool) -> None:
        """Compare a verdict with the recorded one; `whole` says that the capture holds all that was known then."""
        live = record.recorded
        if live is None:
            return
        if live.policy != self.label:
            self.by_others.add(live.policy)
            return
        self.compared += 1
        if live == replayed:
            self.agreed += 1
            return
        if whole:
            self.otherwise += 1
        else:
            self.unsure += 1
        if len(self.named) < MAXIMUM_NAMED:
            heard = record.heard
            self.named.append(Disagreement(heard.run, heard.sequence, heard.moment.time_ms, live, replayed))

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {
            "compared": self.compared,
            "agreed": self.agreed,
            "otherwise": self.otherwise,
            "otherwise_but_unsure": self.unsure,
            "frames": [each.to_object() for each in self.named],
            "judged_live_by_others": dict(self.by_others.greatest()),
        }


def in_words(verdict: Verdict) -> str:
    """A verdict for people: `keep: over-rate, one-station`."""
    because = ", ".join(part for part in (verdict.reason, verdict.rule) if part)
    return f"{verdict.decision}: {because}" if because else verdict.decision.value
