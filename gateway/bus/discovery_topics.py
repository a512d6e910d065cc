"""Which discovery messages the broker holds, and which of them must be written or cleared. No I/O.

It works as `station_topics` does: at every connect the broker is asked what it holds, and no more is written than
differs. They stand under a level of their own, `<prefix>/device/<node>/`, so that nobody else's are ever touched.
"""

from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import replace

from gateway.bus.discovery import GATEWAY, Announcer, components_of, with_departures
from gateway.bus.options import DiscoveryOptions
from gateway.bus.repertoire import Repertoire
from gateway.feed.heard_object import encode
from gateway.feed.stations import Station
from gateway.frames.plain import PlainObject

HUB_ONLINE = b"online"
"""What a hub says when it has come (its documented birth message)."""

SETTLED_MS = 60_000
"""For so long a station's channels stay as they were told: one that renames them all the time keeps no hub busy."""

MOST_STRAYS = 1000
"""More than one gateway can have left; what stands beyond is cleared at a later connect."""


class DiscoveryTopics:
    """The difference between what a hub should be told and what the broker holds."""

    def __init__(self, options: DiscoveryOptions, announcer: Announcer) -> None:
        self.hub_status = f"{options.prefix}/status"
        """Where the hub says that it came (its birth message)."""

        self._start = f"{options.prefix}/device/{announcer.node}/"
        self.filter = f"{self._start}+/config"
        """For every message of this gateway."""

        self._announcer = announcer
        self._parts: tuple[tuple[str, str], ...] | None = None
        self._repertoires = {source: Repertoire() for source in options.callsigns}
        self._announced_ms: dict[str, int] = {}
        self._settled = False
        self._at_broker: dict[str, bytes] = {}
        self._to_write: OrderedDict[str, bool] = OrderedDict()
        self._to_clear: OrderedDict[str, None] = OrderedDict()

    def __len__(self) -> int:
        """How many messages may have to be written or cleared now."""
        return len(self._to_write) + len(self._to_clear) if self._settled else 0

    def begin(self) -> None:
        """A connection begins, and the broker is about to tell what it holds."""
        self.end()

    def end(self) -> None:
        """The connection ended: what was to be done is found again at the next."""
        self._settled = False
        for memory in (self._at_broker, self._to_write, self._to_clear):
            memory.clear()

    def read(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """A message came on `filter` or `hub_status`; `retained`: it stood there before."""
        device = topic.removeprefix(self._start).removesuffix("/config")
        if topic == self._topic(device) and "/" not in device and payload:
            self.found(device, payload)
        elif topic == self.hub_status and payload == HUB_ONLINE and not retained:
            self.hub_came()

    def found(self, device: str, payload: bytes) -> None:
        """The broker holds `payload` as the message of `device`."""
        if device != GATEWAY and device not in self._repertoires:
            if len(self._to_clear) < MOST_STRAYS:
                self._to_clear[device] = None
        elif not self._settled:
            self._at_broker[device] = payload
            if device in self._repertoires:
                self._repertoires[device] = self._repertoires[device].with_announced(components_of(payload))

    def settle(self) -> None:
        """The broker has told all: whatever differs must be written."""
        self._settled = True
        self._write(GATEWAY, *self._repertoires)

    def has_parts(self, parts: Iterable[tuple[str, str]]) -> None:
        """The gateway has parts of these kinds and names."""
        kinds_and_names = tuple(parts)
        if kinds_and_names != self._parts:
            self._parts = kinds_and_names
            self._write(GATEWAY)

    def heard(self, station: Station) -> None:
        """A station was heard, and its memory knows of it: what it sends may be more than the hub was told."""
        repertoire = self._repertoires.get(station.source)
        if repertoire is None or station.latest is None:
            return
        now = repertoire.with_more(station.latest)
        if now.channels != repertoire.channels:
            elapsed_ms = station.last.judged.heard.moment.elapsed_ms
            told_ms = self._announced_ms.get(station.source)
            if told_ms is not None and elapsed_ms - told_ms < SETTLED_MS:
                now = replace(now, channels=repertoire.channels)
            else:
                self._announced_ms[station.source] = elapsed_ms
        if now != repertoire:
            self._repertoires[station.source] = now
            self._write(station.source)

    def hub_came(self) -> None:
        """The hub says that it is online: it is told everything anew."""
        for device in (GATEWAY, *self._repertoires):
            self._to_write[device] = True

    def next(self) -> tuple[str, bytes] | None:
        """What must be done next: a topic, and what to write there; empty clears it. None: nothing came of it."""
        if not self._settled:
            return None
        if self._to_clear:
            stray, _ = self._to_clear.popitem(last=False)
            return self._topic(stray), b""
        if not self._to_write:
            return None
        device, anew = self._to_write.popitem(last=False)
        message = self._message(device)
        if message is None:
            return None
        before = self._at_broker.get(device, b"")
        parting = with_departures(message, components_of(before))
        payload = encode(message if parting is None else parting)
        if parting is not None:
            self._to_write[device] = True  # then once more, without what is gone
            self._to_write.move_to_end(device, last=False)
        elif payload == before and not anew:
            return None
        self._at_broker[device] = payload
        return self._topic(device), payload

    def _write(self, *devices: str) -> None:
        for device in devices:
            self._to_write.setdefault(device, False)

    def _message(self, device: str) -> PlainObject | None:
        if device in self._repertoires:
            return self._announcer.station(device, self._repertoires[device])
        return None if self._parts is None else self._announcer.gateway(self._parts)

    def _topic(self, device: str) -> str:
        return f"{self._start}{device}/config"
