"""How many emergencies were heard, and what those that went up took past the policy's rates. Pure, and bounded."""

from dataclasses import asdict, dataclass

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

    def past_rates(self) -> PlainObject:
        """What those that went up took so far, past every rate and budget: it is on top of what the policy allows."""
        total = sum(self._by_source.values(), self._others)
        return {
            **asdict(total),
            "by_source": {source: asdict(taken) for source, taken in self._by_source.items()},
            "others": asdict(self._others),
        }
