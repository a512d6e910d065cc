"""What ends a gateway and what must not: tasks that die, faults in one frame, another gateway, files that hang."""

import asyncio
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from demo.network_server import NetworkServer
from gateway.frames.heard import Heard
from gateway.groundwork.part import PartKind, State
from gateway.judge.judge import Judge
from gateway.judge.verdict import Judged
from gateway.running import policy_in_force
from gateway.running.faults import Doing
from gateway.running.notify import ServiceManager
from gateway.running.service import Service
from gateway.settings.policy_files import load_for
from tests.waiting import until
from tests.whole_gateway import FAIL_SAFE_SECONDS, PASSCODE, Decoder, Ear, kiss_of, part, running, station_file

MOORED = b"QA1BCD-9>APRS:!5836.00N/00355.00W>moored"
HARMFUL = b"QA1BCD-9>APRS:>this one"


def station_text(decoder: Decoder, more: str = "") -> str:
    return (
        "station: {callsign: QX1GAT-10}\n"
        f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n{more}"
    )


def faults(service: Service) -> dict[Doing, int]:
    health = service.health()
    return next(
        dict(health.to_object()["parts"][place]["figures"]["faults"])
        for place, part in enumerate(health.parts)
        if part.kind is PartKind.GATEWAY
    )


@pytest.mark.parametrize("name", ["health", "policy", "policy: files", "signs of life", "vhf", "uplink"])
async def test_a_task_that_dies_ends_the_gateway_with_its_name(tmp_path: Path, name: str) -> None:
    async with Decoder() as decoder:
        station = station_file(tmp_path, station_text(decoder, "uplink: {servers: ['tcp://127.0.0.1:1']}\n"))
        gateway = asyncio.create_task(Service(station, load_for(station)).run(asyncio.Event()))
        await until(lambda: any(task.get_name() == name for task in asyncio.all_tasks()))
        next(task for task in asyncio.all_tasks() if task.get_name() == name).cancel()
        with pytest.raises(ExceptionGroup) as raised:
            await asyncio.wait_for(gateway, FAIL_SAFE_SECONDS)
    assert f"{name} was cancelled" in "".join(map(str, _leaves(raised.value)))


async def test_a_frame_that_cannot_be_judged_harms_no_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def judge(self: Judge, heard: Heard, judge: object = Judge.judge) -> Judged:
        if HARMFUL.partition(b":")[2] in repr(heard.frame).encode():
            raise ZeroDivisionError
        assert callable(judge)
        judged = judge(self, heard)
        assert isinstance(judged, Judged)
        return judged

    monkeypatch.setattr(Judge, "judge", judge)
    ear = Ear()
    async with Decoder() as decoder, running(station_file(tmp_path, station_text(decoder)), ear) as service:
        await decoder.send(kiss_of(HARMFUL) + kiss_of(MOORED))
        await until(lambda: len(ear.judged) == 1)
        assert faults(service)[Doing.JUDGING] == 1
        assert part(service, PartKind.GATEWAY).state is State.DEGRADED
        assert service.health().counts.adds_up


async def test_a_fault_in_health_is_counted_and_the_gateway_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ear = Ear()

    def harm(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(Ear, "offer_health", harm)
    async with Decoder() as decoder, running(station_file(tmp_path, station_text(decoder)), ear) as service:
        await until(lambda: faults(service)[Doing.TELLING] > 0)
        await decoder.send(kiss_of(MOORED))
        await until(lambda: len(ear.judged) == 1)


async def test_a_policy_on_a_disk_that_hangs_is_shown_refused_and_read_again_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(policy_in_force, "LONGEST_READING_SECONDS", 0.2)
    monkeypatch.setattr(policy_in_force, "LONG_READING_SECONDS", 0)
    async with Decoder() as decoder, running(station_file(tmp_path, station_text(decoder))) as service:
        await until(lambda: "is in force" in part(service, PartKind.POLICY).why)
        hangs = asyncio.get_running_loop().create_future()
        monkeypatch.setattr(policy_in_force, "in_own_thread", lambda _: hangs)
        service.reload()
        await until(lambda: "is being read for" in part(service, PartKind.POLICY).why)
        await until(lambda: "could not be read within 0.2 s" in part(service, PartKind.POLICY).why)
        monkeypatch.setattr(policy_in_force, "in_own_thread", lambda call: asyncio.sleep(0, call()))
        service.reload()
        await until(lambda: part(service, PartKind.POLICY).state is State.OK)


@pytest.fixture
def manager(tmp_path: Path) -> "socket.socket":
    receiver = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)
    receiver.bind(str(tmp_path / "notify"))
    return receiver


def told(manager: socket.socket) -> list[str]:
    """The lines that the service manager was sent so far."""
    lines: list[str] = []
    try:
        while True:
            lines += manager.recv(1000).decode().splitlines()
    except BlockingIOError:
        return lines


async def test_a_service_manager_hears_that_it_is_ready_lives_and_stops(tmp_path: Path, manager: socket.socket) -> None:
    environment = {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "60000"}
    with manager:
        async with Decoder() as decoder:
            station = station_file(tmp_path, station_text(decoder))
            async with running(station, manager=ServiceManager(environment)):
                lines: list[str] = []
                while lines.count("WATCHDOG=1") < 3:
                    lines += told(manager)
                    await asyncio.sleep(0.01)
        assert "READY=1" in lines
        assert "STATUS=heard 0, of which 0 to be forwarded" in lines
        assert "STOPPING=1" in told(manager)


