import asyncio

import pytest

from demo.network_server import Answer, Conduct, NetworkServer
from gateway.uplink import client
from gateway.uplink.client import Phase, Uplink, UplinkOptions

SECONDS = 5.0
"""How long a test waits for what should come at once."""


@pytest.mark.parametrize(("answer", "stood"), [(Answer.HONEST, 31.0), (Answer.NONE, 0.0)])
async def test_a_connection_stands_from_the_answer_to_its_login_on(
    monkeypatch: pytest.MonkeyPatch, answer: Answer, stood: float
) -> None:
    elapsed_ms, seconds_stood = 0, asyncio.Queue[float]()

    class NoPauses:
        """Stands in for `BackOff`: tells for how long a connection had stood, and never pauses."""

        def __init__(self, _pauses: object, *, turns: int) -> None:
            assert turns == 1

        def failed(self, stood: float) -> float:
            seconds_stood.put_nowait(stood)
            return 0.0

    monkeypatch.setattr(client, "BackOff", NoPauses)
    async with NetworkServer(conduct=Conduct(answer=answer)) as server, asyncio.timeout(SECONDS):
        options = UplinkOptions(((server.host, server.port),), "QX1GAT-10", 21161)
        uplink = Uplink(options, clock=lambda: elapsed_ms, on_outcome=lambda *_: None)
        running = asyncio.create_task(uplink.run())
        wanted = Phase.VERIFIED if answer is Answer.HONEST else Phase.LOGGING_IN
        while uplink.state().phase is not wanted or not server.visitors:  # noqa: ASYNC110 - either end may be the last
            await asyncio.sleep(0.001)
        elapsed_ms = 31_000
        server.refuse()
        server.reset()
        assert await seconds_stood.get() == stood
        running.cancel()
        await asyncio.wait([running])
