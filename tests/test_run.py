"""`stile run` as a process: what it logs, how it is stopped, and that the passcode shows nowhere."""

import asyncio
import json
import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from demo.network_server import NetworkServer
from tests.mosquitto_broker import free_port
from tests.whole_gateway import FAIL_SAFE_SECONDS, PASSCODE, Decoder, kiss_of

FEW_FILES = 60


def station_text(decoder: int, server: int, more: str = "") -> str:
    return (
        "station: {callsign: QX1GAT-10}\n"
        f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder}'}}]\n"
        f"uplink: {{servers: ['tcp://127.0.0.1:{server}'], passcode_file: passcode}}\n{more}"
    )


class Gateway:
    """A gateway's process and its log so far."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self.process = process
        self.log: list[dict[str, object]] = []
        self.text = ""

    async def until_logged(self, event: str) -> dict[str, object]:
        assert self.process.stderr is not None
        async with asyncio.timeout(FAIL_SAFE_SECONDS):
            while line := await self.process.stderr.readline():
                self.text += line.decode()
                self.log.append(json.loads(line))
                if self.log[-1]["event"] == event:
                    return self.log[-1]
        raise AssertionError(f"{event!r} is not in the log:\n{self.text}")

    async def end(self, number: signal.Signals) -> int:
        self.process.send_signal(number)
        async with asyncio.timeout(FAIL_SAFE_SECONDS):
            assert self.process.stderr is not None
            self.text += (await self.process.stderr.read()).decode()
            return await self.process.wait()


@asynccontextmanager
async def stile_run(
    folder: Path, text: str, passcode: str = PASSCODE, *, files: int | None = None
) -> AsyncIterator[Gateway]:
    """`files`: no more than so many may it have open at once."""
    (folder / "station.yaml").write_text(text)
    (folder / "passcode").write_text(f"{passcode}\n")
    limit = () if files is None else ("prlimit", f"--nofile={files}")
    command = (*limit, sys.executable, "-m", "gateway.cli", "run", str(folder / "station.yaml"))
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parent.parent)}
    process = await asyncio.create_subprocess_exec(*command, stderr=asyncio.subprocess.PIPE, env=environment)
    try:
        yield Gateway(process)
    finally:
        if process.returncode is None:
            process.kill()
            await process.wait()


async def test_a_frame_passes_through_the_process_and_sigterm_ends_it_well(tmp_path: Path) -> None:
    async with Decoder() as decoder, NetworkServer(keep_lines=5) as server:
        async with stile_run(tmp_path, station_text(decoder.port, server.port)) as gateway:
            await gateway.until_logged("uplink is up")
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>hello"))
            await server.until(lambda: len(server.lines) == 1)
            assert await gateway.end(signal.SIGTERM) == 0
        assert list(server.lines) == [b"QA1BCD-9>APRS,qAO,QX1GAT-10:>hello\r\n"]
        stopped = json.loads(gateway.text.splitlines()[-1])
        assert (stopped["event"], stopped["heard"], stopped["outcomes"]["sent"]) == ("stopped", 1, 1)
        assert PASSCODE not in gateway.text


async def test_sigint_ends_it_well_too_and_a_bad_policy_on_sighup_leaves_the_old_one(tmp_path: Path) -> None:
    policy = tmp_path / "mine.yaml"
    policy.write_text("version: 1\nname: mine\n")
    async with Decoder() as decoder, NetworkServer() as server:
        text = station_text(decoder.port, server.port, "policy: ./mine.yaml\n")
        async with stile_run(tmp_path, text) as gateway:
            await gateway.until_logged("uplink is up")
            policy.write_text("version: 2\nname: mine\n")
            gateway.process.send_signal(signal.SIGHUP)
            refused = await gateway.until_logged("the new policy is refused, the old one stays")
            assert "mine.yaml:1: version" in str(refused["problem"])
            assert await gateway.end(signal.SIGINT) == 0


async def test_a_passcode_that_does_not_belong_to_the_callsign_ends_it_with_exit_78(tmp_path: Path) -> None:
    async with stile_run(tmp_path, station_text(1, 1), passcode="12345") as gateway:
        assert gateway.process.stderr is not None
        said = (await gateway.process.stderr.read()).decode()
        assert await gateway.process.wait() == 78
    assert "station.yaml:3: uplink.passcode_file: the passcode does not belong to QX1GAT-10" in said
    assert "12345" not in said
    assert PASSCODE not in said


async def test_a_bad_policy_at_the_start_ends_it_with_exit_78_and_the_reason(tmp_path: Path) -> None:
    (tmp_path / "mine.yaml").write_text("version: 1\nname: mine\nruels: []\n")
    async with stile_run(tmp_path, station_text(1, 1, "policy: ./mine.yaml\n")) as gateway:
        assert gateway.process.stderr is not None
        said = (await gateway.process.stderr.read()).decode()
        assert await gateway.process.wait() == 78
    assert 'mine.yaml:3: ruels: unknown key - did you mean "rules"?' in said


async def test_a_taken_port_for_the_broker_ends_it_with_exit_78_and_what_to_do(tmp_path: Path) -> None:
    async with (
        Decoder() as taken,
        stile_run(tmp_path, station_text(1, 1, f"bus: {{broker: 'embedded:{taken.port}'}}\n")) as gateway,
    ):
        assert gateway.process.stderr is not None
        said = (await gateway.process.stderr.read()).decode()
        assert await gateway.process.wait() == 78
    assert "station.yaml:4: bus.broker: " in said
    assert str(taken.port) in said
    assert "Traceback" not in said


async def test_a_journal_that_is_none_of_ours_ends_it_with_exit_78(tmp_path: Path) -> None:
    database = sqlite3.connect(tmp_path / "other.db")
    database.execute("CREATE TABLE other (x)")
    database.close()
    async with stile_run(tmp_path, station_text(1, 1, "journal: {path: other.db}\n")) as gateway:
        assert gateway.process.stderr is not None
        said = (await gateway.process.stderr.read()).decode()
        assert await gateway.process.wait() == 78
    assert "station.yaml:4: journal.path: " in said
    assert "Traceback" not in said


INTERRUPTED = """
import sys
from gateway import cli, settings

