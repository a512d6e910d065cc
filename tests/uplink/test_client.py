import asyncio
import itertools
import random
import re
import socket
from collections import Counter
from collections.abc import AsyncIterator, Callable
from typing import cast

import pytest
from structlog.testing import capture_logs

from demo.network_server import Answer, Fault, NetworkServer
from gateway.uplink import client
from gateway.uplink.dial import dial
from gateway.uplink.outbox import Outcome
from gateway.uplink.state import UplinkPhase
from tests.options import uplink_options
from tests.uplink.posting import PASSCODE, SECONDS, Post, Ticket, a_line, a_post


@pytest.fixture
async def server() -> AsyncIterator[NetworkServer]:
    async with NetworkServer(keep_lines=100_000) as server:
        yield server


@pytest.fixture
async def narrow() -> AsyncIterator[NetworkServer]:
    """A server with little room for what it does not read."""
    async with NetworkServer(keep_lines=100_000, receive_buffer_octets=2_048) as server:
        yield server


async def test_a_line_goes_up_octet_for_octet(server: NetworkServer) -> None:
    line = b"QA1BCD-9>APRS,QD1HBR*,WIDE2-1,qAO,QX1GAT-10:!5836.00N/00355.00W>\x00\x80\xff caf\xc3\xa9 \r\n"
    async with a_post(server) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        post.offer_tickets([Ticket(line, post.clock(), "ticket")])
        assert post.ends == [(Outcome.SENT, "ticket")]  # there and then
        await server.until(lambda: server.counts.lines == 1)
    assert list(server.lines) == [line]
    assert server.counts.accepted == 1


async def test_lines_that_wait_for_the_login_go_in_their_order_once_it_is_verified(server: NetworkServer) -> None:
    async with a_post(server) as post:
        post.offer(1, 2)
        post.offer(3)
        assert post.state.waiting == 3
        await server.until(lambda: server.counts.accepted == 3)
    assert list(server.lines) == [a_line(1), a_line(2), a_line(3)]
    assert post.came_to(Outcome.SENT) == [1, 2, 3]


async def test_a_flood_arrives_whole_and_in_order(server: NetworkServer) -> None:
    async with a_post(server, queue_bytes=10_000_000) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        for start in range(0, 20_000, 500):
            post.offer(*range(start, start + 500))
        await server.until(lambda: server.counts.lines == 20_000)
    assert list(server.lines) == [a_line(number) for number in range(20_000)]
    assert post.state.bytes_sent == server.counts.octets


@pytest.mark.parametrize("dribbles", [False, True])
async def test_the_login_line_is_the_one_that_the_network_asks_for(server: NetworkServer, dribbles: bool) -> None:
    server.conduct.dribbles = dribbles
    async with a_post(server) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        assert post.state.server == f"127.0.0.1:{server.port}"
        assert post.state.server_name == server.callsign
    assert server.logins[0].startswith(b"user QX1GAT-10 pass 21161 vers Stile ")
    assert post.phases == [UplinkPhase.CONNECTING, UplinkPhase.LOGGING_IN, UplinkPhase.VERIFIED, UplinkPhase.STOPPED]


async def test_nothing_is_said_to_a_server_that_does_not_greet(server: NetworkServer) -> None:
    server.conduct.greets = False
    async with a_post(server, login_ms=40) as post:
        post.offer("early")
        await post.until_it_failed()
        assert post.state.reason == "the server did not greet"
    assert server.counts.octets == 0


@pytest.mark.parametrize(
    ("answer", "said"),
    [(Answer.NONE, "stand-in 1.0"), (Answer.FOR_SOMEBODY_ELSE, "logresp QX9ELSE verified, server QN1NET")],
)
async def test_a_login_that_is_not_answered_sends_nothing_and_is_tried_again(
    server: NetworkServer, answer: Answer, said: str
) -> None:
    server.conduct.answer = answer
    async with a_post(server, login_ms=40) as post:
        post.offer("patient")
        await post.until_it_failed()
        assert post.state.reason == f"the server did not answer the login; the server said: {said}"
        assert post.state.waiting == 1
        server.conduct.answer = Answer.HONEST
        await server.until(lambda: server.counts.accepted == 1)
    assert UplinkPhase.VERIFIED in post.phases


