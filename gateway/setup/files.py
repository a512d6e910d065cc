"""What is to be written: the station file with its comments, secrets, the service's unit. Pure."""

import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import yaml

from gateway.settings import STATION_FILE_NAME, WEB_PORT
from gateway.setup.answers import GivenAnswers, Page
from gateway.setup.trials import web_host

UNIT = "stile.service"
STATE_FOLDER = Path("/var/lib/stile")
"""The service's own, where it may write."""

_UNIT_FOLDER = "/etc/stile"
_UNIT_PROGRAM = "/opt/stile/bin/stile"
"""As the unit in the package has them."""

_SECRETS = "secrets"
_OPEN, _PRIVATE = 0o644, 0o600
_TOKEN_OCTETS = 24
_ONE_LINE = 1_000_000
"""Characters of a line before it would be folded."""


@dataclass(frozen=True, slots=True)
class NewFile:
    """A file that is to be made. Its representation does not show its text, which may be a secret."""

    name: str
    """From the folder of the station on."""

    text: str
    mode: int

    def __repr__(self) -> str:
        return f"NewFile({self.name!r})"


def new_token() -> str:
    """A token for the page that nobody guesses."""
    return secrets.token_hex(_TOKEN_OCTETS)


def new_files(answers: GivenAnswers, token: str, unit: str | None) -> list[NewFile]:
    """All files, the station file last. `unit`: the service's, made for this place; None: no service is wanted."""
    files = [NewFile(f"{_SECRETS}/{name}", f"{text}\n", _PRIVATE) for name, text in _secrets(answers, token)]
    if unit is not None:
        files.append(NewFile(UNIT, unit, _OPEN))
    return [*files, NewFile(STATION_FILE_NAME, station_text(answers), _OPEN)]


def unit_text(template: str, folder: Path, program: Path) -> str:
    """The unit of the package for a station in `folder`, run by `program`; both are whole paths."""
    return template.replace(_UNIT_PROGRAM, str(program)).replace(_UNIT_FOLDER, str(folder))


def station_text(answers: GivenAnswers) -> str:
    """The station file."""
    return "\n".join([*_head(answers), *_receivers(answers), *_uplink(answers), *_house(answers), ""])


def _head(answers: GivenAnswers) -> Iterator[str]:
    yield "# A station file of Stile, written by `stile setup`."
    yield "# `stile check` says what it means, `stile doctor` whether it works."
    yield "station:"
    yield f"  callsign: {_quoted(answers.callsign)}" + (
        "   # a name of your own: nothing is sent" if answers.listens_only else "   # the network knows each login once"
    )
    if answers.locator is not None:
        yield f"  position: {{locator: {_quoted(answers.locator)}}}   # where the antenna is"
    elif answers.place is not None:
        where = f"{{latitude: {answers.place.latitude!r}, longitude: {answers.place.longitude!r}}}"
        yield f"  position: {where}   # where the antenna is: north and east are above 0"
    else:
        yield "  # position: {locator: IO88AO}   # where the antenna is, for distances and bearings"


def _receivers(answers: GivenAnswers) -> Iterator[str]:
    yield "receivers:   # as many as you like; names are yours to choose"
    for name, address in zip(answers.receiver_names, answers.receivers, strict=True):
        yield f"  - name: {name}"
        yield f"    from: {_quoted(address)}"
    yield "policy: receive-only   # what may go up: a ready policy, or a path as ./mine.yaml"


def _uplink(answers: GivenAnswers) -> Iterator[str]:
    if not answers.servers:
        yield "# uplink:   # to send to the network, which needs your own callsign"
        yield "#   servers: [tcp://server.example:14580]"
        yield f"#   passcode_file: {_SECRETS}/passcode"
        return
    yield "uplink:"
    yield f"  servers: [{', '.join(map(_quoted, answers.servers))}]   # tried in turn"
    if answers.passcode is not None:
        yield f"  passcode_file: {_secret(answers, 'passcode')}"
    else:
        yield f"  # passcode_file: {_SECRETS}/passcode   # without one the gateway logs in to receive only"


def _house(answers: GivenAnswers) -> Iterator[str]:
    if answers.broker is not None:
        yield "bus:   # everything heard, for home automation and screens"
        yield f"  broker: {_quoted(answers.broker)}"
        if answers.broker_user is not None:
            yield f"  username: {_quoted(answers.broker_user)}"
            yield f"  password_file: {_secret(answers, 'bus')}"
    if answers.page is not Page.NO:
        token = f", token_file: {_secret(answers, 'web')}" if answers.page is Page.HOUSE else ""
        yield f"web: {{listen: {_quoted(f'{web_host(answers.page)}:{WEB_PORT}')}{token}}}   # the page and its API"
    if answers.journal:
        path = STATE_FOLDER / "stile.db" if answers.service else Path("stile.db")
        yield "journal:   # what was heard; a power cut may take the last `flush` of it"
        yield f"  {{path: {path}, keep: 30d, flush: 60s}}"
    yield "# lines: {listen: 127.0.0.1:7582}   # monitor text of everything heard, for programs that read it"


def _secrets(answers: GivenAnswers, token: str) -> Iterator[tuple[str, str]]:
    if answers.passcode is not None:
        yield "passcode", answers.passcode.get_secret_value()
    if answers.broker_password is not None:
        yield "bus", answers.broker_password.get_secret_value()
    if answers.page is Page.HOUSE:
        yield "web", token


def _secret(answers: GivenAnswers, name: str) -> str:
    """How the station file names a secret: the service manager hands them to a service."""
    return f"$CREDENTIALS_DIRECTORY/{name}" if answers.service else f"{_SECRETS}/{name}"


def _quoted(text: str) -> str:
    """A text in double quotes, that YAML reads as this text and nothing else, whatever it holds."""
    written: str = yaml.safe_dump(text, default_style='"', width=_ONE_LINE)
    return written.rstrip("\n")
