"""Reads a station file, then the secrets that it names, and makes from it what each part of the gateway is told."""

import importlib.util
import os
import stat
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from pydantic import SecretStr

from gateway.bus.options import BusOptions
from gateway.documents import Document, DocumentError, Place, Problem, check, parse, read_text
from gateway.groundwork.extras import adding
from gateway.groundwork.private_files import mode_at
from gateway.journal.options import CaptureOptions, JournalOptions
from gateway.lines.options import LinesOptions
from gateway.settings.secret import RECEIVE_ONLY_PASSCODE, read_passcode, read_secret, read_token, secret_path
from gateway.settings.whole import Settings, problems
from gateway.uplink import passcode as passcodes
from gateway.uplink.state import UplinkOptions
from gateway.web.options import WebOptions

if TYPE_CHECKING:
    from gateway.club.options import ClubOptions

_T = TypeVar("_T")

STATION_FILE_NAME = "station.yaml"
"""What `stile setup` calls it."""

_SECRETS = (
    ("uplink", "passcode_file"),
    ("bus", "password_file"),
    ("bus", "key"),
    ("web", "token_file"),
    ("web", "key"),
    ("club", "password_file"),
    ("club", "credentials_file"),
)
"""Sections and their keys that name a file with a secret in it."""

_OF_A_POLICY = frozenset({"version", "rules", "rates"})
"""Keys that no station file has."""


@dataclass(frozen=True, slots=True)
class StationText:
    """What a station file says, and the folder that its paths start from; its secrets are not read yet."""

    path: Path
    settings: Settings
    document: Document

    @property
    def folder(self) -> Path:
        """Where the station file lies."""
        return self.path.parent

    def secret_files(self) -> Iterator[tuple[Place, Path]]:
        """Every file that holds a secret, and where it is named. Raises `ValueError` where nothing says its folder."""
        for place, name in self.secret_names():
            yield place, secret_path(self.folder, name)

    def secret_names(self) -> Iterator[tuple[Place, Path]]:
        """Every file that holds a secret, as it is named, and where."""
        for section, key in _SECRETS:
            name = getattr(getattr(self.settings, section), key, None)
            if name is not None:
                yield (section, key), name


@dataclass(frozen=True, slots=True)
class StationFile(StationText):
    """A station file with its secrets: whatever is made of it can be made."""

    passcode: SecretStr | None
    bus_password: SecretStr | None
    web_token: SecretStr | None
    club_password: SecretStr | None

    @property
    def passcode_number(self) -> int | None:
        """The passcode; -1 to log in to receive only; None where there is no uplink."""
        return None if self.passcode is None else int(self.passcode.get_secret_value())

    @property
    def uplink(self) -> UplinkOptions | None:
        """What the uplink is told; None, here and below: there is none."""
        section, passcode = self.settings.uplink, self.passcode_number
        return None if section is None or passcode is None else section.options(self._callsign, passcode)

    @property
    def bus(self) -> BusOptions | None:
        """What the bus is told."""
        section = self.settings.bus
        password = _revealed(self.bus_password)
        return None if section is None else section.options(self._callsign, self.folder, password)

    @property
    def lines(self) -> LinesOptions | None:
        """What the text port is told."""
        section = self.settings.lines
        return None if section is None else section.options()

    @property
    def web(self) -> WebOptions | None:
        """What the web is told."""
        section = self.settings.web
        return None if section is None else section.options(self._callsign, self.folder, _revealed(self.web_token))

    @property
    def journal(self) -> JournalOptions | None:
        """What the journal is told."""
        section = self.settings.journal
        return None if section is None else section.options(self.folder)

    @property
    def captures(self) -> CaptureOptions | None:
        """What the captures are told."""
        section = self.settings.journal
        return None if section is None else section.capture_options(self.folder)

    @property
    def club(self) -> "ClubOptions | None":
        """What its part in a club is told. Raises `DocumentError` for what is not installed or not there."""
        section = self.settings.club
        if section is None:
            return None
        if importlib.util.find_spec("nats") is None:
            what = f"what a club needs is not installed: {adding('club')}"
            raise DocumentError([self.document.problem(("club",), what)])
        from gateway.settings.club_file import club_options  # noqa: PLC0415 - it needs that extra

        return club_options(self, section)

    @property
    def _callsign(self) -> str:
        return self.settings.station.callsign


