"""`bus:`: the MQTT broker in the house, and what stands there."""

from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from gateway.bus.embedded_login import OWN_PASSWORD, OWN_USERNAME, own_door
from gateway.bus.options import STATIONS_FORGET_MS, BusOptions, DiscoveryOptions, Tls
from gateway.documents.values import Duration, Section, between, fits
from gateway.groundwork.loopback import is_loopback
from gateway.settings.places import Callsign, Topic, is_embedded, readable_by, service_address
from gateway.settings.secret import secret_path

MQTT_PORT = 1883
MQTTS_PORT = 8883
MOST_CALLSIGNS = 1000
"""That a hub is told of."""

_FORMS = "mqtt://127.0.0.1:1883, mqtts://broker.example:8883 or embedded"


def broker_address(broker: str) -> tuple[str, str, int]:
    """Scheme, host and port; an embedded one may take any free port. Raises `ValueError`."""
    return service_address(broker, {"mqtt": MQTT_PORT, "mqtts": MQTTS_PORT}, _FORMS, lowest_port=0)


class StationTopicsSettings(Section):
    """How many stations are kept on the bus, and for how long after each was last heard."""

    limit: Annotated[int, Field(strict=True, ge=1, le=100_000)] = 5000
    forget: Annotated[Duration, between("1m", "366d")] = STATIONS_FORGET_MS


class DiscoverySettings(Section):
    """What a home-automation hub on the bus is told of: the gateway itself, and the stations listed here alone."""

    prefix: Topic = "homeassistant"
    callsigns: list[Callsign] = Field(default_factory=list, max_length=MOST_CALLSIGNS)


class BusSettings(Section):
    """The MQTT broker in the house."""

    broker: Annotated[str, readable_by(broker_address)]
    base: Topic = "stile"
    username: Annotated[
        str | None, AfterValidator(fits(r"[^\x00-\x1f\x7f]{1,256}", "is no name of a user: 1 to 256 characters"))
    ] = None
    password_file: Path | None = None
    ca: Path | None = None
    certificate: Path | None = None
    key: Annotated[Path | None, Field(validate_default=True)] = None
    discovery: DiscoverySettings | None = None
    stations: StationTopicsSettings = StationTopicsSettings()

    @field_validator("password_file")
    @classmethod
    def _not_in_the_clear(cls, file: Path, info: ValidationInfo) -> Path:
        broker = info.data.get("broker")
        if broker is None:  # which is told by itself
            return file
        scheme, host, _ = broker_address(broker)
        if scheme != "mqtts" and not is_loopback(host):
            raise ValueError(f"a password would go to {host} in the clear; use mqtts://")
        return file

    @field_validator("ca", "certificate", "key")
    @classmethod
    def _encrypted(cls, file: Path | None, info: ValidationInfo) -> Path | None:
        if file is not None and "broker" in info.data and broker_address(info.data["broker"])[0] != "mqtts":
            raise ValueError("ca, certificate and key are for a broker at mqtts://")
        return file

    @field_validator("key")
    @classmethod
    def _both(cls, key: Path | None, info: ValidationInfo) -> Path | None:
        if "certificate" in info.data and (key is None) != (info.data["certificate"] is None):
            raise ValueError("certificate and key go together: give both")
        return key

    @property
    def embedded(self) -> bool:
        """Whether a broker is to be started in the process, on loopback."""
        return is_embedded(self.broker)

    @property
    def tls(self) -> bool:
        """Whether the connection is encrypted."""
        return broker_address(self.broker)[0] == "mqtts"

    @property
    def address(self) -> tuple[str, int]:
        """Host and port."""
        _, host, port = broker_address(self.broker)
        return host, port

    def options(self, callsign: str, folder: Path, password: str | None) -> BusOptions:
        """What the bus is made from; `folder` is where paths start."""
        host, port = self.address
        ca, certificate = (folder / path if path else None for path in (self.ca, self.certificate))
        key = secret_path(folder, self.key) if self.key else None
        section = self.discovery
        return BusOptions(
            host=host,
            port=port,
            callsign=callsign,
            base=self.base,
            mqtt_5=not self.embedded,
            tls=Tls(ca, certificate, key) if self.tls else None,
            username=OWN_USERNAME if self.embedded else self.username,
            password=OWN_PASSWORD if self.embedded else password,
            discovery=DiscoveryOptions(section.prefix, tuple(section.callsigns)) if section else None,
            stations_forget_ms=self.stations.forget,
            own_door=own_door(port) if self.embedded else None,
        )
