import asyncio
import contextlib
import re
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from demo import network_server
from demo.network_server import MAXIMUM_REMEMBERED, Answer, Conduct, Fault, NetworkServer, fault_of, passcode_belongs

LOGIN = b"user QX1GAT-10 pass 21161 vers Test 1\r\n"
POSITION = b"!5836.00N/00355.00W>regatta"


class Client:
    """A client that speaks for itself, without any code of the gateway."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    async def hear(self) -> bytes:
        async with asyncio.timeout(5):
            return await self.reader.readline()

    async def log_in(self, login: bytes = LOGIN) -> bytes:
        assert (await self.hear()).startswith(b"# ")
        self.writer.write(login)
        return await self.hear()


@contextlib.asynccontextmanager
async def a_client(server: NetworkServer) -> AsyncIterator[Client]:
    reader, writer = await asyncio.open_connection(server.host, server.port)
    try:
        yield Client(reader, writer)
    finally:
        writer.transport.abort()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()


def a_line(header: bytes, information: bytes = POSITION) -> bytes:
    return header + b":" + information + b"\r\n"


@pytest.mark.parametrize(
    "line",
    [
        a_line(b"QA1BCD-9>APRS,qAO,QX1GAT-10"),
        a_line(b"QA1BCD-9>APRS,QD1HBR*,WIDE2-1,qAO,QX1GAT-10"),
        a_line(b"qa1bcd-AB>aprs,qAO,QX1GAT-10"),  # letters as SSID, and either case: IS-Connect
        a_line(b"QA1BCD>APRS," + b",".join(b"QD%dHBR" % number for number in range(8)) + b",qAO,QX1GAT-10"),
        a_line(b"QA1BCD>APRS,qAO,QX1GAT-10", b"\x00\x80\xff \x1b"),
        a_line(b"QA1BCD>APRS,qAO,QX1GAT-10", b">" + b"x" * (512 - 29)),
    ],
)
def test_a_proper_line_has_no_fault(line: bytes) -> None:
    assert len(line) <= 512
    assert fault_of(line, "QX1GAT-10") is None


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        (a_line(b"QA1BCD>APRS,qAO,QX1GAT-10")[:-2] + b"\n", Fault.LINE_END),
        (a_line(b"QA1BCD>APRS,qAO,QX1GAT-10", b">a\rb"), Fault.LINE_END),
        (a_line(b"QA1BCD>APRS,qAO,QX1GAT-10", b">" + b"x" * (512 - 28)), Fault.TOO_LONG),  # IS-Connect
        (b"QA1BCD>APRS,qAO,QX1GAT-10\r\n", Fault.NO_HEADER),
        (a_line(b"QA1BCD,qAO,QX1GAT-10"), Fault.NO_HEADER),
        (a_line(b"QA1BCD>APRS,WIDE1-1"), Fault.Q_CONSTRUCT),  # IS-Details
        (a_line(b"QA1BCD>APRS,qAO,QX1GAT-10,qAO,QX1GAT-10"), Fault.Q_CONSTRUCT),
        (a_line(b"QA1BCD>APRS,qAR,QX1GAT-10"), Fault.WRONG_GATE),  # it says that it can transmit
        (a_line(b"QA1BCD>APRS,qAO,QX1GAT-11"), Fault.WRONG_GATE),
        (a_line(b"QA1BCD>APRS,qAO,QX1GAT-10,WIDE1-1"), Fault.WRONG_GATE),
        (a_line(b"QA1BCD>APRS" + b",WIDE1-1" * 9 + b",qAO,QX1GAT-10"), Fault.PATH_TOO_LONG),  # AX.25
        (a_line(b"QA1BCD>APRS,TCPIP*,qAO,QX1GAT-10"), Fault.INTERNET),  # IS-Details, as the next two
        (a_line(b"QA1BCD>APRS,TCPXX,qAO,QX1GAT-10"), Fault.INTERNET),
        (a_line(b"QA1BCD>APRS,RFONLY,qAO,QX1GAT-10"), Fault.NOT_TO_GATE),
        (a_line(b"QA1BCD>APRS,QD1HBR*,WIDE1*,qAO,QX1GAT-10"), Fault.STARS),
        (a_line(b"QA1BCDEFGHI>APRS,qAO,QX1GAT-10"), Fault.CALLSIGN),  # IS-Connect, as the next three
        (a_line(b"QA1BCD-1-2>APRS,qAO,QX1GAT-10"), Fault.CALLSIGN),
        (a_line(b"QA1BCD-123>APRS,qAO,QX1GAT-10"), Fault.CALLSIGN),
        (a_line(b">APRS,qAO,QX1GAT-10"), Fault.CALLSIGN),
        (a_line(b"QA1BCD-0>APRS,qAO,QX1GAT-10"), Fault.ZERO_SSID),
        (a_line(b"N0CALL-7>APRS,qAO,QX1GAT-10"), Fault.PLACEHOLDER),
        (a_line(b"QA1BCD>APRS,qAO,QX1GAT-10", b""), Fault.EMPTY),
        (a_line(b"QA1BCD>APRS,qAO,QX1GAT-10", b"?APRS?"), Fault.QUERY),  # IS-Details
        (a_line(b"QA1BCD>APRS,qAO,QX1GAT-10", b"}QB2BCD>APRS,TCPIP*:>x"), Fault.THIRD_PARTY),  # IS-Details
    ],
)
def test_each_fault_is_found(line: bytes, fault: Fault) -> None:
    assert fault_of(line, "QX1GAT-10") is fault


def test_a_passcode_belongs_as_worked_by_hand() -> None:
    # Ours, after the algorithm, from memory: 73E2 ^ 5158 (QX) ^ 3147 (1G) ^ 4154 (AT) = 52A9.
    assert passcode_belongs("QX1GAT-5", 0x52A9)
    assert not passcode_belongs("QX1GAT", -1)


async def test_it_greets_checks_the_login_and_counts_what_comes() -> None:
    now = [0.0]
    async with NetworkServer(keep_lines=3, clock=lambda: now[0]) as server, a_client(server) as client:
        assert await client.log_in() == b"# logresp QX1GAT-10 verified, server QN1NET\r\n"
        proper, faulty = a_line(b"QA1BCD>APRS,qAO,QX1GAT-10"), a_line(b"QA1BCD>APRS")
        repeated = a_line(b"QA1BCD>APRS,QD1HBR*,qAO,QX1GAT-10")
        client.writer.write(b"# alive\r\n" + proper + faulty + repeated)
        await server.until(lambda: server.counts.lines == 3)
        now[0] += 30.0
        client.writer.write(proper)
        await server.until(lambda: server.counts.lines == 4)
    counts = server.counts
    assert (counts.accepted, counts.duplicates, counts.rejected) == (2, 1, {Fault.Q_CONSTRUCT: 1})
    assert counts.lines == counts.accepted + counts.duplicates + counts.rejected.total()
    assert list(server.lines) == [faulty, repeated, proper]
    assert re.search(
        r"4 lines: 2 accepted, 1 duplicates, 1 rejected \(1 has not exactly one q construct\)", str(counts)
    )


@pytest.mark.parametrize(
    ("login", "answer"),
    [
        (LOGIN, b"# logresp QX1GAT-10 verified, server QN1NET\r\n"),
        (b"user QX1GAT-10 pass -1 vers Test 1 filter m/50\r\n", b"# logresp QX1GAT-10 unverified, server QN1NET\r\n"),
        (b"user QX1GAT-10 pass 21162 vers Test 1\r\n", b"# logresp QX1GAT-10 unverified, server QN1NET\r\n"),
        (b"user QX1GAT-10 pass abc vers Test 1\r\n", b"# invalid login\r\n"),
        (b"user QX1GAT-100 pass 21161\r\n", b"# invalid login\r\n"),
        (b"user QX1GAT-10 pass 21161\n", b"# invalid login\r\n"),
    ],
)
async def test_a_login_is_answered_by_its_passcode(login: bytes, answer: bytes) -> None:
    async with NetworkServer() as server, a_client(server) as client:
        assert await client.log_in(login) == answer
        assert list(server.logins) == [login]


async def test_lines_without_a_verified_login_are_not_taken() -> None:
    async with NetworkServer(conduct=Conduct(answer=Answer.UNVERIFIED)) as server, a_client(server) as client:
        client.writer.write(a_line(b"QA1BCD>APRS,qAO,QX1GAT-10"))
        assert b" unverified," in await client.log_in()
        client.writer.write(a_line(b"QA1BCD>APRS,qAO,QX1GAT-10"))
        await server.until(lambda: server.counts.lines == 2)
    assert server.counts.rejected == {Fault.BEFORE_LOGIN: 1, Fault.NOT_VERIFIED: 1}


async def test_a_line_without_end_is_counted_once_and_not_kept() -> None:
    async with NetworkServer() as server, a_client(server) as client:
        await client.log_in()
        client.writer.write(b"x" * 100_000)
        await server.until(lambda: server.counts.octets > 100_000)
        client.writer.write(b"\r\n" + a_line(b"QA1BCD>APRS,qAO,QX1GAT-10"))
        await server.until(lambda: server.counts.lines == 2)
    assert server.counts.rejected == {Fault.TOO_LONG: 1}
    assert server.counts.accepted == 1


async def test_it_beats_unless_it_is_silent_and_dribbles_if_told() -> None:
    async with NetworkServer(conduct=Conduct(comment_seconds=0.01, dribbles=True)) as server:
        async with a_client(server) as client:
            await client.log_in()
            assert (await client.hear()).startswith(b"# stand-in")
        server.conduct.silent = True
        server.conduct.dribbles = False
        async with a_client(server) as client:
            await client.log_in()
            with pytest.raises(TimeoutError):
                async with asyncio.timeout(0.05):
                    await client.reader.readline()


async def test_it_refuses_resets_half_closes_and_stops_reading() -> None:
    async with NetworkServer(receive_buffer_octets=2_048) as server:
        async with a_client(server) as client:
            await client.log_in()
            server.half_close()
            server.say(b"# nobody can hear this\r\n")
            assert await client.hear() == b""
            client.writer.write(a_line(b"QA1BCD>APRS,qAO,QX1GAT-10"))
            await server.until(lambda: server.counts.accepted == 1)
            server.stop_reading()
            client.writer.write(b"x" * 1_000_000)
            octets = server.counts.octets
            await asyncio.sleep(0.01)
            assert server.counts.octets == octets
            server.go_on_reading()
            await server.until(lambda: server.counts.octets > octets)
            server.reset()
            await server.until(lambda: not server.visitors)
        server.refuse()
        with pytest.raises(ConnectionRefusedError):
            await asyncio.open_connection(server.host, server.port)
        await server.listen()
        async with a_client(server) as client:
            await client.log_in()


async def test_what_it_remembers_is_bounded() -> None:
    server = NetworkServer()
    for number in range(MAXIMUM_REMEMBERED + 10):
        server.judge(b"QA1BCD>APRS,qAO,QX1GAT-10:>%d\r\n" % number, None)
    server.judge(b"QA1BCD>APRS,qAO,QX1GAT-10:>5\r\n", None)  # forgotten
    server.judge(b"QA1BCD>APRS,qAO,QX1GAT-10:>50000\r\n", None)
    assert server.counts.duplicates == 1


def test_nothing_in_it_is_taken_from_the_gateway() -> None:
    assert not re.search(r"(?m)^\s*(?:from|import) gateway", Path(network_server.__file__).read_text("utf-8"))