async def test_without_a_passcode_every_line_is_refused_at_once(server: NetworkServer) -> None:
    async with a_post(server, passcode=None) as post:
        post.offer("before")
        await post.until_phase(UplinkPhase.RECEIVE_ONLY)
        post.offer("after")
        assert post.state.reason == ""
    assert post.came_to(Outcome.REFUSED) == ["before", "after"]
    assert b" pass -1 " in server.logins[0]
    assert server.counts.lines == 0


async def test_what_cannot_go_in_time_is_late(server: NetworkServer) -> None:
    server.refuse()
    async with a_post(server, freshness_ms=150) as post:
        post.offer(1, 2)
        await post.until(lambda: post.came_to(Outcome.LATE) == [1, 2])
        await server.listen()
        await post.until_phase(UplinkPhase.VERIFIED)
        post.offer("stale", age_ms=151)
        post.offer("fresh")
        await server.until(lambda: server.counts.lines == 1)
    assert post.came_to(Outcome.LATE) == [1, 2, "stale"]
    assert list(server.lines) == [a_line("fresh")]


async def test_over_the_bound_of_the_queue_the_oldest_are_dropped(server: NetworkServer) -> None:
    server.refuse()
    async with a_post(server, queue_bytes=3 * len(a_line(1))) as post:
        for number in range(1, 6):
            post.offer(number)
        assert post.came_to(Outcome.DROPPED) == [1, 2]
        assert post.state.waiting == 3


async def test_more_than_the_queue_holds_goes_up_while_the_network_takes_it(server: NetworkServer) -> None:
    async with a_post(server, queue_bytes=1_000) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        post.offer(*range(60))
        await server.until(lambda: server.counts.accepted == 60)
    assert post.came_to(Outcome.DROPPED) == []


async def test_the_next_server_is_taken_when_one_refuses(server: NetworkServer) -> None:
    async with NetworkServer() as refusing:
        refusing.refuse()
        async with a_post(refusing, server) as post:
            await post.until_phase(UplinkPhase.VERIFIED)
    assert post.phases[:3] == [UplinkPhase.CONNECTING, UplinkPhase.WAITING, UplinkPhase.CONNECTING]
    assert post.states[1].reason == "cannot connect: Connection refused"
    assert post.state.server == f"127.0.0.1:{server.port}"


async def test_servers_are_taken_in_turn_whenever_one_fails(server: NetworkServer) -> None:
    async with NetworkServer() as second, a_post(server, second) as post:
        for number in range(1, 5):
            await post.until(lambda number=number: post.phases.count(UplinkPhase.VERIFIED) == number)  # type: ignore[misc]
            (server if number % 2 else second).reset()
        await post.until(lambda: post.phases.count(UplinkPhase.VERIFIED) == 5)
        assert (server.counts.verified, second.counts.verified) == (3, 2)


async def test_a_silent_server_is_left_after_the_stated_time(server: NetworkServer) -> None:
    server.conduct.silent = True
    async with a_post(server, silence_ms=60) as post:
        await post.until(lambda: post.phases.count(UplinkPhase.VERIFIED) == 2)
    assert post.states[3].reason == "the server was silent for 0.06 s"


async def test_the_heartbeat_alone_keeps_a_connection(server: NetworkServer) -> None:
    server.conduct.comment_seconds = 0.02
    async with a_post(server, silence_ms=400) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        start = post.state.comments
        await post.until_counted(lambda: post.state.comments > start + 40)  # 800 ms of them
    assert server.counts.connections == 1


@pytest.mark.parametrize("fault", [NetworkServer.reset, NetworkServer.half_close])
async def test_a_connection_that_breaks_is_made_again(
    server: NetworkServer, fault: Callable[[NetworkServer], None]
) -> None:
    async with a_post(server) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        fault(server)
        await post.until(lambda: post.phases.count(UplinkPhase.VERIFIED) == 2)
        assert post.states[3].phase is UplinkPhase.WAITING
        assert post.states[3].reason in {
            "the connection broke: Connection reset by peer",
            "the server closed the connection",
        }
        post.offer("again")
        await server.until(lambda: server.counts.accepted == 1)


