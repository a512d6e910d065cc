"""`stile setup` at a real terminal, a pseudo-terminal of the system, with a test at its keyboard."""

import asyncio
import os
import pty
import signal
import subprocess
import sys
import termios
from collections.abc import AsyncIterator, Iterable, Mapping, Sequence
from contextlib import asynccontextmanager
from pathlib import Path

FAIL_SAFE_SECONDS = 30.0

# Opening it makes the terminal the one that the session is controlled by, which the reading of a passcode asks for.
# Ctrl-C means what it does at a terminal, though a shell that runs tests behind its back lets them ignore it.
_PROGRAM = """
import os, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
os.open(os.ttyname(0), os.O_RDWR)
from gateway import cli
from gateway.setup import surroundings
ports = [int(port) for port in sys.argv[1].split(",") if port]
surroundings.listening_ports = lambda *_: ports
surroundings.serial_devices = lambda *_: []
sys.exit(cli.main(["setup", *sys.argv[2:]]))
"""


class AtATerminal:
    """One conversation."""

    def __init__(self, process: "subprocess.Popen[bytes]", master: int) -> None:
        self._process = process
        self._master = master
        self._new = asyncio.Event()
        self._read = 0
        self.shown = ""
        """Everything that the terminal showed, echoes too."""

        asyncio.get_running_loop().add_reader(master, self._take)

    def _take(self) -> None:
        try:
            octets = os.read(self._master, 65536)
        except OSError:  # the other side is closed
            octets = b""
        if not octets:
            asyncio.get_running_loop().remove_reader(self._master)
        self.shown += octets.decode("utf-8", "replace").replace("\r\n", "\n")
        self._new.set()

    async def until(self, text: str) -> None:
        """Wait until the terminal shows `text`, after what was waited for before."""
        async with asyncio.timeout(FAIL_SAFE_SECONDS):
            while (place := self.shown.find(text, self._read)) < 0:
                self._new.clear()
                await self._new.wait()
        self._read = place + len(text)

    async def answer(self, prompt: str, line: str = "") -> None:
        """Wait for a question, and answer it."""
        await self.until(prompt)
        os.write(self._master, f"{line}\n".encode())

    async def press_control_c(self, prompt: str) -> None:
        """Wait for a question, and leave it.

        A key that comes between the prompt and the reading after it would be seen with the next key only.
        """
        await self.until(prompt)
        async with asyncio.timeout(FAIL_SAFE_SECONDS):
            while not self._waits():  # noqa: ASYNC110 - the system tells it nobody
                await asyncio.sleep(0.01)
        os.write(self._master, b"\x03")

    def terminate(self) -> None:
        """End it by SIGTERM."""
        self._process.send_signal(signal.SIGTERM)

    @property
    def echoes(self) -> bool:
        """Whether the terminal shows what is typed."""
        return bool(termios.tcgetattr(self._master)[3] & termios.ECHO)

    def _waits(self) -> bool:
        """Whether it sleeps: state S (Linux manual page proc_pid_stat(5))."""
        text = Path(f"/proc/{self._process.pid}/stat").read_text("ascii")
        return text.rpartition(")")[2].split()[0] == "S"

    async def status(self) -> int:
        """Wait for its end."""
        async with asyncio.timeout(FAIL_SAFE_SECONDS):
            return await asyncio.to_thread(self._process.wait)


@asynccontextmanager
async def setting_up(folder: Path, ports: Iterable[int], *more: str) -> AsyncIterator[AtATerminal]:
    """Start it for `folder`; it sees these ports of the computer and no others."""
    arguments = [",".join(map(str, ports)), str(folder), *more]
    async with at_a_terminal([sys.executable, "-c", _PROGRAM, *arguments], os.environ) as terminal:
        yield terminal


@asynccontextmanager
async def at_a_terminal(command: Sequence[str], environment: Mapping[str, str]) -> AsyncIterator[AtATerminal]:
    """Start a program at a terminal."""
    master, slave = pty.openpty()
    with subprocess.Popen(  # noqa: ASYNC220 - it starts at once
        command,
        stdin=slave,
        stdout=slave,
        stderr=slave,
        start_new_session=True,
        env={**environment, "TERM": "dumb"},
    ) as process:
        os.close(slave)
        terminal = AtATerminal(process, master)
        try:
            yield terminal
        finally:
            asyncio.get_running_loop().remove_reader(master)
            if process.poll() is None:
                process.send_signal(signal.SIGKILL)
            os.close(master)
