"""The image's health check: the gateway's process works and, where the station file asks for a page, its loop answers.

    python -I health.py

Exit 0 if so; 1 if not, with the reason in one line.
"""  # noqa: INP001 - run from the image by its path, never imported by the gateway

import http.client
import ssl
import sys
from pathlib import Path
from urllib.parse import urlsplit

import yaml

PROCESSES = Path("/proc")
ANSWER_SECONDS = 5.0
STOPPED_OR_DEAD = "TtZXx"
"""The states of proc(5) in which a process does nothing."""

PAGE_HOST = "127.0.0.1"
PAGE_PORT = 7583
"""Where the page is if the station file does not say; the gateway's settings have the same."""

ANY_HOST = {"0.0.0.0": "127.0.0.1", "::": "::1"}  # noqa: S104 - read here, not listened on
"""Who listens everywhere is asked on loopback."""


class UnhealthyError(Exception):
    """What is wrong, for whoever reads the engine's log of health checks."""


def main(processes: Path = PROCESSES) -> int:
    """Check once; the value is the exit status."""
    try:
        ask_page(page_address(running_station_file(processes)))
    except UnhealthyError as error:
        print(error)  # noqa: T201 - the engine keeps what a check prints
        return 1
    return 0


def running_station_file(processes: Path) -> Path:
    """The station file of the gateway that runs in this container. Raises `UnhealthyError` where none works."""
    for process in processes.glob("[1-9]*"):
        try:
            arguments = (process / "cmdline").read_text("utf-8", "surrogateescape").split("\0")
            state = (process / "stat").read_text("latin-1").rpartition(")")[2].split()[0]
        except OSError:
            continue  # it has ended meanwhile
        for program, command, station_file in zip(arguments, arguments[1:], arguments[2:], strict=False):
            if program.endswith("/stile") and command == "run":
                if state in STOPPED_OR_DEAD:
                    raise UnhealthyError(f"the gateway's process does nothing: its state is {state}")
                return process / "cwd" / station_file
    raise UnhealthyError("no gateway runs here")


def page_address(station_file: Path) -> tuple[str, int, bool] | None:
    """Host and port at which the page is asked for, where the station file has one, and whether it speaks TLS."""
    try:
        station = yaml.safe_load(station_file.read_text("utf-8"))
        page = station["web"]
        listen = urlsplit(f"//{page.get('listen', PAGE_HOST)}")
        host, port = listen.hostname or PAGE_HOST, listen.port or PAGE_PORT
    except (OSError, ValueError, yaml.YAMLError, LookupError, TypeError, AttributeError):
        return None  # there is none; or the file was spoilt after the start, which is for the next start to say
    return ANY_HOST.get(host, host), port, page.get("certificate") is not None


def ask_page(address: tuple[str, int, bool] | None) -> None:
    """Ask for /healthz, which is answered as long as the gateway's loop turns. Raises `UnhealthyError`."""
    if address is None:
        return
    host, port, encrypted = address
    connection = http.client.HTTPConnection(host, port, timeout=ANSWER_SECONDS)  # goes through no proxy
    if encrypted:  # in this very container: that it answers is the question, not who it is
        context = ssl.create_default_context()
        context.check_hostname = False
        context.verify_mode = ssl.CERT_NONE
        connection = http.client.HTTPSConnection(host, port, timeout=ANSWER_SECONDS, context=context)
    try:
        connection.request("GET", "/healthz")
        status = connection.getresponse().status
    except (OSError, http.client.HTTPException) as error:
        raise UnhealthyError(f"/healthz does not answer: {error}") from None
    finally:
        connection.close()
    if status != http.client.OK:
        raise UnhealthyError(f"/healthz answers {status}")


if __name__ == "__main__":
    sys.exit(main())
