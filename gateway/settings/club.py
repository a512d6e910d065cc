"""`club:`: the engine that a club of posts shares, and what this station is there."""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from gateway.club.slices import SLICES
from gateway.club.subjects import MEMBER_NAME
from gateway.documents.values import Duration, Section, between, fits
from gateway.groundwork.loopback import is_loopback
from gateway.settings.places import is_embedded, readable_by, service_address

ENGINE_PORT = 4222
"""Of the club's engine, by its own custom."""

MOST_ENGINES = 16

_FORMS = "nats://127.0.0.1:4222, tls://engine.example:4222 or embedded"


Member = Annotated[
    str,
    AfterValidator(fits(MEMBER_NAME, "is no name in a club: write small letters, digits and hyphens, no more than 32")),
]
"""What a club or a post is called."""


def engine_address(server: str) -> tuple[str, str, int]:
    """Scheme, host and port of a server of the engine. Raises `ValueError`."""
    return service_address(server, {"nats": ENGINE_PORT, "tls": ENGINE_PORT}, _FORMS)


SliceNumber = Annotated[int, Field(ge=0, lt=SLICES)]


class ClubSettings(Section):
    """This station's part in a club of posts: the engine that they share, and what it is there."""

    name: Member
    servers: Annotated[list[Annotated[str, readable_by(engine_address)]], Field(min_length=1, max_length=MOST_ENGINES)]
    credentials_file: Path | None = None
    user: str | None = None
    password_file: Annotated[Path | None, Field(validate_default=True)] = None
    ca: Path | None = None
    role: Literal["post", "hub"]
    post: Member | None = None
    slices: Annotated[list[SliceNumber] | None, Field(min_length=1)] = None
    lease: Annotated[Duration, between("2s", "60s")] = 6000
    freshness: Annotated[Duration, between("1s", "60s")] = 10_000

    @field_validator("servers")
    @classmethod
    def _embedded_alone(cls, servers: list[str]) -> list[str]:
        if len(servers) > 1 and any(map(is_embedded, servers)):
            raise ValueError("an embedded engine is one server: name no other beside it")
        return servers

    @field_validator("slices")
    @classmethod
    def _each_once_at_a_hub(cls, slices: list[int], info: ValidationInfo) -> list[int]:
        if len(slices) != len(set(slices)):
            raise ValueError("name each slice once")
        if info.data.get("role") == "post":
            raise ValueError("slices are for hubs: a post hands on all that it hears")
        return slices

    @field_validator("user", "password_file")
    @classmethod
    def _one_way_to_log_in(cls, given: str | Path | None, info: ValidationInfo) -> str | Path | None:
        if given is not None and info.data.get("credentials_file") is not None:
            raise ValueError("give credentials_file, or user and password_file")
        return given

    @field_validator("password_file")
    @classmethod
    def _password(cls, file: Path | None, info: ValidationInfo) -> Path | None:
        if "user" in info.data and (file is None) != (info.data["user"] is None):
            raise ValueError("user and password_file go together: give both")
        for scheme, host, _ in map(engine_address, info.data.get("servers", ())):
            if file is not None and scheme != "tls" and not is_loopback(host):
                raise ValueError(f"a password would go to {host} in the clear; use tls://")
        return file

    @field_validator("ca")
    @classmethod
    def _encrypted(cls, file: Path, info: ValidationInfo) -> Path:
        if any(scheme != "tls" for scheme, _, _ in map(engine_address, info.data.get("servers", ()))):
            raise ValueError("ca is for engines at tls://")
        return file

    @property
    def embedded(self) -> bool:
        """Whether the engine is to be started in a child process, on loopback."""
        return is_embedded(self.servers[0])

    @property
    def embedded_port(self) -> int:
        """Where it listens."""
        return self.addresses[0][2]

    @property
    def addresses(self) -> list[tuple[str, str, int]]:
        """Scheme, host and port of each server."""
        return [*map(engine_address, self.servers)]