def interrupted(*_):
    raise KeyboardInterrupt

settings.load = interrupted
sys.exit(cli.main(["run", "station.yaml"]))
"""


def test_interrupted_while_it_is_loaded_it_ends_as_stopped_and_says_nothing() -> None:
    # In a process of its own: run sets up the log of the whole process.
    done = subprocess.run(
        [sys.executable, "-c", INTERRUPTED], capture_output=True, timeout=FAIL_SAFE_SECONDS, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


async def test_clients_that_hold_all_they_can_get_of_few_files_keep_nobody_from_asking_whether_it_lives(
    tmp_path: Path,
) -> None:
    ports = {name: free_port() for name in ("lines", "web", "broker")}
    more = (
        f"lines: {{listen: '127.0.0.1:{ports['lines']}'}}\nweb: {{listen: '127.0.0.1:{ports['web']}'}}\n"
        f"bus: {{broker: 'embedded:{ports['broker']}'}}\njournal: {{path: stile.db}}\n"
    )
    async with (
        Decoder() as decoder,
        NetworkServer() as server,
        stile_run(tmp_path, station_text(decoder.port, server.port, more), files=FEW_FILES) as gateway,
        asyncio.timeout(FAIL_SAFE_SECONDS),
    ):
        await gateway.until_logged("uplink is up")
        crowd = [await asyncio.open_connection("127.0.0.1", port) for port in ports.values() for _ in range(FEW_FILES)]
        await decoder.send(kiss_of(b"QA1BCD-9>APRS:>hello"))
        await server.until(lambda: server.counts.accepted == 1)
        reader, writer = await asyncio.open_connection("127.0.0.1", ports["web"])
        writer.write(b"GET /healthz HTTP/1.0\r\nHost: localhost\r\n\r\n")
        assert (await reader.readline()).startswith(b"HTTP/1.0 200")
        for _, each in ((reader, writer), *crowd):
            each.transport.abort()
        assert await gateway.end(signal.SIGTERM) == 0