async def test_a_server_that_takes_nothing_is_left_and_what_was_in_flight_is_unconfirmed(
    narrow: NetworkServer,
) -> None:
    async with a_post(narrow, freshness_ms=150, send_buffer_bytes=4_096, queue_bytes=10_000_000) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        narrow.stop_reading()
        post.offer(*range(400), padding=150)
        assert post.state.waiting > 0  # the kernel would take no more
        await post.until_it_failed()
        assert post.state.reason == "the server acknowledged nothing for 0.15 s"
        sent, late = post.came_to(Outcome.SENT), post.came_to(Outcome.LATE)
        assert sent + late == list(range(400))
        assert 0 < post.state.unconfirmed <= len(sent)
        narrow.go_on_reading()
        await post.until(lambda: post.phases.count(UplinkPhase.VERIFIED) == 2)
        post.offer("last")
        await narrow.until(lambda: a_line("last") in narrow.lines)
    arrived = [line for line in narrow.lines if line != a_line("last")]
    assert arrived == [a_line(number, 150) for number in range(len(arrived))]
    # What was acknowledged has arrived; what has arrived was sent; nothing came twice, nothing that was late.
    assert len(sent) - post.state.unconfirmed <= len(arrived) <= len(sent)


async def test_a_line_is_never_sent_twice_however_often_the_connection_breaks(server: NetworkServer) -> None:
    rounds, batch = 6, 100
    numbers = iter(range(10**6))
    async with a_post(server, queue_bytes=10_000_000) as post:
        for number in range(1, rounds + 1):
            await post.until(lambda number=number: post.phases.count(UplinkPhase.VERIFIED) == number)  # type: ignore[misc]
            for _ in range(10):
                post.offer(*itertools.islice(numbers, batch))
                await asyncio.sleep(0)
            server.reset()
            post.offer(*itertools.islice(numbers, batch))
        await post.until(lambda: post.phases.count(UplinkPhase.VERIFIED) == rounds + 1)
        post.offer("last")
        await server.until(lambda: a_line("last") in server.lines)
    assert post.came_to(Outcome.SENT) == [*range(rounds * 11 * batch), "last"]
    assert max(Counter(server.lines).values()) == 1
    assert server.counts.rejected.keys() <= {Fault.LINE_END}  # a line cut by a reset is not made whole elsewhere


async def test_any_bytes_from_the_server_do_no_harm(server: NetworkServer) -> None:
    chance = random.Random(7)
    async with a_post(server) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        with capture_logs() as logs:
            for _ in range(200):
                server.say(chance.randbytes(chance.randrange(3_000)))
            server.say(b"\n# done\r\n")
            comments = post.state.comments
            post.offer("still here")
            await server.until(lambda: server.counts.accepted == 1)
            await post.until_counted(lambda: post.state.comments > comments)
            assert logs == []
    assert post.state.lines_discarded > 0
    assert server.counts.connections == 1


async def test_a_stop_lets_what_waits_go_and_says_goodbye(server: NetworkServer) -> None:
    async with a_post(server) as post:
        post.offer(*range(500))
        await post.until_phase(UplinkPhase.LOGGING_IN)
        await post.uplink.drain(SECONDS)
        post.offer("after")
        await server.until(lambda: not server.visitors)
    assert server.counts.accepted == 500
    assert post.came_to(Outcome.STOPPED) == ["after"]
    assert post.state.unconfirmed == 0
    assert post.state.phase is UplinkPhase.STOPPED


async def test_run_ends_by_itself_after_a_drain(server: NetworkServer) -> None:
    post = Post(uplink_options((server.host, server.port), passcode=PASSCODE))
    async with asyncio.timeout(SECONDS), asyncio.TaskGroup() as tasks:
        tasks.create_task(post.uplink.run())
        await post.until_phase(UplinkPhase.VERIFIED)
        await post.uplink.drain(SECONDS)
        await post.uplink.drain(SECONDS)


