"""What the event loop says of failed sockets fills no log."""

import asyncio
import errno
import os
import resource
import socket

from structlog.testing import capture_logs

from gateway.running.loop_faults import SAY_SECONDS, LoopFaults


def test_the_same_is_said_once_a_minute_with_how_often_it_came_before() -> None:
    now = 0.0
    handler = LoopFaults(lambda: now)
    loop = asyncio.new_event_loop()
    with capture_logs() as log:
        for _ in range(1000):
            handler(loop, {"message": "forged\n", "exception": OSError(errno.EMFILE, "forged\n")})
        handler(loop, {"exception": ZeroDivisionError("forged\n")})
        now = SAY_SECONDS
        handler(loop, {"exception": OSError(errno.EMFILE, "forged\n")})
    loop.close()
    assert [(line["error"], line["before"]) for line in log] == [
        ("OSError", 0),
        ("ZeroDivisionError", 0),
        ("OSError", 999),
    ]
    assert "forged" not in repr(log)


async def test_a_process_without_descriptors_answers_again_once_it_has_some() -> None:
    """The pause of a second after which asyncio listens again is its own."""
    loop = asyncio.get_running_loop()
    loop.set_exception_handler(LoopFaults())
    server = await asyncio.start_server(lambda _, writer: writer.close(), "127.0.0.1", 0)
    before = resource.getrlimit(resource.RLIMIT_NOFILE)
    clients = [socket.socket() for _ in range(3)]
    with capture_logs() as log:
        resource.setrlimit(resource.RLIMIT_NOFILE, (_lowest_free_descriptor(), before[1]))
        try:
            for client in clients:
                client.setblocking(False)
                await loop.sock_connect(client, server.sockets[0].getsockname())
            while not log:  # noqa: ASYNC110 - the log tells nobody
                await asyncio.sleep(0.01)
        finally:
            resource.setrlimit(resource.RLIMIT_NOFILE, before)
        assert await asyncio.wait_for(loop.sock_recv(clients[0], 10), 20) == b""
    for client in clients:
        client.close()
    server.close()
    await server.wait_closed()
    assert len(log) == 1


def _lowest_free_descriptor() -> int:
    """The number that the next one would have. How many are open says less: other tests may have left gaps below."""
    descriptor = os.dup(0)
    os.close(descriptor)
    return descriptor
