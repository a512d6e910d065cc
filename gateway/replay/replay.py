"""A replay: every frame of a capture judged by one policy or by two, counted and compared."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from gateway.frames.heard import Heard
from gateway.frames.plain import PlainObject, rfc3339
from gateway.judge.verdict import Judged
from gateway.replay.bounded import BoundedCounter
from gateway.replay.comparison import Agreement, Difference
from gateway.replay.contender import Contender
from gateway.replay.order import Order, in_order
from gateway.replay.record import Record

MAXIMUM_RECEIVERS = 64
"""How many receivers are told apart."""


@dataclass
class Span:
    """What was heard, and when."""

    heard: int = 0
    first_ms: int | None = None
    last_ms: int | None = None
    receivers: BoundedCounter[str] = field(default_factory=lambda: BoundedCounter(MAXIMUM_RECEIVERS))

    def add(self, heard: Heard) -> None:
        """Count a frame."""
        time_ms = heard.moment.time_ms
        self.heard += 1
        if self.first_ms is None or self.last_ms is None:
            self.first_ms = self.last_ms = time_ms
        elif time_ms > self.last_ms:
            self.last_ms = time_ms
        elif time_ms < self.first_ms:
            self.first_ms = time_ms
        self.receivers.add(heard.receiver)

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {
            "frames": self.heard,
            "first": None if self.first_ms is None else rfc3339(self.first_ms),
            "last": None if self.last_ms is None else rfc3339(self.last_ms),
            "receivers": dict(self.receivers.greatest()),
        }


class Replayed(NamedTuple):
    """One frame with what each policy says of it."""

    record: Record
    judged: Judged
    against: Judged | None
    """None where there is one policy."""

    differs: bool
    """Whether one policy forwards it and the other keeps it."""


class Replay:
    """Judges the frames of a capture by `policy`, and by `against` where there is another. Can be gone through once."""

    def __init__(self, records: Iterable[Record], policy: Contender, against: Contender | None = None) -> None:
        self.policy = policy
        self.against = against
        self.order = Order()
        self.span = Span()
        self.agreement = {contender.label: Agreement(contender.label) for contender in self.contenders}
        """Of each policy with what was decided live, by its label."""

        self.difference = Difference()
        self._records = records

    @property
    def contenders(self) -> tuple[Contender, ...]:
        """The policies, the first first."""
        return (self.policy,) if self.against is None else (self.policy, self.against)

    def __iter__(self) -> Iterator[Replayed]:
        policy, against, order, span = self.policy, self.against, self.order, self.span
        live = self.agreement[policy.label]
        others_live = None if against is None else self.agreement[against.label]
        for record in in_order(self._records, order):
            heard = record.heard
            span.add(heard)
            judged = policy.judge(heard)
            whole = order.whole and policy.knows_beginning(heard.run)
            live.add(record, judged.verdict, whole=whole)
            if against is None or others_live is None:
                yield Replayed(record, judged, None, differs=False)
                continue
            other = against.judge(heard)
            if others_live is not live:
                others_live.add(record, other.verdict, whole=whole)
            octets = policy.octets_of(judged) if judged.verdict.reason is not other.verdict.reason else 0
            yield Replayed(record, judged, other, self.difference.add(judged, other, octets))

    def to_object(self, top: int) -> PlainObject:
        """The plain form, with the `top` greatest groups of frames that differ."""
        plain: PlainObject = {
            "heard": self.span.to_object(),
            "order": self.order.to_object(),
            "policies": [
                {**contender.to_object(), "as_it_was_live": self.agreement[contender.label].to_object()}
                for contender in self.contenders
            ],
        }
        return plain if self.against is None else {**plain, "difference": self.difference.to_object(top)}
