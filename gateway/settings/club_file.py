"""What a station file says of its club, as what the club's room takes. Raises `DocumentError` for what cannot be."""

import ssl
from typing import TYPE_CHECKING

from gateway.club.engine import EngineOptions
from gateway.club.options import ClubOptions, Role
from gateway.club.slices import ALL, Slices
from gateway.club.subjects import Subjects, member_name
from gateway.documents import DocumentError
from gateway.frames.heard import Place
from gateway.groundwork.certificates import why_unusable
from gateway.groundwork.hosts import address_of
from gateway.settings.secret import secret_path

if TYPE_CHECKING:
    from gateway.settings import ClubSettings, StationFile

_TOKEN = "BEGIN NATS USER JWT"  # noqa: S105 - what stands before a token in the engine's own files
MAXIMUM_CREDENTIALS = 64 * 1024


def club_options(station: "StationFile", club: "ClubSettings") -> ClubOptions:
    """The station's part in its club."""
    position = station.settings.station.position
    callsign = station.settings.station.callsign
    uplink = station.settings.uplink
    post_name = club.post or member_name(callsign)
    role = Role(club.role)
    member = post_name if role is Role.POST else member_name(callsign)
    return ClubOptions(
        subjects=Subjects(club.name),
        role=role,
        engine=_engine(station, club, member),
        callsign=callsign,
        post_name=post_name,
        lease_ms=club.lease,
        freshness_ms=club.freshness if uplink is None else uplink.freshness,
        slices=ALL if club.slices is None else Slices.of(club.slices),
        place=Place(*position.degrees) if position else None,
        embedded=(station.folder / "engine", club.embedded_port) if club.embedded else None,
    )


def _engine(station: "StationFile", club: "ClubSettings", member: str) -> EngineOptions:
    credentials = None if club.credentials_file is None else secret_path(station.folder, club.credentials_file)
    holds_token = False
    if credentials is not None:
        try:
            with credentials.open("r", encoding="ascii", errors="replace") as file:
                holds_token = _TOKEN in file.read(MAXIMUM_CREDENTIALS)
        except OSError as error:
            what = f"{credentials} cannot be read: {error.strerror}"
            raise DocumentError([station.document.problem(("club", "credentials_file"), what)]) from None
    return EngineOptions(
        servers=tuple(f"{scheme}://{address_of(host, port)}" for scheme, host, port in club.addresses),
        name=member,
        user=club.user,
        password=station.club_password.get_secret_value() if station.club_password else None,
        credentials=None if credentials is None else str(credentials),
        holds_token=holds_token,
        tls=_tls(station, club),
    )


def _tls(station: "StationFile", club: "ClubSettings") -> ssl.SSLContext | None:
    if all(scheme != "tls" for scheme, _, _ in club.addresses):
        return None
    ca = None if club.ca is None else station.folder / club.ca
    try:
        return ssl.create_default_context(cafile=ca)
    except OSError as error:
        what = f"{ca}: {why_unusable(error)}; give a file of PEM certificates"
        raise DocumentError([station.document.problem(("club", "ca"), what)]) from None
