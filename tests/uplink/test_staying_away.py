import asyncio

import pytest

from demo.network_server import Answer, Conduct, NetworkServer
from gateway.frames.heard import Run
from gateway.uplink import client
from gateway.uplink.client import Uplink
from gateway.uplink.state import UplinkPhase
from tests.options import uplink_options
from tests.uplink.posting import SECONDS, Ticket, a_line


@pytest.mark.parametrize(("answer", "stood"), [(Answer.HONEST, 31.0), (Answer.NONE, 0.0)])
async def test_a_connection_stands_from_the_answer_to_its_login_on(
    monkeypatch: pytest.MonkeyPatch, answer: Answer, stood: float
) -> None:
    elapsed_seconds, seconds_stood = 0, asyncio.Queue[float]()

    class NoPauses:
        """Stands in for `BackOff`: tells for how long a connection had stood, and never pauses."""

        def __init__(self, _pauses: object, *, turns: int) -> None:
            assert turns == 1

        def failed(self, stood: float, *, worked: bool) -> float:  # noqa: ARG002 - as the real one is called
            seconds_stood.put_nowait(stood)
            return 0.0

    monkeypatch.setattr(client, "BackOff", NoPauses)
    async with NetworkServer(conduct=Conduct(answer=answer)) as server, asyncio.timeout(SECONDS):
        options = uplink_options((server.host, server.port), passcode=21161)
        run = Run(monotonic=lambda: elapsed_seconds)
        uplink: Uplink[Ticket] = Uplink(options, run, on_outcome=lambda *_: None)
        assert not uplink.offer([Ticket(a_line("early"), 0, "early")])
        running = asyncio.create_task(uplink.run())
        wanted = UplinkPhase.VERIFIED if answer is Answer.HONEST else UplinkPhase.LOGGING_IN
        while uplink.state().phase is not wanted or not server.visitors:  # noqa: ASYNC110 - either end may be the last
            await asyncio.sleep(0.001)
        elapsed_seconds = 31
        server.refuse()
        server.reset()
        assert await seconds_stood.get() == stood
        running.cancel()
        await asyncio.wait([running])
