"""The simulated decoder on a real socket."""

import asyncio
import contextlib
import socket
from datetime import timedelta
from itertools import islice

import pytest

from demo import decoder as program
from demo.decoder import SimulatedDecoder
from demo.regatta import FIRST_GUN, frames

FAST = 1000.0


def beginning(count: int) -> bytes:
    return b"".join(on_air.stream for on_air in islice(frames(), count))


async def test_a_client_hears_the_race_from_its_beginning() -> None:
    async with SimulatedDecoder(pace=FAST, start=FIRST_GUN) as decoder:
        reader, writer = await asyncio.open_connection("127.0.0.1", decoder.port)
        expected = beginning(100)
        assert await reader.readexactly(len(expected)) == expected
        assert decoder.frames_sent >= 100
        writer.close()


async def test_nothing_is_played_before_the_first_client_is_there() -> None:
    async with SimulatedDecoder(pace=FAST) as decoder:
        await asyncio.sleep(0.01)
        assert decoder.frames_sent == 0


async def test_a_client_that_comes_later_hears_the_rest_with_the_others() -> None:
    async with SimulatedDecoder(pace=FAST, start=FIRST_GUN) as decoder:
        first, first_writer = await asyncio.open_connection("127.0.0.1", decoder.port)
        await first.readexactly(2000)
        second, second_writer = await asyncio.open_connection("127.0.0.1", decoder.port)
        heard = await second.readexactly(2000)
        assert heard in beginning(2000)
        first_writer.close()
        second_writer.close()


async def test_what_a_host_sends_to_its_modem_changes_nothing() -> None:
    async with SimulatedDecoder(pace=FAST, start=FIRST_GUN) as decoder:
        reader, writer = await asyncio.open_connection("127.0.0.1", decoder.port)
        writer.write(b"\xc0\x01\x20\xc0" * 1000)
        expected = beginning(50)
        assert await reader.readexactly(len(expected)) == expected
        writer.close()


async def test_a_client_that_never_reads_is_left_and_the_others_are_not() -> None:
    async with SimulatedDecoder(pace=1e6) as decoder:
        with contextlib.closing(socket.socket()) as idle:
            idle.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)  # so that it is full soon
            idle.connect(("127.0.0.1", decoder.port))
            reader, writer = await asyncio.open_connection("127.0.0.1", decoder.port)
            async with asyncio.timeout(30):
                while len(decoder._clients) != 1:  # noqa: SLF001 - who is left shows nowhere else
                    await reader.readexactly(10_000)
            await reader.readexactly(10_000)
            writer.close()


async def test_a_taken_port_is_refused() -> None:
    async with SimulatedDecoder() as decoder:
        with pytest.raises(OSError, match="already in use"):
            async with SimulatedDecoder(port=decoder.port):
                pass


def test_the_race_begins_when_it_is_started_where_no_time_is_given() -> None:
    race = SimulatedDecoder()._race()  # noqa: SLF001 - the time shows in the frames only
    assert [on_air.seconds for on_air in islice(race, 50)] == [on_air.seconds for on_air in islice(frames(), 50)]
    assert next(frames(start=FIRST_GUN + timedelta(hours=1))).octets == next(frames()).octets


@pytest.mark.parametrize("pace", ["0", "-1", "1001", "nan", "fast"])
def test_an_impossible_pace_is_used_wrongly(pace: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["decoder", "--pace", pace])
    with pytest.raises(SystemExit) as ended:
        program.main()
    assert ended.value.code == 2
