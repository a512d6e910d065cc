"""The events of this run, newest last and bounded: what a stream that was cut off can catch up with. No I/O, no clock.

Every event has a number, counted from 1 within the run over all kinds and without a gap, so that whoever comes back
with the last one that they saw learns exactly how many they missed. Written as `run-number` it is the event's id.
Recording an event costs next to nothing: its JSON is made when a stream first wants it.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from itertools import islice

from gateway.feed.heard_object import HeardPayload, encode
from gateway.frames.frame import Damaged
from gateway.frames.plain import PlainObject
from gateway.groundwork.bounded import Newest

EVENT_OCTETS = 1_000
"""About what one event holds beside its information field, its JSON included."""

OCTETS_PER_OCTET = 8
"""About what an octet of the information comes to: kept, written as text twice over, and read as a report."""

_EVENT_ID = re.compile(r"([!-~]{1,64})-([0-9]{1,15})")


class EventKind(StrEnum):
    """What an event tells of."""

    HEARD = "heard"
    FORWARDED = "forwarded"
    HEALTH = "health"
    ALERT = "alert"
    MISSED = "missed"
    """Made for one stream: events that it will not see."""


class Because(StrEnum):
    """Why a stream missed events."""

    BEHIND = "behind"
    """It was away for too long, or did not read fast enough: they are remembered no more."""

    RESTARTED = "restarted"
    """It saw them last in another run of the gateway; nobody knows how many came after."""


@dataclass(frozen=True, slots=True)
class Start:
    """Where a stream begins."""

    cursor: int
    """The number of the last event that it has."""

    words: bytes = b""
    """What it is told first."""


@dataclass(frozen=True, slots=True)
class Piece:
    """The next events of a stream, as octets of it."""

    octets: bytes
    cursor: int
    """The number of the last event in it."""

    missed: int
    """How many events before it are remembered no more."""


def weight_of(payload: HeardPayload) -> int:
    """About how many octets `payload` holds, once it is encoded."""
    frame = payload.judged.heard.frame
    octets = frame.octets if isinstance(frame, Damaged) else frame.information
    return EVENT_OCTETS + OCTETS_PER_OCTET * len(octets)


_Event = tuple[EventKind, Callable[[], bytes]]
"""What it tells of, and how its JSON is made. A bare tuple, for every frame makes two."""


class EventLog:
    """The events of one run."""

    def __init__(self, run: str, *, limit: int, limit_octets: int) -> None:
        """At most `limit` events are remembered, and about `limit_octets` octets of them."""
        self.newest = 0
        """The number of the last event; 0 before the first."""

        self.failed = 0
        """Of how many events no JSON could be made: a fault of the gateway's own, not of the air's."""

        self._run = run
        self._events = Newest[_Event](limit, limit_octets)

    def heard(self, payload: HeardPayload, weight: int) -> None:
        """A frame was heard and judged, which holds about `weight` octets."""
        self._record(EventKind.HEARD, payload.encoded, weight)

    def forwarded(self, payload: HeardPayload, sent_at_ms: int) -> None:
        """The line of a frame was sent, at that Unix time in milliseconds."""
        make = partial(payload.forwarded, sent_at_ms)
        self._record(EventKind.FORWARDED, make, EVENT_OCTETS + OCTETS_PER_OCTET * len(payload.line))

    def health(self, health: PlainObject) -> None:
        """The health of the post."""
        self._record(EventKind.HEALTH, partial(encode, health), EVENT_OCTETS)

    def alert(self, alert: PlainObject) -> None:
        """Something that the operator wants to be told of."""
        self._record(EventKind.ALERT, partial(encode, alert), EVENT_OCTETS)

    @property
    def oldest(self) -> int:
        """The number of the oldest event that is remembered; where there is none, of the next that will be."""
        return self.newest - len(self._events) + 1

    def start(self, last_event_id: str | None) -> Start:
        """Where a stream begins whose client names the last event that it has; without one, with what comes next."""
        identifier = _EVENT_ID.fullmatch(last_event_id or "")
        if identifier is None:
            return Start(self.newest)
        if identifier[1] != self._run:
            return Start(0, self._written(0, EventKind.MISSED, encode({"because": Because.RESTARTED})))
        return Start(min(int(identifier[2]), self.newest))

    def read(self, cursor: int, octets: int, most: int | None = None) -> Piece:
        """The events after `cursor`: at least one where there is one, about `octets` octets and `most` at the most."""
        pieces = []
        length = 0
        oldest = self.oldest
        missed = max(0, oldest - 1 - cursor)
        if missed:
            cursor += missed
            notice = {"because": Because.BEHIND, "count": missed}
            pieces.append(self._written(cursor, EventKind.MISSED, encode(notice)))
        begin = cursor + 1 - oldest
        for (kind, make), _ in islice(self._events, begin, None if most is None else begin + most):
            cursor += 1
            try:
                written = self._written(cursor, kind, make())
            except Exception:  # noqa: BLE001 - one event that cannot be made must not end the stream: it is counted
                self.failed += 1
                continue
            pieces.append(written)
            length += len(written)
            if length >= octets:
                break
        return Piece(b"".join(pieces), cursor, missed)

    def _written(self, number: int, kind: EventKind, data: bytes) -> bytes:
        """An event of the stream, as the HTML standard's section on server-sent events has it. JSON is one line."""
        return b"id: %b-%d\nevent: %b\ndata: %b\n\n" % (self._run.encode(), number, kind.encode(), data)

    def _record(self, kind: EventKind, make: Callable[[], bytes], octets: int) -> None:
        self.newest += 1
        self._events.put((kind, make), octets)
