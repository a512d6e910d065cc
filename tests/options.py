"""What a part is told, in tests: what the station file's sections make, with some of it replaced."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from gateway.bus.options import BusOptions, DiscoveryOptions
from gateway.journal.options import JournalOptions
from gateway.lines.options import LinesOptions
from gateway.settings.bus import MQTT_PORT, BusSettings, DiscoverySettings
from gateway.settings.home import JournalSettings, LinesSettings, WebSettings
from gateway.settings.uplink import UplinkSettings
from gateway.uplink.state import UplinkOptions
from gateway.web.options import WebOptions

CALLSIGN = "QX1GAT-10"


def uplink_options(*servers: tuple[str, int], **more: Any) -> UplinkOptions:  # noqa: ANN401 - any field of it
    """An uplink to these servers, as one that receives only if nothing else is said."""
    section = UplinkSettings(servers=[f"tcp://{host}:{port}" for host, port in servers])
    return replace(section.options(CALLSIGN, -1), **more)


def bus_options(port: int = MQTT_PORT, **more: Any) -> BusOptions:  # noqa: ANN401 - any field of it
    """A bus to a broker on this computer."""
    return replace(BusSettings(broker="mqtt://127.0.0.1").options(CALLSIGN, Path(), None), port=port, **more)


def discovery_options(*callsigns: str) -> DiscoveryOptions:
    """A hub that is told of these stations."""
    return DiscoveryOptions(DiscoverySettings().prefix, callsigns)


def lines_options(port: int = 0, **more: Any) -> LinesOptions:  # noqa: ANN401 - any field of it
    """A text port on loopback, at any port that is free if none is named."""
    return replace(LinesSettings().options(), port=port, **more)


def web_options(port: int = 0, **more: Any) -> WebOptions:  # noqa: ANN401 - any field of it
    """A web on loopback, at any port that is free if none is named."""
    return replace(WebSettings().options(CALLSIGN, Path(), None), port=port, **more)


def journal_options(path: Path, **more: Any) -> JournalOptions:  # noqa: ANN401 - any field of it
    """A journal at `path`."""
    return replace(JournalSettings(path=path).options(Path()), **more)
