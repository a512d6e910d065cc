"""Makes the secrets of the containers, once, on volumes that only they see: `docker compose run --rm setup`.

It asks for the passcode of the callsign without showing it (or reads one line where there is no terminal), makes the
passwords of the bus, and prints the one of the house, which is kept nowhere in the clear. What is there already stays;
`--passcode` and `--house` make that one anew. Exit 0 if all is there; 1 if not, with the reason in one line.
"""  # noqa: INP001 - run from the image by its path, never imported by the gateway

import argparse
import base64
import getpass
import hashlib
import os
import re
import secrets
import sys
from collections.abc import Sequence
from pathlib import Path

FOLDER = Path("/secrets")
GATEWAY, BROKER = "gateway", "broker"
"""A volume for each: no container sees the other's."""

GATEWAY_USER, BROKER_USER = 10001, 1883
"""The numbers of their users; the Dockerfile and compose.yaml have the same."""

ONLY_LISTENS = "-1"
"""The passcode of who may not send (IS-Connect)."""

ITERATIONS = 101
"""Of the broker's own tool. The passwords are drawn by chance: none of them can be guessed, however fast one tries."""

ACCESS = """\
# Who may do what on the bus. Made by set_up.py, which makes it anew whenever it runs.
user stile
topic readwrite stile/#
topic readwrite homeassistant/#

# The house reads. A home-automation hub says that it is there on its own topic.
user house
topic read stile/#
topic read homeassistant/#
topic readwrite homeassistant/status
"""


class RefusedError(Exception):
    """What is wrong, for whoever sets it up."""


def main(arguments: Sequence[str] | None = None, folder: Path = FOLDER) -> int:
    """Set up once; the value is the exit status."""
    parser = argparse.ArgumentParser(prog="setup", description="Makes the secrets of the containers.")
    parser.add_argument("--passcode", action="store_true", help="ask for the passcode again")
    parser.add_argument("--house", action="store_true", help="make the house another password")
    options = parser.parse_args(arguments)
    try:
        passcode = folder / GATEWAY / "passcode"
        _keep_passcode(passcode, again=options.passcode)
        only_listens = passcode.read_text().strip() == ONLY_LISTENS
        house = _keep_users(folder, another_for_the_house=options.house)
    except RefusedError as error:
        print(error, file=sys.stderr)  # noqa: T201 - a program of its own
        return 1
    except OSError as error:
        print(f"{error.filename} cannot be written: {error.strerror}", file=sys.stderr)  # noqa: T201 - as above
        return 1
    if only_listens:
        print("No passcode: the gateway only listens. To be asked again: setup --passcode")  # noqa: T201 - as above
    print(_in_words(house))  # noqa: T201 - as above
    return 0


def _keep_passcode(path: Path, *, again: bool) -> None:
    if path.exists() and not again:
        return
    if sys.stdin.isatty():
        text = getpass.getpass("The passcode of your callsign (Enter alone: you only listen): ")
    else:
        text = sys.stdin.readline()
    text = text.strip() or ONLY_LISTENS
    if text != ONLY_LISTENS and not (re.fullmatch(r"[0-9]{1,5}", text) and int(text) < 1 << 15):
        raise RefusedError("That is no passcode: a number from 0 to 32767, or -1 to only listen. Nothing was changed.")
    _write(path, f"{text}\n", GATEWAY_USER)


def _keep_users(folder: Path, *, another_for_the_house: bool) -> str | None:
    """The password of the house, where it is a new one."""
    users, bus = folder / BROKER / "users", folder / GATEWAY / "bus"
    _write(folder / BROKER / "access", ACCESS, BROKER_USER)
    known = dict(line.split(":", 1) for line in users.read_text().splitlines()) if users.exists() else {}
    if "stile" not in known or not bus.exists():
        password = secrets.token_urlsafe(24)
        _write(bus, f"{password}\n", GATEWAY_USER)
        known["stile"] = hashed(password)
    house = secrets.token_urlsafe(18) if another_for_the_house or "house" not in known else None
    if house is not None:
        known["house"] = hashed(house)
    _write(users, "".join(f"{user}:{mark}\n" for user, mark in known.items()), BROKER_USER)
    return house


def hashed(password: str) -> str:
    """A password as the broker keeps it: PBKDF2 with SHA-512 and a salt (mosquitto's form 7; from memory)."""
    salt = secrets.token_bytes(12)
    mark = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, ITERATIONS)
    return f"$7${ITERATIONS}${base64.b64encode(salt).decode()}${base64.b64encode(mark).decode()}"


def _write(path: Path, text: str, user: int) -> None:
    """Put a file in the place of the old one: whole or not at all, for `user` alone. Raises `OSError`."""
    fresh = path.with_suffix(".new")
    fresh.unlink(missing_ok=True)
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o400), "w") as file:
        file.write(text)
    os.chown(fresh, user, user)
    fresh.rename(path)


def _in_words(house: str | None) -> str:
    if house is None:
        return "Everything is there. Start: docker compose up --detach"
    return (
        "The house reads the bus at 127.0.0.1:1883 as the user house with this password:\n\n"
        f"    {house}\n\n"
        "It is shown this once; `docker compose run --rm setup --house` makes another.\n"
        "Start: docker compose up --detach"
    )


if __name__ == "__main__":
    sys.exit(main())
