"""Secrets, read from the files that the station file names. None is ever shown, and neither is what could be one."""

import os
import re
from collections.abc import Mapping
from pathlib import Path

from pydantic import SecretStr

from gateway.documents import read_text
from gateway.settings.uplink import UplinkSettings

PASSCODE_VARIABLE = "STILE_PASSCODE"
RECEIVE_ONLY_PASSCODE = -1
HIGHEST_PASSCODE = 32_767
MAXIMUM_SECRET = 4096
SHORTEST_TOKEN = 16
LONGEST_TOKEN = 256

CREDENTIALS_VARIABLE = "CREDENTIALS_DIRECTORY"
"""Names the folder of the secrets that a service manager hands over (systemd.exec(5), LoadCredential)."""


def secret_path(folder: Path, name: Path) -> Path:
    """Where a secret lies: beside the station file, or `$CREDENTIALS_DIRECTORY/…`. Raises `ValueError`."""
    first, *rest = name.parts or ("",)
    if first != f"${CREDENTIALS_VARIABLE}":
        return folder / name
    handed_over = os.environ.get(CREDENTIALS_VARIABLE, "")
    if not handed_over:
        raise ValueError(
            f"{CREDENTIALS_VARIABLE} is not set. The service manager sets it for the service; by hand, write"
            f" {CREDENTIALS_VARIABLE}=/etc/stile/secrets, or where the secrets lie, before the command"
        )
    return Path(handed_over, *rest)


def read_secret(folder: Path, name: Path) -> SecretStr:
    """The one line that a file holds. Raises `ValueError`, whose message does not repeat a name that names nothing."""
    path = secret_path(folder, name)
    try:
        text = read_text(path, MAXIMUM_SECRET).strip()
    except OSError as error:
        raise ValueError(f"{_shown(path, name)} cannot be read: {error.strerror}") from None
    if not text or len(text.splitlines()) > 1:
        raise ValueError(f"{_shown(path, name)} should hold one line, the secret alone")
    return SecretStr(text)


def read_passcode(folder: Path, uplink: UplinkSettings, environment: Mapping[str, str]) -> SecretStr:
    """The passcode from its file, or from the environment; -1 where there is none. Raises `ValueError`."""
    if uplink.passcode_file is not None:
        secret = read_secret(folder, uplink.passcode_file)
        where = str(uplink.passcode_file)
    else:
        secret = SecretStr(environment.get(PASSCODE_VARIABLE, str(RECEIVE_ONLY_PASSCODE)).strip())
        where = PASSCODE_VARIABLE
    number = secret.get_secret_value()
    if not re.fullmatch(r"-1|[0-9]{1,5}", number) or int(number) > HIGHEST_PASSCODE:
        raise ValueError(f"what {where} holds is no passcode: a number from 0 to {HIGHEST_PASSCODE}, or -1")
    return secret


def read_token(folder: Path, name: Path) -> SecretStr:
    """The token of the web. Raises `ValueError` where it is none that a header can carry, or one to be guessed."""
    secret = read_secret(folder, name)
    token = secret.get_secret_value()
    if not SHORTEST_TOKEN <= len(token) <= LONGEST_TOKEN or not all("!" <= letter <= "~" for letter in token):
        raise ValueError(
            f"the token in {folder / name} is no good secret: {SHORTEST_TOKEN} to {LONGEST_TOKEN} characters belong"
            " there, ASCII and without spaces; `openssl rand -hex 24` makes one"
        )
    return secret


def _shown(path: Path, name: Path) -> str:
    """How a file is called. Where there is none, its name may be the secret itself, put there by mistake."""
    try:
        is_one = path.exists() or (name.is_absolute() and path.parent.is_dir())
    except (OSError, ValueError):  # no file can have such a name
        is_one = False
    return str(path) if is_one else "the name of a file belongs here, not the secret itself: what is named here"
