"""Server-sent events: octets in, events out (HTML standard, section "Server-sent events"). No I/O."""

from dataclasses import dataclass

LONGEST_EVENT = 1_048_576
"""Octets; the gateway's own are a few thousand at most, and a health of many parts."""

_BYTE_ORDER_MARK = "\ufeff"


class EventStreamError(ValueError):
    """What comes is no stream of events, or one event is too long."""


@dataclass(frozen=True, slots=True)
class SentEvent:
    """One event as it came."""

    kind: str
    data: str
    identity: str
    """Of the last event that carried one: what a client names that comes back."""


class EventReader:
    """Reads one stream, cut into pieces anyhow."""

    def __init__(self) -> None:
        self._rest = b""
        self._lines: list[str] = []
        self._held = 0
        self._identity = ""
        self._began = False

    def feed(self, octets: bytes) -> list[SentEvent]:
        """The events that are whole with these octets. Raises `EventStreamError`."""
        text = self._rest + octets
        ends_in_return = text.endswith(b"\r")  # a line feed that belongs to it may come yet
        lines = text.removesuffix(b"\r").replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
        self._rest = lines.pop() + (b"\r" if ends_in_return else b"")
        events = []
        for line in lines:
            event = self._take(line.decode("utf-8", "replace"))
            if event is not None:
                events.append(event)
        if self._held + len(self._rest) > LONGEST_EVENT:
            raise EventStreamError(f"an event of more than {LONGEST_EVENT} octets")
        return events

    def _take(self, line: str) -> SentEvent | None:
        if not self._began:
            self._began = True
            line = line.removeprefix(_BYTE_ORDER_MARK)
        if line:
            self._held += len(line)
            self._lines.append(line)
            if self._held > LONGEST_EVENT:
                raise EventStreamError(f"an event of more than {LONGEST_EVENT} octets")
            return None
        lines, self._lines, self._held = self._lines, [], 0
        return self._event(lines)

    def _event(self, lines: list[str]) -> SentEvent | None:
        kind = "message"
        data = []
        for line in lines:
            name, _, value = line.partition(":")
            value = value.removeprefix(" ")
            if name == "data":
                data.append(value)
            elif name == "event":
                kind = value or "message"
            elif name == "id" and "\0" not in value:
                self._identity = value
        text = "\n".join(data)
        return SentEvent(kind, text, self._identity) if text else None
