"""The health of the post as one plain object: which part is alive, since when, why not and what to do. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from gateway.frames.plain import PlainObject, rfc3339
from gateway.judge.verdict import Reason
from gateway.part import SEVERITY, Part, State
from gateway.watches.activity import Activity
from gateway.watches.emergencies import PastRates
from gateway.watches.reach import Reach


def part_object(part: Part) -> PlainObject:
    """The plain form of a part; `why` and `do` only where there is something to say."""
    plain: PlainObject = {"kind": part.kind, "name": part.name, "state": part.state, "since": rfc3339(part.since_ms)}
    if part.why:
        plain["why"] = part.why
    if part.do:
        plain["do"] = part.do
    return plain


@dataclass(frozen=True, slots=True)
class Counts:
    """What became of every frame of this run."""

    heard: int
    forward: int
    kept: Mapping[Reason, int]
    outcomes: Mapping[str, int] | None = None
    """What became of the frames judged `forward`, by outcome; None where the post only listens."""

    waiting: int = 0
    """Frames judged `forward` that wait in the uplink."""

    emergencies: int = 0
    """Whatever became of them; copies that are duplicates are not counted."""

    @property
    def keep(self) -> int:
        """How many frames were kept at home."""
        return sum(self.kept.values())

    @property
    def adds_up(self) -> bool:
        """Whether heard = keep + forward, and forward = outcomes + waiting where there is an uplink."""
        forwarded = self.forward if self.outcomes is None else sum(self.outcomes.values()) + self.waiting
        return self.heard == self.keep + self.forward and self.forward == forwarded

    def to_object(self) -> PlainObject:
        """The plain form: reasons and outcomes that occurred."""
        plain: PlainObject = {
            "heard": self.heard,
            "forward": self.forward,
            "keep": self.keep,
            "kept": {reason: self.kept[reason] for reason in Reason if self.kept.get(reason)},
            "emergencies": self.emergencies,
        }
        if self.outcomes is not None:
            plain["outcomes"] = dict(self.outcomes)
            plain["waiting"] = self.waiting
        return plain


@dataclass(frozen=True, slots=True)
class Health:
    """The whole post at one moment."""

    run: str
    time_ms: int
    parts: Sequence[Part]
    counts: Counts
    shed: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    """By sink and by what it carries: how many were dropped because it could not keep up."""

    past_rates: PastRates = field(default_factory=PastRates)
    """What emergencies took past the policy's rates."""

    activity: Activity | None = None
    """None: it is not watched."""

    reach: Reach | None = None
    """None: it is not watched."""

    @property
    def state(self) -> State:
        """That of the worst part."""
        return max((part.state for part in self.parts), key=SEVERITY.__getitem__, default=State.OK)

    def to_object(self) -> PlainObject:
        """The plain object that is published."""
        watched = {"activity": self.activity, "reach": self.reach}
        return {
            "run": self.run,
            "time": rfc3339(self.time_ms),
            "state": self.state,
            "parts": [part_object(part) for part in self.parts],
            "counts": self.counts.to_object(),
            "past_rates": self.past_rates.to_object(),
            **{name: found.to_object() for name, found in watched.items() if found is not None},
            "shed": {sink: {name: count for name, count in of.items() if count} for sink, of in self.shed.items()},
        }