def load(path: Path, environment: Mapping[str, str] = os.environ) -> StationFile:
    """Read a station file and the secrets that it names. Raises `DocumentError`."""
    return with_secrets(load_text(path), environment)


def load_text(path: Path) -> StationText:
    """Read a station file without the secrets that it names. Raises `DocumentError`."""
    try:
        text = read_text(path)
    except IsADirectoryError:
        what = f"cannot be read: it is a folder; the station file in it may be {path / STATION_FILE_NAME}"
        raise DocumentError([Problem(str(path), 1, "", what)]) from None
    except OSError as error:
        raise DocumentError([Problem(str(path), 1, "", f"cannot be read: {error.strerror}")]) from None
    return _read_text(text, path)


def read(text: str, path: Path, environment: Mapping[str, str] = os.environ) -> StationFile:
    """Read the text of the station file at `path`, and the secrets that it names. Raises `DocumentError`."""
    return with_secrets(_read_text(text, path), environment)


def with_secrets(station: StationText, environment: Mapping[str, str] = os.environ) -> StationFile:
    """Read the secrets that a station file names. Raises `DocumentError` with all that cannot be had."""
    reading = _OutsideReading(station)
    settings, folder = station.settings, station.folder
    for place, name in reading.names.items():
        reading.take(place, partial(secret_path, folder, name))
    reading.raise_problems()
    passcode = None
    if (uplink := settings.uplink) is not None:
        place = ("uplink", "passcode_file")
        passcode = reading.take(place, lambda: read_passcode(folder, uplink, environment))
        reading.take(place, lambda: _require_own(passcode, settings.station.callsign))
    password = reading.secret(("bus", "password_file"))
    token = reading.secret(("web", "token_file"), read_token)
    club_password = reading.secret(("club", "password_file"))
    if settings.journal is not None:
        reading.take(("journal", "path"), partial(_require_folder, folder / settings.journal.path))
    reading.raise_problems()
    return StationFile(station.path, settings, station.document, passcode, password, token, club_password)


class _OutsideReading:
    """Takes what can be had from outside the station file, and collects what cannot."""

    def __init__(self, station: StationText) -> None:
        self.names = dict(station.secret_names())
        self._station = station
        self._problems: list[Problem] = []

    def take(self, place: Place, read_it: Callable[[], _T]) -> _T | None:
        """What `read_it` gives; None where it cannot, which is told at `place`."""
        try:
            return read_it()
        except ValueError as error:
            self._problems.append(self._station.document.problem(place, str(error)))
            return None

    def secret(self, place: Place, read: Callable[[Path, Path], SecretStr] = read_secret) -> SecretStr | None:
        """What the file holds that is named at `place`; None where none is, or where it cannot be had."""
        name = self.names.get(place)
        return None if name is None else self.take(place, partial(read, self._station.folder, name))

    def raise_problems(self) -> None:
        """Raises `DocumentError` where there are any."""
        if self._problems:
            raise DocumentError(self._problems)


def _read_text(text: str, path: Path) -> StationText:
    document = parse(text, str(path))
    if _is_policy(document.content):
        what = f"this is a policy, and a station file belongs here; a policy is named in one, as policy: {path.name}"
        raise DocumentError([Problem(str(path), 1, "", what)])
    settings = check(document, Settings)
    if mistakes := problems(document, settings):
        raise DocumentError(mistakes)
    return StationText(path, settings, document)


def _is_policy(content: object) -> bool:
    return isinstance(content, dict) and "station" not in content and not _OF_A_POLICY.isdisjoint(content)


def _require_own(passcode: SecretStr | None, callsign: str) -> None:
    """Raises `ValueError` where the passcode belongs to another callsign."""
    number = RECEIVE_ONLY_PASSCODE if passcode is None else int(passcode.get_secret_value())
    if number != RECEIVE_ONLY_PASSCODE and not passcodes.belongs(callsign, number):
        raise ValueError(f"the passcode does not belong to {callsign}: the network would not take anything")


def _require_folder(path: Path) -> None:
    """Raises `ValueError` where the journal has no place to lie in."""
    try:
        if not stat.S_ISDIR(mode_at(path.parent)):
            raise ValueError(f"there is no folder {path.parent}: make it, or name another place for the journal")
    except OSError as error:  # what may not be looked into
        raise ValueError(f"{path} cannot be looked for: {error.strerror}") from None


def _revealed(secret: SecretStr | None) -> str | None:
    return None if secret is None else secret.get_secret_value()
