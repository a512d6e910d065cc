"""The topics of one gateway, and what may stand in a topic at all."""

from dataclasses import dataclass, field
from enum import StrEnum

from gateway.frames.header import is_network_callsign

MAXIMUM_BASE_OCTETS = 128

_WILDCARDS = frozenset("+#")


class TopicGroup(StrEnum):
    """What is queued, counted and shed together."""

    ALERTS = "alerts"
    HEALTH = "health"
    HEARD = "heard"
    FORWARDED = "forwarded"
    LINES = "lines"
    STATIONS = "stations"
    DISCOVERY = "discovery"
    """What a home-automation hub is told: it stands under the hub's own prefix."""


def why_no_base(text: str) -> str | None:
    """Why `text` cannot stand before our topics, in plain words; None where it can.

    It may have several levels. MQTT 5.0 section 4.7: no wildcards, no NUL; `$` first is the broker's own; a level
    that is empty is allowed there, but is a slip of the pen here.
    """
    if not text.isprintable() or not _WILDCARDS.isdisjoint(text):
        return "it holds +, # or a control character"
    if text.startswith("$"):
        return "topics that begin with $ are the broker's own"
    if "" in text.split("/"):
        return "it is empty, or has a / too many"
    if len(text.encode("utf-8", "replace")) > MAXIMUM_BASE_OCTETS:
        return f"it is longer than {MAXIMUM_BASE_OCTETS} octets"
    return None


@dataclass(frozen=True, slots=True)
class Topics:
    """The topics under `<base>/<callsign>/`."""

    base: str
    callsign: str
    prefix: str = field(init=False)
    status: str = field(init=False)
    stations: str = field(init=False)
    """Filter for every station's topic."""

    def __post_init__(self) -> None:
        prefix = f"{self.base}/{self.callsign}"
        for name, value in {"prefix": prefix, "status": f"{prefix}/status", "stations": f"{prefix}/stations/+"}.items():
            object.__setattr__(self, name, value)

    def of(self, group: TopicGroup) -> str:
        """The one topic of a group that has one."""
        return f"{self.prefix}/{group}"

    def station(self, source: str) -> str:
        """The topic of one station.

        Raises `ValueError` for a source that is no callsign: nine letters, digits and a hyphen can break nothing,
        and whatever else comes from the air gets no topic.
        """
        if not is_network_callsign(source):
            raise ValueError("a source that is no callsign has no topic")
        return f"{self.prefix}/stations/{source}"

    def stray(self, name: str) -> str:
        """The topic of whatever the broker says stands under `stations`, to clear it."""
        return f"{self.prefix}/stations/{name}"

    def station_name(self, topic: str) -> str | None:
        """What stands in the place of a source in `topic`; None where it is no station's topic."""
        start = f"{self.prefix}/stations/"
        name = topic.removeprefix(start)
        return name if topic.startswith(start) and "/" not in name else None
