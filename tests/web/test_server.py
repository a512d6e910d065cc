import asyncio
import contextlib
import json
import socket

import pytest

from gateway.feed.schemas import Schema
from gateway.judge.source import PolicyText, read_policy
from gateway.judge.verdict import Reason
from gateway.web.options import WebPace
from gateway.web.policy import policy_object
from gateway.web.server import WebServer
from tests.answers import figure
from tests.judge.listening import no_includes, source_of
from tests.judged_frames import NOON_MS, Post
from tests.options import web_options
from tests.payload_schemas import held_to
from tests.waiting import until
from tests.web.event_reader import data_of, stream_of
from tests.web.opened import FAIL_SAFE_SECONDS, LINE, Gateway, OpenWeb, open_web

LONG_LINE = LINE + b" for long" * 150


def deaf_client(web: OpenWeb, request: bytes = b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n") -> socket.socket:
    """A client that asks and never reads."""
    deaf = socket.socket()
    deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    deaf.connect(("127.0.0.1", web.port))
    deaf.sendall(request)
    return deaf


async def test_the_health_is_that_of_the_post() -> None:
    async with open_web() as web:
        answer = await web.get("/api/health")
        assert answer.headers["Content-Type"] == "application/json"
        assert held_to(Schema.HEALTH, answer.content) == web.gateway.health().to_object()


async def test_the_frames_heard_last_come_newest_first_and_page_by_page() -> None:
    async with open_web() as web:
        for number in range(5):
            web.hear(b"QA1BCD>APRS:>%d" % number)
        first = (await web.get("/api/heard?limit=3")).json()
        assert first["run"] == web.gateway.post.run
        assert [frame["information"] for frame in first["heard"]] == [">4", ">3", ">2"]
        for frame in first["heard"]:
            held_to(Schema.HEARD, json.dumps(frame).encode())
        second = (await web.get(f"/api/heard?limit=3&before={first['next_before']}")).json()
        assert [frame["information"] for frame in second["heard"]] == [">1", ">0"]
        assert "next_before" not in second


async def test_a_page_of_the_frames_heard_holds_a_hundred_where_nothing_else_is_said() -> None:
    async with open_web() as web:
        for _ in range(150):
            web.hear()
        assert len((await web.get("/api/heard")).json()["heard"]) == 100


@pytest.mark.parametrize(
    "query", ["limit=0", "limit=1001", "limit=ten", "limit=", "limit=1&limit=2", "before=-1", "before=1.5", "limit=٣"]
)
async def test_a_wrong_number_in_the_query_is_a_problem_that_names_it(query: str) -> None:
    async with open_web() as web:
        answer = await web.get(f"/api/heard?{query}")
        assert answer.status_code == 400
        assert answer.headers["Content-Type"] == "application/problem+json"
        assert answer.json()["detail"].startswith(query.partition("=")[0])


async def test_the_policy_is_shown_with_its_text_and_where_its_rules_and_rates_stand() -> None:
    text = "rules: [{name: boats, when: {source: QA1*}, then: keep}]\nrates:\n- {name: all, allow: 6 per minute}\n"
    gateway = Gateway(policy=source_of(text))
    async with open_web(gateway) as web:
        assert (await web.get("/api/policy")).json() == {
            "policy": gateway.policy.label,
            "files": [{"name": "policy.yaml", "text": f"version: 1\nname: test\n{text}"}],
            "entries": [
                {"kind": "rule", "name": "boats", "file": "policy.yaml", "line": 3, "decided": 0},
                {"kind": "rate", "name": "all", "file": "policy.yaml", "line": 5, "decided": 0},
            ],
        }


def test_of_a_policy_elsewhere_on_the_disk_only_the_name_is_shown_and_why_a_newer_one_is_refused() -> None:
    source = read_policy(PolicyText("/etc/stile/mine.yaml", "version: 1\nname: mine\n"), no_includes)
    shown = policy_object(source, "mine.yaml:3: rules: unknown key", {})
    assert [file["name"] for file in shown["files"]] == ["mine.yaml"]
    assert shown["refused"] == "mine.yaml:3: rules: unknown key"


async def test_it_is_alive_at_once_and_ready_when_nothing_is_waited_for() -> None:
    gateway = Gateway(waits_for=["receiver vhf"])
    async with open_web(gateway) as web:
        assert (await web.get("/healthz")).json() == {"alive": True}
        not_yet = await web.get("/readyz")
        assert (not_yet.status_code, not_yet.json()["waits_for"]) == (503, ["receiver vhf"])
        gateway.waits_for = ()
        assert (await web.get("/readyz")).json() == {"ready": True}


async def test_a_path_that_is_not_there_is_a_problem_object() -> None:
    async with open_web() as web:
        answer = await web.get("/api/nothing")
        assert answer.status_code == 404
        assert answer.headers["Content-Type"] == "application/problem+json"
        assert answer.json()["title"] == "Not Found"


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
@pytest.mark.parametrize("path", ["/api/health", "/events", "/", "/metrics"])
async def test_nothing_can_be_done_here_but_reading(method: str, path: str) -> None:
    async with open_web() as web:
        answer = await web.client.request(method, path)
        assert answer.status_code == 405
        assert answer.headers["Allow"] in {"GET", "GET,HEAD"}
        assert not [name for name in answer.headers if name.startswith("access-control")]


async def test_the_head_of_an_answer_can_be_had_without_its_body() -> None:
    async with open_web() as web:
        for path in ("/", "/api/health", "/api/heard", "/api/stations", "/metrics"):
            answer = await web.client.head(path)
            assert (answer.status_code, answer.content) == (200, b"")
        assert (await web.client.head("/events")).status_code == 405


async def test_an_event_reaches_every_stream_as_it_was_offered() -> None:
    async with open_web() as web, stream_of(web) as one, stream_of(web) as other:
        assert one.response.headers["Content-Type"] == "text/event-stream"
        payload = web.hear()
        web.server.offer_forwarded([payload], NOON_MS)
        web.server.offer_health(web.gateway.health().to_object())
        web.server.offer_alert({"alert": "emergency"})
        for reader in (one, other):
            events = await reader.take(4)
            assert [event.event for event in events] == ["heard", "forwarded", "health", "alert"]
            assert events[0].data.encode() == payload.encoded()
            assert data_of(events[1])["line"] == LINE.decode()


async def test_a_stream_that_was_cut_off_goes_on_where_it_was() -> None:
    async with open_web() as web:
        async with stream_of(web) as reader:
            web.hear(b"QA1BCD>APRS:>one")
            last = await reader.next()
        await until(lambda: figure(web.server, "event_streams") == 0)
        web.hear(b"QA1BCD>APRS:>two")
        web.hear(b"QA1BCD>APRS:>three")
        async with stream_of(web, Last_Event_ID=last.id) as reader:
            assert [data_of(event)["information"] for event in await reader.take(2)] == [">two", ">three"]


async def test_a_stream_that_comes_back_too_late_is_told_how_many_it_missed() -> None:
    async with open_web(events=3) as web:
        for number in range(10):
            web.hear(b"QA1BCD>APRS:>%d" % number)
        async with stream_of(web, Last_Event_ID=f"{web.gateway.post.run}-2") as reader:
            missed, *others = await reader.take(4)
            assert (missed.event, data_of(missed)["count"]) == ("missed", 5)
            assert [data_of(event)["information"] for event in others] == [">7", ">8", ">9"]
        assert figure(web.server, "shed", carries="events") == 5


async def test_a_stream_from_before_a_restart_gets_what_this_run_remembers() -> None:
    async with open_web() as web:
        web.hear()
        async with stream_of(web, Last_Event_ID="an-older-run-4711") as reader:
            missed, heard = await reader.take(2)
            assert data_of(missed) == {"because": "restarted"}
            assert heard.event == "heard"


async def test_a_stream_with_nothing_to_say_says_so_now_and_then() -> None:
    async with open_web(pace=WebPace(heartbeat=0.02)) as web, web.client.stream("GET", "/events") as response:
        lines = response.aiter_lines()
        while await anext(lines) != ":":
            pass


async def test_a_stream_without_chunks_goes_to_a_client_that_knows_none() -> None:
    async with open_web() as web:
        reader, writer = await asyncio.open_connection("127.0.0.1", web.port)
        writer.write(b"GET /events HTTP/1.0\r\nHost: localhost\r\n\r\n")
        head = await reader.readuntil(b"\r\n\r\n")
        assert b"Transfer-Encoding" not in head
        assert await reader.readuntil(b"\n\n") == b"retry: 2000\n\n"
        payload = web.hear()
        assert (await reader.readuntil(b"\n\n")).endswith(b"\ndata: " + payload.encoded() + b"\n\n")
        writer.close()


async def test_a_client_that_does_not_read_is_dropped_and_the_others_lose_nothing() -> None:
    pace = WebPace(patience=0.1)
    async with open_web(pace=pace, chunk_octets=2000, kernel_octets=4096) as web, stream_of(web) as reader:
        with deaf_client(web):
            await until(lambda: figure(web.server, "event_streams") == 2)
            while not figure(web.server, "event_streams_dropped"):
                payload = web.hear(LONG_LINE)
                assert (await reader.next()).data.encode() == payload.encoded()
            await until(lambda: figure(web.server, "event_streams") == 1)
        assert figure(web.server, "event_streams_dropped") == 1
        assert figure(web.server, "shed", carries="events") == 0


async def test_a_client_that_reads_too_slowly_is_told_how_many_events_it_missed() -> None:
    async with open_web(chunk_octets=2000, kernel_octets=4096, events=10) as web:
        with deaf_client(web) as slow:
            slow.setblocking(False)
            await until(lambda: figure(web.server, "event_streams") == 1)
            for _ in range(400):
                web.hear(LONG_LINE)
                await asyncio.sleep(0)
            received = b""
            loop = asyncio.get_running_loop()
            while b'event: missed\ndata: {"because":"behind","count":' not in received:
                received += await loop.sock_recv(slow, 65_536)
        assert figure(web.server, "event_streams_dropped") == 0
        assert figure(web.server, "shed", carries="events") > 0


async def test_there_is_room_for_the_health_when_there_is_none_for_one_more_stream() -> None:
    async with open_web(connections=4, kept_for_requests=2) as web, stream_of(web), stream_of(web):
        answer = await web.get("/events")
        assert (answer.status_code, answer.headers["Retry-After"]) == (503, "10")
        assert (await web.get("/api/health")).status_code == 200
        assert figure(web.server, "event_streams_turned_away") == 1


async def test_clients_who_connect_and_say_nothing_keep_nobody_out() -> None:
    async with open_web(connections=8) as web, contextlib.AsyncExitStack() as clients:
        for _ in range(20):
            _, writer = await asyncio.open_connection("127.0.0.1", web.port)
            clients.callback(writer.close)
        assert (await web.get("/healthz")).status_code == 200
        assert figure(web.server, "http_turned_away") >= 12


async def test_one_connection_more_than_there_is_room_for_is_turned_away() -> None:
    async with (
        open_web(connections=2, kept_for_requests=0, share_of_an_address=1) as web,
        stream_of(web),
        stream_of(web),
    ):
        reader, writer = await asyncio.open_connection("127.0.0.1", web.port)
        with contextlib.suppress(ConnectionResetError):
            assert await reader.read() == b""
        writer.close()


async def test_a_connection_that_asks_nothing_is_closed() -> None:
    async with open_web(pace=WebPace(idle=0.05)) as web:
        reader, writer = await asyncio.open_connection("127.0.0.1", web.port)
        writer.write(b"GET /api/hea")
        assert await reader.read() == b""
        writer.close()


@pytest.mark.parametrize(
    "request_octets",
    [
        b"\x16\x03\x01 this is no HTTP\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: localhost\r\n" + b"X-More: x\r\n" * 200 + b"\r\n",
        b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Long: " + b"x" * 10_000 + b"\r\n\r\n",
        b"GET /" + b"x" * 10_000 + b" HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: localhost\r\nContent-Length: many\r\n\r\n",
    ],
)
async def test_what_cannot_be_read_is_answered_without_telling_what_answers(request_octets: bytes) -> None:
    async with open_web() as web:
        reader, writer = await asyncio.open_connection("127.0.0.1", web.port)
        writer.write(request_octets)
        answer = (await reader.read()).lower()
        writer.close()
        assert answer.partition(b" ")[2].startswith(b"400 ")
        assert b"application/problem+json" in answer
        assert b"server: stile\r\n" in answer
        assert b"aiohttp" not in answer
        assert b"python" not in answer
        assert (await web.get("/healthz")).status_code == 200


async def test_every_answer_is_fenced_in() -> None:
    async with open_web() as web:
        for path in ("/", "/api/health", "/api/nothing", "/page/page.js", "/openapi.json", "/metrics"):
            headers = (await web.get(path)).headers
            assert headers["Content-Security-Policy"].startswith("default-src 'self'; ")
            assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
            assert "require-trusted-types-for 'script'; trusted-types 'none'" in headers["Content-Security-Policy"]
            assert headers["X-Content-Type-Options"] == "nosniff"
            assert headers["Referrer-Policy"] == "same-origin"
            assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
            assert headers["Cache-Control"] == "no-store"
            assert headers["Server"] == "stile"


async def test_a_fault_in_one_answer_is_said_without_its_words_and_ends_nothing() -> None:
    gateway = Gateway()
    async with open_web(gateway) as web:
        gateway.waits_for = None  # type: ignore[assignment] # a fault of our own, in the guise of one
        answer = await web.get("/readyz")
        assert answer.status_code == 500
        assert "NoneType" not in answer.text
        assert (await web.get("/healthz")).status_code == 200


async def test_a_drain_gives_the_streams_what_waits_and_ends_them_in_good_order() -> None:
    async with open_web() as web, stream_of(web) as reader:
        for _ in range(20):
            web.hear()
        await web.server.drain(FAIL_SAFE_SECONDS)
        assert len(await reader.take(20)) == 20
        with pytest.raises(StopAsyncIteration):
            await reader.next()
        assert web.server.port is None


async def test_a_drain_does_not_wait_for_a_client_that_does_not_read() -> None:
    async with open_web(kernel_octets=4096) as web:
        with deaf_client(web):
            await until(lambda: figure(web.server, "event_streams") == 1)
            for _ in range(100):
                web.hear(LONG_LINE)
            await web.server.drain(FAIL_SAFE_SECONDS)
        assert web.server.port is None


async def test_a_port_that_is_taken_is_said_and_tried_again_until_it_is_free() -> None:
    taken = socket.create_server(("127.0.0.1", 0))
    port = taken.getsockname()[1]
    post = Post()
    options = web_options(port, pace=WebPace(retry=0.01))
    server = WebServer(options, Gateway().sources(), post.now, post.run)
    running = asyncio.create_task(server.run())
    await until(lambda: server.part().why == "Address already in use")
    server.offer([Gateway().hear(LINE, Reason.DUPLICATE)])
    taken.close()
    await until(lambda: server.port == port)
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running