async def test_a_service_manager_hears_that_a_policy_is_read_again_and_that_it_is_taken_or_refused(
    tmp_path: Path, manager: socket.socket
) -> None:
    policy = tmp_path / "mine.yaml"
    policy.write_text("version: 1\nname: mine\n")
    async with Decoder() as decoder:
        station_file(tmp_path, station_text(decoder, "policy: ./mine.yaml\n"))
        with manager, run(tmp_path, "station.yaml", NOTIFY_SOCKET=str(tmp_path / "notify")) as gateway:
            assert await words(manager, 1) == ["READY=1"]
            for spoiled in (False, True):
                if spoiled:
                    policy.write_text("version: 1\nname: [mine\n")
                asked_us = time.monotonic_ns() // 1000
                gateway.send_signal(signal.SIGHUP)
                reloading, moment, ready = await words(manager, 3)
                assert (reloading, ready) == ("RELOADING=1", "READY=1")
                assert int(moment.removeprefix("MONOTONIC_USEC=")) > asked_us - 1_000_000  # or its file was seen first
            gateway.send_signal(signal.SIGTERM)
            assert await asyncio.to_thread(gateway.wait, FAIL_SAFE_SECONDS) == 0
            assert gateway.stderr is not None
            log = gateway.stderr.read().decode()
    assert "policy reloaded" in log
    assert "the new policy is refused" in log


async def words(manager: socket.socket, count: int) -> list[str]:
    """The next lines that the service manager is sent, signs of life left out."""
    lines: list[str] = []
    async with asyncio.timeout(FAIL_SAFE_SECONDS):
        while len(lines) < count:
            said = await asyncio.get_running_loop().sock_recv(manager, 1000)
            lines += [line for line in said.decode().splitlines() if not line.startswith(("WATCHDOG=", "STATUS="))]
    return lines


async def test_frames_that_come_to_no_verdict_are_no_sign_of_life(
    tmp_path: Path, manager: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    def harm(*_: object) -> Judged:
        raise ZeroDivisionError

    environment = {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "60000"}
    with manager:
        async with Decoder() as decoder:
            station = station_file(tmp_path, station_text(decoder))
            async with running(station, manager=ServiceManager(environment)) as service:
                monkeypatch.setattr(Judge, "judge", harm)
                await decoder.send(kiss_of(MOORED))
                await until(lambda: faults(service)[Doing.JUDGING] == 1)
                while "WATCHDOG=1" in told(manager):  # noqa: ASYNC110 - the last one may be on its way
                    await asyncio.sleep(0.1)
                monkeypatch.undo()
                await decoder.send(kiss_of(MOORED))
                while "WATCHDOG=1" not in told(manager):  # noqa: ASYNC110 - a datagram tells nobody here
                    await asyncio.sleep(0.1)


async def test_what_waited_while_the_gateway_stood_still_never_goes_up_late(tmp_path: Path) -> None:
    """A real process is stopped for longer than lines stay fresh: SIGSTOP and SIGCONT of POSIX."""
    async with Decoder() as decoder, NetworkServer(keep_lines=10) as server:
        uplink = f"uplink: {{servers: ['tcp://127.0.0.1:{server.port}'], freshness: 2s}}\n"
        station_file(tmp_path, station_text(decoder, uplink))
        with run(tmp_path, "station.yaml", STILE_PASSCODE=PASSCODE) as gateway:
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>before"))
            await server.until(lambda: server.counts.accepted == 1)
            gateway.send_signal(signal.SIGSTOP)
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>meanwhile"))
            await asyncio.sleep(2.5)
            gateway.send_signal(signal.SIGCONT)
            await asyncio.sleep(1.5)  # what comes at once counts as if it had waited, too
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>after"))
            await server.until(lambda: server.counts.accepted == 2)
            gateway.send_signal(signal.SIGTERM)
            assert gateway.stderr is not None
            log = (await asyncio.to_thread(gateway.stderr.read)).decode()
    assert [line.rpartition(b">")[2] for line in server.lines] == [b"before\r\n", b"after\r\n"]
    assert "the gateway stood still" in log
    assert '"late": 1' in log


def test_a_second_gateway_with_the_same_station_file_or_journal_is_refused(tmp_path: Path) -> None:
    text = "station: {callsign: QX1GAT-10}\nreceivers: [{name: vhf, from: 'kiss+tcp://127.0.0.1:1'}]\n"
    (tmp_path / "one.yaml").write_text(f"{text}journal: {{path: stile.db}}\n")
    (tmp_path / "two.yaml").write_text(f"{text}journal: {{path: stile.db}}\n")
    with run(tmp_path, "one.yaml") as first:
        assert first.stderr is not None
        while b"started" not in first.stderr.readline():
            assert first.poll() is None
        for name, locked in (("one.yaml", "one.yaml"), ("two.yaml", "stile.db.lock")):
            with run(tmp_path, name) as second:
                assert second.stderr is not None
                assert second.wait(60) == 75
                text = second.stderr.read().decode()
                assert f"{locked}: the gateway of process {first.pid} runs with this file already" in text
        first.kill()
        first.wait()
        with run(tmp_path, "two.yaml") as third:
            assert third.stderr is not None
            while b"started" not in third.stderr.readline():
                assert third.poll() is None


@contextmanager
def run(folder: Path, station: str, **more: str) -> Iterator["subprocess.Popen[bytes]"]:
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[1]), **more}
    command = [sys.executable, "-m", "gateway.cli", "run", station]
    with subprocess.Popen(command, cwd=folder, stderr=subprocess.PIPE, env=environment) as gateway:
        try:
            yield gateway
        finally:
            gateway.kill()  # or a test that fails would wait for it


def _leaves(error: BaseException) -> list[BaseException]:
    if isinstance(error, BaseExceptionGroup):
        return [leaf for each in error.exceptions for leaf in _leaves(each)]
    return [error]
