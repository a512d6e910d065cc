"""A folder in; a station file, its secrets and the next steps out."""

import asyncio
import os
import shlex
import shutil
import sys
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

from gateway.groundwork.private_files import is_folder, is_there
from gateway.groundwork.silence import without_log
from gateway.settings import STATION_FILE_NAME, WEB_PORT
from gateway.setup import surroundings
from gateway.setup.answers import GivenAnswers, Page
from gateway.setup.answers_file import answers_in
from gateway.setup.console import Console
from gateway.setup.dialogue import HOW_TO_LEAVE, hold
from gateway.setup.files import UNIT, new_files, new_token, unit_text
from gateway.setup.phone import qr_code
from gateway.setup.surroundings import ThisComputer
from gateway.setup.trials import Trial, Trials
from gateway.setup.writing import write_all

FOLDER = Path("stile-station")
"""Where nothing else is named."""

PROGRAM = Path(sys.prefix) / "bin" / "stile"

CAUTIONS = (
    "Not a distress watch: nobody may rely on this for safety of life.",
    "Receiving, and passing on what was received, is regulated in some countries: the law where you live decides.",
    "An antenna near power lines kills; for lightning and earthing ask a qualified installer.",
)


class SetupError(Exception):
    """Nothing was written; the message says why, and what to do."""


def set_up(folder: Path, console: Console, answers_file: Path | None = None) -> None:
    """Ask, or read the answers, and write. Raises `SetupError`, `LeftError` and `DocumentError`: nothing is written."""
    _require_room(folder)
    around, trials = ThisComputer(folder, console), Trials(folder)

    def try_it(key: str, answers: GivenAnswers) -> Trial:
        with without_log():
            return asyncio.run(trials.of(key, answers))

    if answers_file is None:
        console.say("\n".join((*CAUTIONS, "", HOW_TO_LEAVE)))
        answers = hold(console, around, try_it)
    else:
        answers = answers_in(answers_file, around, lambda key, given: _say(console, key, try_it(key, given)))
    token = new_token()
    unit = _unit(folder) if answers.service else None
    try:
        write_all(folder, new_files(answers, token, unit))
    except OSError as error:
        raise SetupError(
            f"{error.filename or folder} cannot be written: {error.strerror}; nothing was written"
        ) from None
    console.say("\n".join(_next_steps(folder, answers, token)))


def _require_room(folder: Path) -> None:
    """See before the first question that what is written at the end can be."""
    nearest = next(place for place in (folder.absolute(), *folder.absolute().parents) if is_there(place))
    if not is_folder(nearest) or not os.access(nearest, os.W_OK | os.X_OK):
        raise SetupError(f"{nearest} is no folder that you may write to: name another folder, or begin with sudo")
    for name in (STATION_FILE_NAME, UNIT, "secrets"):
        if is_there(folder / name):
            raise SetupError(f"{folder / name} is there already, and is left as it is: name another folder")


def _say(console: Console, key: str, trial: Trial) -> None:
    for line in trial.lines:
        console.say(f"{key}: {line}")


def _unit(folder: Path) -> str:
    template = resources.files("gateway").joinpath(UNIT).read_text("utf-8")
    return unit_text(template, folder.resolve(), PROGRAM)


def _as_typed() -> str:
    """How this program is called from a terminal: by its name, where that means this one."""
    path = shutil.which(PROGRAM.name)
    return PROGRAM.name if path is not None and Path(path) == PROGRAM else shlex.quote(str(PROGRAM))


def _next_steps(folder: Path, answers: GivenAnswers, token: str) -> Iterator[str]:
    station = shlex.quote(str(folder / STATION_FILE_NAME))
    yield ""
    yield f"Written: {station}. What next:"
    if answers.service:
        yield from _service_steps(folder.resolve())
    else:
        program = _as_typed()
        yield f"  {program} check {station}     says what it means"
        yield f"  {program} doctor {station}    looks at everything around it"
        yield f"  {program} run {station}       runs the gateway"
    if answers.page is Page.HERE:
        yield f"The page, once it runs: http://127.0.0.1:{WEB_PORT}/"
    elif answers.page is Page.HOUSE:
        host = surroundings.address_in_the_house()
        address = f"http://{host or 'ADDRESS'}:{WEB_PORT}/"
        yield f"The page, once it runs, on any phone of the house: {address}"
        if host is None:
            yield "ADDRESS is that of this computer in the house's network, in which it is not now."
        else:
            yield from qr_code(address)
        yield f"It asks for this token once: {token}"
        yield f"(It stands in {folder / 'secrets' / 'web'}, and goes over the house's network in the clear.)"


def _service_steps(folder: Path) -> Iterator[str]:
    unit, secrets, station = (shlex.quote(str(folder / name)) for name in (UNIT, "secrets", STATION_FILE_NAME))
    program = shlex.quote(str(PROGRAM))  # root has a path of its own
    yield "  sudo useradd --system --user-group --no-create-home --shell /usr/sbin/nologin stile"
    yield f"  sudo install -m 644 {unit} /etc/systemd/system/{UNIT}"
    yield "  sudo systemctl enable --now stile"
    yield f"  sudo CREDENTIALS_DIRECTORY={secrets} {program} doctor {station}    looks at everything around it"
