"""Servers that refuse: what they say is passed on, and another one is asked."""

from collections.abc import AsyncIterator, Callable

import pytest
from structlog.testing import capture_logs

from demo.network_server import Answer, Conduct, NetworkServer
from gateway.groundwork.part import Part, State
from gateway.uplink.outbox import Outcome
from gateway.uplink.passcode import belongs
from gateway.uplink.state import UplinkPhase
from tests.uplink.posting import CALLSIGN, PASSCODE, Post, a_line, a_post


@pytest.fixture
async def server() -> AsyncIterator[NetworkServer]:
    async with NetworkServer(keep_lines=100) as server:
        yield server


@pytest.fixture
async def barring() -> AsyncIterator[NetworkServer]:
    """A server that verifies nobody."""
    async with NetworkServer(callsign="QN2NET", conduct=Conduct(answer=Answer.UNVERIFIED)) as server:
        yield server


def told(post: Post, phase: UplinkPhase) -> Part:
    """What the operator was told when the uplink came to that phase first."""
    state = next(state for state in post.states if state.phase is phase)
    return state.part(post.run)


async def test_an_unverified_login_sends_nothing_says_so_loudly_once_and_stays(server: NetworkServer) -> None:
    server.conduct = Conduct(answer=Answer.UNVERIFIED)
    with capture_logs() as logs:
        async with a_post(server) as post:
            post.offer("waited")
            await post.until_phase(UplinkPhase.UNVERIFIED)
            post.offer("asked")
            assert post.ends == [(Outcome.REFUSED, "waited"), (Outcome.REFUSED, "asked")]
            server.reset()
            await post.until(lambda: post.phases.count(UplinkPhase.UNVERIFIED) == 2)
            assert len(server.visitors) == 1
            server.conduct.answer = Answer.HONEST
            server.reset()
            await post.until_phase(UplinkPhase.VERIFIED)
            post.offer("welcome")
            await server.until(lambda: server.counts.lines == 1)
    loud = [entry for entry in logs if entry["log_level"] == "error"]
    assert [entry["callsign"] for entry in loud] == [CALLSIGN]
    assert "passcode" in loud[0]["what_to_do"]
    assert list(server.lines) == [a_line("welcome")]


async def test_a_server_that_does_not_verify_is_left_for_the_next_one(
    server: NetworkServer, barring: NetworkServer
) -> None:
    assert belongs(CALLSIGN, PASSCODE)
    async with a_post(barring, server, unverified_ms=40) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        post.offer("welcome")
        await server.until(lambda: server.counts.accepted == 1)
    assert post.phases[:6] == [
        UplinkPhase.CONNECTING,
        UplinkPhase.LOGGING_IN,
        UplinkPhase.UNVERIFIED,
        UplinkPhase.WAITING,
        UplinkPhase.CONNECTING,
        UplinkPhase.LOGGING_IN,
    ]
    why = "the server does not accept the login; the server said: logresp QX1GAT-10 unverified, server QN2NET"
    for phase, state in ((UplinkPhase.UNVERIFIED, State.DEGRADED), (UplinkPhase.WAITING, State.DOWN)):
        part = told(post, phase)
        assert (part.state, part.why) == (state, why)
        assert "another computer" in part.do
        assert "login check" in part.do
        assert "barred" in part.do
    assert told(post, UplinkPhase.VERIFIED).why == told(post, UplinkPhase.VERIFIED).do == ""


async def test_servers_that_never_verify_are_asked_with_longer_and_longer_pauses(barring: NetworkServer) -> None:
    with capture_logs() as logs:
        async with a_post(barring, unverified_ms=2, steady=0.001) as post:
            await post.until(lambda: post.phases.count(UplinkPhase.UNVERIFIED) == 4)
    # After three failures eight times the first; a connection that stood well would have made it the first again.
    assert post.uplink._back_off.failed() >= 0.08  # noqa: SLF001 - what it comes to is seen in hours only
    assert [entry["event"] for entry in logs if entry["log_level"] in {"warning", "error"}] == [
        "the network does not accept the login: nothing is sent, everything else goes on",
        "uplink is down",
    ]


async def test_without_a_passcode_a_login_that_is_not_verified_stays(server: NetworkServer) -> None:
    server.conduct = Conduct(answer=Answer.UNVERIFIED, comment_seconds=0.01)
    async with a_post(server, passcode=None, unverified_ms=20) as post:
        await post.until_phase(UplinkPhase.RECEIVE_ONLY)
        start = post.state.comments
        await post.until_counted(lambda: post.state.comments > start + 8)  # 80 ms of them
    assert server.counts.connections == 1


async def test_a_login_that_is_taken_back_sends_nothing_more(server: NetworkServer) -> None:
    async with a_post(server) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        server.say(b"# logresp QX1GAT-10 unverified, server QN1NET\r\n")
        await post.until_phase(UplinkPhase.UNVERIFIED)
        post.offer("asked")
        assert post.ends == [(Outcome.REFUSED, "asked")]
    assert server.counts.lines == 0


LEAVING: list[Callable[[NetworkServer], None]] = [NetworkServer.half_close, NetworkServer.reset]


@pytest.mark.parametrize("answer", [Answer.NONE, Answer.HONEST])
@pytest.mark.parametrize("leave", LEAVING)
async def test_what_a_server_says_before_it_closes_is_passed_on(
    server: NetworkServer, answer: Answer, leave: Callable[[NetworkServer], None]
) -> None:
    server.conduct.answer = answer
    async with a_post(server) as post:
        await server.until(lambda: any(visitor.login for visitor in server.visitors))
        await post.until_phase(UplinkPhase.LOGGING_IN if answer is Answer.NONE else UplinkPhase.VERIFIED)
        start = post.state.comments
        server.say(b"# full: \x1b[31mtry " + b"again " * 50 + b"\r\n")
        await post.until_counted(lambda: post.state.comments > start)
        leave(server)
        await post.until_it_failed()
        why, do = told(post, UplinkPhase.WAITING).why, told(post, UplinkPhase.WAITING).do
    ending, _, said = why.partition("; the server said: ")
    assert ending in {"the server closed the connection", "the connection broke: Connection reset by peer"}
    assert said == (r"full: \x1b[31mtry " + "again " * 50)[:120]
    assert do == "what the server said may tell why; the next one is tried"


async def test_a_server_whose_words_differ_each_time_does_not_fill_the_log(server: NetworkServer) -> None:
    server.conduct.answer = Answer.NONE
    with capture_logs() as logs:
        async with a_post(server) as post:
            for number in range(1, 5):
                await server.until(lambda number=number: is_alone(server, number))  # type: ignore[misc]
                server.say(b"# refused for the %dth time\r\n" % number)
                server.half_close()
            await post.until(lambda: post.phases.count(UplinkPhase.WAITING) == 4)
    said = [entry for entry in logs if entry["event"] == "uplink is down"]
    assert [entry["log_level"] for entry in said] == ["warning", "debug", "debug", "debug"]
    assert said[3]["reason"] == "the server closed the connection; the server said: refused for the 4th time"


def is_alone(server: NetworkServer, connection: int) -> bool:
    """Whether this connection has logged in, and those before it are gone."""
    return server.counts.connections == connection and [each.login for each in server.visitors] == [CALLSIGN]