async def test_a_stop_while_a_connection_comes_about_makes_no_use_of_it(
    server: NetworkServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    connected, released = asyncio.Event(), asyncio.Event()

    async def slow_dial(host: str, port: int, **options: float) -> socket.socket:
        sock = await dial(host, port, **options)  # type: ignore[arg-type]
        connected.set()
        await released.wait()
        return sock

    monkeypatch.setattr(client, "dial", slow_dial)
    post = Post(uplink_options((server.host, server.port), passcode=PASSCODE))
    async with asyncio.timeout(SECONDS), asyncio.TaskGroup() as tasks:
        tasks.create_task(post.uplink.run())
        post.offer(1)
        await connected.wait()
        await post.uplink.drain(SECONDS)
        released.set()
    assert post.came_to(Outcome.STOPPED) == [1]
    assert post.phases == [UplinkPhase.CONNECTING, UplinkPhase.STOPPED]


async def test_a_stop_without_a_connection_takes_no_time(server: NetworkServer) -> None:
    server.refuse()
    async with a_post(server) as post:
        post.offer(1, 2)
        await post.until_it_failed()
        async with asyncio.timeout(SECONDS):
            await post.uplink.drain(10 * SECONDS)
    assert post.came_to(Outcome.STOPPED) == [1, 2]


async def test_a_stop_waits_no_longer_than_it_may_for_a_server_that_takes_nothing(narrow: NetworkServer) -> None:
    async with a_post(narrow, send_buffer_bytes=4_096, queue_bytes=10_000_000) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        narrow.stop_reading()
        post.offer(*range(400), padding=150)
        await post.uplink.drain(0.05)
        await post.until(lambda: post.state.unconfirmed > 0)
        narrow.go_on_reading()
        await narrow.until(lambda: not narrow.visitors)
    sent, stopped = post.came_to(Outcome.SENT), post.came_to(Outcome.STOPPED)
    assert stopped
    assert sent + stopped == list(range(400))
    assert len(sent) - post.state.unconfirmed <= narrow.counts.lines <= len(sent)


async def test_a_cancelled_run_leaves_nothing_behind(server: NetworkServer) -> None:
    post = Post(uplink_options((server.host, server.port), passcode=PASSCODE))
    running = asyncio.create_task(post.uplink.run())
    await post.until_phase(UplinkPhase.VERIFIED)
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running
    await server.until(lambda: not server.visitors)
    post.offer("after")
    assert post.ends == [(Outcome.STOPPED, "after")]
    assert asyncio.all_tasks() == {asyncio.current_task()}


async def test_with_nothing_to_do_nothing_runs(server: NetworkServer) -> None:
    async with a_post(server, freshness_ms=200) as post:  # longer than an acknowledgement may be put off
        await post.until_phase(UplinkPhase.VERIFIED)
        post.offer()
        assert post.uplink._watch is None  # noqa: SLF001
        post.offer("one")
        assert post.uplink._watch is not None  # noqa: SLF001 - whether a timer runs shows nowhere else
        await server.until(lambda: server.counts.accepted == 1)
        await post.until_counted(lambda: post.uplink._watch is None)  # noqa: SLF001
        assert post.state.phase is UplinkPhase.VERIFIED


async def test_the_passcode_shows_nowhere(server: NetworkServer) -> None:
    server.conduct.answer = Answer.UNVERIFIED
    with capture_logs() as logs:
        async with a_post(server) as post:
            await post.until_phase(UplinkPhase.UNVERIFIED)
            options = uplink_options((server.host, server.port), passcode=PASSCODE)
            shown = [repr(options), repr(post.uplink), repr(post.states), repr(logs)]
            server.reset()
            await post.until(lambda: post.phases.count(UplinkPhase.UNVERIFIED) == 2)
    shown.append(repr(logs))
    assert not re.search(rf"\b{PASSCODE}\b", "".join(shown))


async def test_the_state_says_all_that_health_asks(server: NetworkServer) -> None:
    server.conduct.comment_seconds = 0.01
    async with a_post(server) as post:
        assert post.state.phase is UplinkPhase.WAITING
        assert post.state.last_heard_ms is None
        await post.until_phase(UplinkPhase.VERIFIED)
        server.say(b"QB2BCD>APRS,TCPIP*,qAC,QN1NET::QX1GAT-10:hello{1\r\n")
        post.offer(1, 2)
        await server.until(lambda: server.counts.accepted == 2)
        await post.until_counted(lambda: post.state.comments > 2 and post.state.lines_discarded == 1)
        state = post.state
        assert post.clock() - cast("int", state.last_heard_ms) < 1_000 * SECONDS
    assert state.outcomes == {**dict.fromkeys(Outcome, 0), Outcome.SENT: 2}
    assert (state.offered, state.waiting, state.unconfirmed, state.connections) == (2, 0, 0, 1)
    assert state.bytes_sent == server.counts.octets
    assert state.lines_discarded == 1
    assert state.since_ms <= post.clock()
