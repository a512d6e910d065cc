"""Which stations' retained topics the broker holds, and which of them must be written or cleared. No I/O.

The broker and the memory of stations part ways while there is no connection: a broker that was restarted may have
forgotten everything, and one that was not still holds stations that were forgotten here. So at every connect the
broker is asked what it holds (`begin`, `found`), and when it has told all (`settle`) the two are made equal again by
writing and clearing no more than differs.
"""

from collections import OrderedDict
from collections.abc import Iterable

from gateway.feed.heard_object import HeardPayload

MAXIMUM_FOUND = 20_000
"""The most topics that one connection takes notice of; what stands beyond is cleared at a later one."""


class StationTopics:
    """The difference between the stations remembered and the retained topics at the broker.

    Bounded: no more is held than the stations remembered, those at the broker, and `MAXIMUM_FOUND`. Topics are
    cleared before others are written, so that the broker never holds more than the memory's limit beside strays.
    """

    def __init__(self) -> None:
        self._connected = False
        self._settled = False
        self._at_broker: set[str] = set()
        self._equal: set[str] = set()
        self._to_write: OrderedDict[str, HeardPayload] = OrderedDict()
        self._to_clear: OrderedDict[str, None] = OrderedDict()

    def __len__(self) -> int:
        """How many topics must be written or cleared now."""
        return len(self._to_write) + len(self._to_clear) if self._settled else 0

    def begin(self) -> None:
        """A connection begins, and the broker is about to tell what it holds."""
        self.end()
        self._connected = True

    def end(self) -> None:
        """The connection ended: what was to be done is found again at the next."""
        self._connected = self._settled = False
        for memory in (self._at_broker, self._equal, self._to_write, self._to_clear):
            memory.clear()

    def found(self, name: str, *, remembered: bool, equal: bool) -> None:
        """The broker holds a topic for `name`, of a station that is remembered, with what would be written now."""
        if not self._connected or (len(self._at_broker) >= MAXIMUM_FOUND and name not in self._at_broker):
            return
        self._at_broker.add(name)
        if not remembered:
            self._to_clear[name] = None
        elif equal and not self._settled:
            self._equal.add(name)

    def settle(self, remembered: Iterable[tuple[str, HeardPayload]]) -> None:
        """The broker has told all: every station `remembered` that it does not hold as it is, must be written."""
        self._settled = True
        self._to_write.update((source, payload) for source, payload in remembered if source not in self._equal)
        self._equal.clear()

    def heard(self, source: str, payload: HeardPayload) -> bool:
        """A station was heard. Returns whether something newer took the place of what still waited."""
        if not self._connected:
            return False
        if not self._settled:
            self._equal.discard(source)
            return False
        superseded = source in self._to_write
        self._to_write[source] = payload
        self._to_clear.pop(source, None)
        return superseded

    def forgotten(self, source: str) -> None:
        """A station is remembered no longer."""
        self._to_write.pop(source, None)
        self._equal.discard(source)
        if source in self._at_broker:
            self._to_clear[source] = None

    def next(self) -> tuple[str, HeardPayload | None] | None:
        """What must be done next: the topic of which station, and what to write there; None clears it."""
        if not self._settled:
            return None
        if self._to_clear:
            name, _ = self._to_clear.popitem(last=False)
            self._at_broker.discard(name)
            return name, None
        if self._to_write:
            source, payload = self._to_write.popitem(last=False)
            self._at_broker.add(source)
            return source, payload
        return None
