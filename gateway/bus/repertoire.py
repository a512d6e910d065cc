"""What a listed station is known to send: this decides which entities a home-automation hub is told of. No I/O."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gateway.bus import measures
from gateway.feed.latest import MOST_CHANNELS, Channel, Latest, key_of, safe_name

NUMBER_PREFIX = "telemetry_"
BIT_PREFIX = "bit_"

_ANNOUNCED = {**measures.POSITION, **measures.WEATHER}


@dataclass(frozen=True, slots=True)
class Repertoire:
    """Fields that a station has sent at least once, and the channels of its last telemetry."""

    fields: frozenset[str] = frozenset()
    """Of position and weather, those that are announced."""

    channels: tuple[Channel, ...] = ()

    def with_more(self, latest: Latest) -> "Repertoire":
        """This, and what the station sends lately.

        Fields only ever join, for some are not in every report. Channels are replaced: a station that gives them
        other names each time would otherwise fill the hub.
        """
        parts = (latest.position or {}, latest.weather or {})
        sent = {name for part in parts for name in part if name in _ANNOUNCED}
        return Repertoire(self.fields | sent, latest.channels or self.channels)

    def with_announced(self, components: Mapping[str, Mapping[str, Any]]) -> "Repertoire":
        """This, and what an earlier run of the gateway knew, from the components that it announced.

        So nothing that a hub knows is taken away and given back at every restart. What is here already is newer.
        """
        fields = self.fields | (components.keys() & _ANNOUNCED.keys())
        if self.channels:
            return Repertoire(fields, self.channels)
        channels = (_channel(key, component) for key, component in components.items())
        return Repertoire(fields, tuple(channel for channel in channels if channel is not None)[:MOST_CHANNELS])


def _channel(key: str, component: Mapping[str, Any]) -> Channel | None:
    for prefix, is_bit in ((NUMBER_PREFIX, False), (BIT_PREFIX, True)):
        stem = key.removeprefix(prefix)
        name = safe_name(str(component.get("name", "")))
        if stem != key and stem == key_of(stem) and name:
            return Channel(stem, name, str(component.get("unit_of_measurement", "")), is_bit)
    return None
