"""How many emergencies were heard, and what those that went up took past the policy's rates. Pure, and bounded."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from gateway.feed.heard_object import HeardPayload
from gateway.frames.plain import PlainObject

MAXIMUM_SOURCES = 20
"""Sources told apart, first come. What all others took is one sum: made-up callsigns fill no memory."""


@dataclass(frozen=True, slots=True)
class Taken:
    """Lines for which no rate and no budget was asked."""

    frames: int = 0
    octets: int = 0
    """Of the network lines, CR LF included, as budgets count them."""

    def __add__(self, more: "Taken") -> "Taken":
        return Taken(self.frames + more.frames, self.octets + more.octets)

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {"frames": self.frames, "octets": self.octets}


@dataclass(frozen=True, slots=True)
class PastRates:
    """What emergencies took past every rate and budget: it is on top of what the policy allows."""

    by_source: Mapping[str, Taken] = field(default_factory=dict)
    others: Taken = Taken()

    @property
    def total(self) -> Taken:
        """The sum of all."""
        return sum(self.by_source.values(), self.others)

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {
            **self.total.to_object(),
            "by_source": {source: taken.to_object() for source, taken in self.by_source.items()},
            "others": self.others.to_object(),
        }


class Emergencies:
    """Counts the emergencies of a run."""

    def __init__(self) -> None:
        self.heard = 0
        """Whatever became of them; copies that are duplicates are not counted."""

        self._by_source: dict[str, Taken] = {}
        self._others = Taken()

    def hear(self, payload: HeardPayload) -> None:
        """Count a frame, if it is an emergency."""
        judged = payload.judged
        if not judged.counts_as_emergency:
            return
        self.heard += 1
        if judged.forward and judged.innermost is not None:
            taken = Taken(1, len(payload.line))
            source = judged.innermost.source
            if source in self._by_source or len(self._by_source) < MAXIMUM_SOURCES:
                self._by_source[source] = self._by_source.get(source, Taken()) + taken
            else:
                self._others += taken

    def past_rates(self) -> PastRates:
        """What those that went up took, so far."""
        return PastRates(dict(self._by_source), self._others)
