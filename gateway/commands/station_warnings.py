"""What the author of a station file may not have meant, though the gateway can run so."""

import os
import stat
from collections.abc import Iterable, Iterator
from pathlib import Path

from gateway.bus.options import BusOptionsError
from gateway.groundwork.certificates import CertificateError
from gateway.groundwork.loopback import is_loopback
from gateway.groundwork.private_files import is_folder, is_there, why_not_private
from gateway.journal.reading import trouble_with
from gateway.journal.trouble import JournalRefusedError
from gateway.reports import locator
from gateway.settings import RECEIVE_ONLY_PASSCODE, DocumentPlace, Problem, StationFile
from gateway.settings.whole import ports

RECEIVE_ONLY = "without a passcode the gateway logs in to receive only: nothing goes up"

SQUARE = 4
"""Characters of a locator that names no more than a square."""

_MOUNTED = Path("/run/secrets")
"""Where container engines put secrets, for everybody in the container to read: there is nobody else."""


def station_warnings(station: StationFile) -> Iterator[Problem]:
    """All of them, section by section."""
    for place, what in (
        *_about_the_place(station),
        *_about_the_uplink(station),
        *_about_ports(station),
        *_about_secrets(station),
        *_about_certificates(station),
        *_about_folders(station),
    ):
        yield station.document.problem(place, what)


def file_warnings(paths: Iterable[Path]) -> Iterator[Problem]:
    """Those about files that the gateway goes by, and that anybody on this computer may change."""
    for path in paths:
        if _mode_of(path) & stat.S_IWOTH:
            what = f"everybody on this computer may change this file: chmod o-w {path}"
            yield Problem(str(path), 1, "", what)


def _mode_of(path: Path) -> int:
    try:
        return path.stat().st_mode
    except OSError:
        return 0


def _about_the_place(station: StationFile) -> Iterator[tuple[DocumentPlace, str]]:
    position = station.settings.station.position
    if position is None:
        return
    if position.degrees == (0, 0):
        yield ("station", "position"), "0, 0 lies in the Gulf of Guinea: is this where the antenna is?"
    if position.locator is not None and len(position.locator) == SQUARE:
        cell = locator.read(position.locator)
        size = f"{cell.height_deg:g} by {cell.width_deg:g} degrees"
        what = f"{position.locator} is a square of {size}: distances need two letters more, or degrees"
        yield ("station", "position", "locator"), what


def _about_the_uplink(station: StationFile) -> Iterator[tuple[DocumentPlace, str]]:
    if station.passcode_number == RECEIVE_ONLY_PASSCODE:
        yield ("uplink",), RECEIVE_ONLY


def _about_ports(station: StationFile) -> Iterator[tuple[DocumentPlace, str]]:
    for port in ports(station.settings):
        if is_loopback(port.host) or port.place[0] == "web":  # which asks for its token
            continue
        if port.kind == "udp":
            what = "takes datagrams from other computers, and who sends one can name any of the allowed as its sender"
        else:
            what = "lets other computers read all that is heard with no password, and where people are"
        yield port.place, f"{port.host} {what}"


def _about_secrets(station: StationFile) -> Iterator[tuple[DocumentPlace, str]]:
    for place, path in station.secret_files():
        if (what := _readable_by_others(path)) is not None:
            yield place, what
    token = station.web_token
    if token is not None and len(set(token.get_secret_value())) == 1:
        what = "the token is one character over and over, which can be guessed: `openssl rand -hex 24` makes a good one"
        yield ("web", "token_file"), what


def _readable_by_others(path: Path) -> str | None:
    if not _mode_of(path) & (stat.S_IROTH | stat.S_IWOTH) or _MOUNTED in path.parents:
        return None
    return f"everybody on this computer can read the secret in {path}: chmod 600 {path}"


def _about_certificates(station: StationFile) -> Iterator[tuple[DocumentPlace, str]]:
    try:
        if station.bus is not None and station.bus.tls is not None:
            station.bus.tls.context()
    except BusOptionsError as error:
        key = "ca" if str(error).startswith("bus.ca") else "certificate"
        yield ("bus", key), f"{error}; until then the bus is down"
    try:
        if station.web is not None and station.web.certificate is not None:
            station.web.context()
    except CertificateError as error:
        yield ("web", "certificate"), f"{error.strerror}; until then the page is down"


def _about_folders(station: StationFile) -> Iterator[tuple[DocumentPlace, str]]:
    if station.journal is not None:
        path = station.journal.path
        if is_folder(path):
            yield ("journal", "path"), f"{path} is a folder, and nothing is remembered: name a file in it"
        elif not os.access(path if is_there(path) else path.parent, os.W_OK):
            yield ("journal", "path"), f"who runs this check may not write {path}: nothing would be remembered"
        elif (trouble := trouble_with(path)) is not None and not isinstance(trouble, JournalRefusedError):
            yield ("journal", "path"), str(trouble)
        elif open_to := why_not_private(path):
            yield ("journal", "path"), open_to
    if station.captures is not None and (what := _why_no_captures(station.captures.folder)) is not None:
        yield ("journal", "captures"), what


def _why_no_captures(folder: Path) -> str | None:
    if is_folder(folder):
        can = os.access(folder, os.W_OK | os.X_OK)
    else:
        can = not is_there(folder) and is_folder(folder.parent) and os.access(folder.parent, os.W_OK | os.X_OK)
    return None if can else f"{folder} is no folder to write to, and cannot be made one: no captures would be written"
