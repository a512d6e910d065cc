"""`station:` and `receivers:`: who and where the gateway is, and whom it listens to."""

import re
from typing import Annotated, Self

from pydantic import (
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from gateway.documents.values import Name, Section
from gateway.frames.header import is_network_callsign, without_ssid_0
from gateway.receivers.address import ReceiverAddress, allowed_senders, network
from gateway.receivers.address import parse as parse_receiver_address
from gateway.reports import locator
from gateway.settings.places import readable_by

MOST_SENDERS = 256


class PositionSettings(Section):
    """Where the antenna is."""

    latitude: Annotated[float, Field(ge=-90, le=90)] | None = None
    longitude: Annotated[float, Field(ge=-180, le=180)] | None = None
    locator: str | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        plain = (self.latitude is not None) + (self.longitude is not None)
        if (plain, self.locator is not None) not in {(2, False), (0, True)}:
            raise ValueError("give latitude and longitude in degrees, or a locator")
        return self

    @field_validator("locator")
    @classmethod
    def _is_locator(cls, text: str) -> str:
        if not locator.is_locator(text):
            raise ValueError(f"{text!r} is no locator; write it as IO88AO")
        return text

    @property
    def degrees(self) -> tuple[float, float]:
        """WGS 84 latitude and longitude."""
        if self.latitude is not None and self.longitude is not None:
            return self.latitude, self.longitude
        cell = locator.read(self.locator or "")
        return cell.latitude, cell.longitude


class StationSettings(Section):
    """Who and where."""

    callsign: str
    position: PositionSettings | None = None

    @field_validator("callsign")
    @classmethod
    def _proper(cls, callsign: str) -> str:
        if not is_network_callsign(callsign):
            raise ValueError(f"{callsign!r} is no callsign for the network: 1-9 letters and digits, one hyphen at most")
        if re.fullmatch(r"[0-9A-Fa-f]{8}", callsign):
            raise ValueError("a callsign of exactly eight hexadecimal digits cannot log in (IS-Q)")
        return without_ssid_0(callsign.upper())


def _receiver_address(value: object) -> ReceiverAddress:
    if isinstance(value, ReceiverAddress):
        return value
    if not isinstance(value, str):
        raise ValueError("a receiver's address belongs here, as kiss+tcp://127.0.0.1:7581")  # noqa: TRY004 - pydantic's way
    return parse_receiver_address(value)


class ReceiverSettings(Section):
    """One decoder's socket."""

    model_config = ConfigDict(arbitrary_types_allowed=True)

    name: Name
    allow: list[Annotated[str, readable_by(network)]] = Field(default_factory=list, max_length=MOST_SENDERS)
    address: Annotated[ReceiverAddress, BeforeValidator(_receiver_address), Field(alias="from")]

    @field_validator("address")
    @classmethod
    def _fits(cls, address: ReceiverAddress, info: ValidationInfo) -> ReceiverAddress:
        if "allow" in info.data:  # else it is told that what stands there is wrong
            allowed_senders(address, info.data["allow"])
        return address
