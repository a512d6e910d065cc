import asyncio

import pytest
from hypothesis import given
from hypothesis import strategies as st
from structlog.testing import capture_logs

from gateway.web import session
from gateway.web.guard import Refusal, host_name
from tests.answers import figure
from tests.web.event_reader import stream_of
from tests.web.opened import TOKEN, OpenWeb, open_web

CLOSED_PATHS = ["/api/health", "/api/stations", "/api/heard", "/api/policy", "/events", "/metrics", "/page/page.js"]
BEARER = f"Bearer {TOKEN}"
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


async def sign_in(web: OpenWeb, token: str = TOKEN, **headers: str) -> tuple[int, str]:
    """Shows the token in the form; gives back the status and the cookie as it was set."""
    named = FORM | {name.replace("_", "-"): value for name, value in headers.items()}
    answer = await web.client.post("/session", content=f"token={token}", headers=named)
    return answer.status_code, answer.headers.get("Set-Cookie", "")


@pytest.mark.parametrize(
    "host", ["localhost", "LOCALHOST:7583", "127.0.0.1:7583", "127.1.2.3", "[::1]:1", "gate.localhost."]
)
async def test_by_the_names_of_loopback_it_is_known(host: str) -> None:
    async with open_web() as web:
        assert (await web.get("/api/health", Host=host)).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "rebound.example",
        "rebound.example:7583",
        "localhost.example",
        "192.0.2.7",
        "[2001:db8::7]",
        "user@localhost",
        "a b",
        "",
    ],
)
async def test_by_any_other_name_it_is_not_known(host: str) -> None:
    """A name of someone else's that was made to resolve to this computer is how a page of theirs would get in."""
    async with open_web() as web:
        for path in ("/api/health", "/", "/healthz", "/nothing"):
            answer = await web.get(path, Host=host)
            assert answer.status_code == 421
            assert "hosts" in answer.json()["detail"]
        assert figure(web.server, "http_refused", why=Refusal.HOST) == 4


async def test_by_a_name_that_the_operator_gave_it_is_known() -> None:
    async with open_web(hosts=("Gate.Example",)) as web:
        assert (await web.get("/api/health", Host="gate.example:443")).status_code == 200
        assert (await web.get("/api/health", Host="www.gate.example")).status_code == 421


@pytest.mark.parametrize(
    ("request_line", "headers", "status"),
    [
        (b"GET /healthz HTTP/1.1", b"", b"4"),
        (b"GET /healthz HTTP/1.1", b"Host: localhost\r\nHost: rebound.example\r\n", b"4"),
        (b"GET http://rebound.example/healthz HTTP/1.1", b"Host: localhost\r\n", b"421"),
        (b"GET http://localhost/healthz HTTP/1.1", b"Host: localhost\r\n", b"200"),
    ],
)
async def test_the_name_must_be_there_once_and_wherever_it_stands_it_must_be_ours(
    request_line: bytes, headers: bytes, status: bytes
) -> None:
    """RFC 9112 sections 3.2 and 3.2.2."""
    async with open_web() as web:
        reader, writer = await asyncio.open_connection("127.0.0.1", web.port)
        writer.write(request_line + b"\r\n" + headers + b"Connection: close\r\n\r\n")
        answer = await reader.read()
        writer.close()
        assert answer.split(b" ")[1].startswith(status)


@given(st.text(max_size=60))
def test_any_text_at_all_as_a_host_is_a_name_or_none(host: str) -> None:
    name = host_name(host)
    assert name is None or (name == name.lower() and "@" not in name and "/" not in name)


async def test_on_loopback_without_a_token_everything_is_open() -> None:
    async with open_web() as web:
        for path in ("/", "/api/health", "/metrics", "/openapi.json"):
            assert (await web.get(path)).status_code == 200
        assert (await web.client.post("/session", content="token=x", headers=FORM)).status_code == 404


@pytest.mark.parametrize("path", CLOSED_PATHS)
async def test_where_a_token_is_set_nothing_is_told_without_it(path: str) -> None:
    async with open_web(token=TOKEN) as web:
        for headers in (
            {},
            {"Authorization": "Bearer wrong"},
            {"Authorization": f"Basic {TOKEN}"},
            {"Cookie": f"stile_session={TOKEN}"},
        ):
            answer = await web.get(path, **headers)
            assert answer.status_code == 401
            assert answer.headers["WWW-Authenticate"].startswith("Bearer")
        assert figure(web.server, "http_refused", why=Refusal.TOKEN) == 4


async def test_with_the_token_everything_is_told() -> None:
    async with open_web(token=TOKEN) as web:
        for path in CLOSED_PATHS:
            if path != "/events":
                assert (await web.get(path, Authorization=BEARER)).status_code == 200
        async with stream_of(web, Authorization=BEARER) as reader:
            web.hear()
            assert (await reader.next()).event == "heard"


async def test_an_orchestrator_needs_no_token() -> None:
    async with open_web(token=TOKEN) as web:
        assert (await web.get("/healthz")).status_code == 200
        assert (await web.get("/readyz")).status_code == 200


async def test_what_is_not_there_is_not_told_without_the_token_either() -> None:
    async with open_web(token=TOKEN) as web:
        assert (await web.get("/nothing")).status_code == 401
        assert (await web.get("/nothing", Authorization=BEARER)).status_code == 404


@pytest.mark.parametrize("name", ["token", "access_token"])
async def test_a_token_in_an_address_is_refused_even_where_it_is_right(name: str) -> None:
    async with open_web(token=TOKEN) as web:
        answer = await web.get(f"/api/health?{name}={TOKEN}", Authorization=BEARER)
        assert answer.status_code == 400
        assert TOKEN not in answer.text


async def test_the_page_asks_for_the_token_and_a_cookie_stands_for_it_from_then_on() -> None:
    async with open_web(token=TOKEN) as web:
        asked = await web.get("/")
        assert asked.status_code == 401
        assert '<form method="post" action="/session">' in asked.text
        status, cookie = await sign_in(web)
        assert status == 303
        value, *attributes = cookie.split("; ")
        assert {"HttpOnly", "SameSite=Lax", "Path=/", f"Max-Age={session.SESSION_SECONDS}"} == set(attributes)
        assert TOKEN not in cookie
        assert (await web.get("/", Cookie=value)).status_code == 200
        async with stream_of(web, Cookie=value) as reader:
            web.hear()
            assert (await reader.next()).event == "heard"


async def test_a_cookie_that_came_by_way_of_tls_goes_over_nothing_else() -> None:
    async with open_web(token=TOKEN, hosts=("gate.example",)) as web:
        _, cookie = await sign_in(web, Host="gate.example", Origin="https://gate.example")
        assert "Secure" in cookie.split("; ")


async def test_a_wrong_token_in_the_form_opens_nothing_and_is_counted() -> None:
    async with open_web(token=TOKEN) as web:
        assert await sign_in(web, "wrong") == (401, "")
        assert await sign_in(web, "") == (401, "")
        assert figure(web.server, "http_refused", why=Refusal.TOKEN) == 2


async def test_a_form_that_is_too_long_or_of_another_kind_is_refused() -> None:
    async with open_web(token=TOKEN) as web:
        assert (await web.client.post("/session", content=b"token=" + b"x" * 10_000, headers=FORM)).status_code == 413
        assert (await web.client.post("/session", files={"token": TOKEN.encode()})).status_code == 415
        many = "&".join(f"field{number}=x" for number in range(100))
        assert (await web.client.post("/session", content=many, headers=FORM)).status_code == 400
        assert (await web.client.post("/session", content=b"token=\xff\xfe", headers=FORM)).status_code in {400, 401}


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
async def test_pages_of_other_sites_may_not_ask(site: str) -> None:
    async with open_web(token=TOKEN) as web:
        asked = {
            "Sec-Fetch-Mode": "no-cors",
            "Sec-Fetch-Dest": "image",
            "Sec-Fetch-Site": site,
            "Authorization": BEARER,
        }
        assert (await web.get("/api/health", **asked)).status_code == 403
        assert (await sign_in(web, Sec_Fetch_Site=site, Sec_Fetch_Mode="navigate", Sec_Fetch_Dest="document"))[0] == 403
        assert figure(web.server, "http_refused", why=Refusal.SITE) == 2


async def test_a_link_from_another_site_may_be_followed() -> None:
    async with open_web() as web:
        followed = {"Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document", "Sec-Fetch-Site": "cross-site"}
        assert (await web.get("/", **followed)).status_code == 200
        framed = followed | {"Sec-Fetch-Dest": "iframe"}
        assert (await web.get("/", **framed)).status_code == 403


async def test_another_origin_is_given_no_leave_to_read() -> None:
    async with open_web() as web:
        answer = await web.get("/api/health", Origin="https://elsewhere.example")
        assert not [name for name in answer.headers if name.lower().startswith("access-control")]


@pytest.mark.parametrize(
    ("origin", "status"),
    [
        ("http://localhost:7583", 200),
        ("HTTP://LOCALHOST:7583", 403),
        ("https://localhost:7583", 200),
        ("http://localhost", 403),
        ("http://localhost.example:7583", 403),
        ("http://rebound.example", 403),
        ("null", 403),
        ("", 403),
        ("chrome-extension://localhost:7583", 403),
    ],
)
async def test_a_page_of_another_origin_may_not_ask(origin: str, status: int) -> None:
    """A browser writes an origin in lower case (RFC 6454 section 6); another port is another origin."""
    async with open_web() as web:
        answer = await web.get("/api/health", Host="localhost:7583", Origin=origin)
        assert answer.status_code == status


async def test_the_usual_port_of_a_scheme_may_be_left_out() -> None:
    async with open_web(hosts=("gate.example",)) as web:
        assert (await web.get("/api/health", Host="gate.example", Origin="https://gate.example")).status_code == 200
        assert (await web.get("/api/health", Host="gate.example:443", Origin="https://gate.example")).status_code == 200


async def test_who_shows_wrong_tokens_must_wait_while_a_session_goes_on_and_it_is_logged_once() -> None:
    with capture_logs() as log:
        async with open_web(token=TOKEN) as web:
            _, cookie = await sign_in(web)
            for _ in range(4):
                assert (await web.get("/api/health", Authorization="Bearer wrong")).status_code == 401
            answer = await web.get("/api/health", Authorization=BEARER)
            assert (answer.status_code, answer.headers["Retry-After"]) == (429, "1")
            assert (await sign_in(web))[0] == 429
            assert (await web.get("/api/health", Cookie=cookie.partition(";")[0])).status_code == 200
    said = [(line["event"], line["count"]) for line in log if "token" in line["event"]]
    assert said == [("wrong tokens were shown", 1)]
    assert "wrong" not in [line.get("shown") for line in log]


async def test_over_tls_the_cookie_is_bound_to_this_host() -> None:
    async with open_web(token=TOKEN, hosts=("gate.example",)) as web:
        _, cookie = await sign_in(web, Host="gate.example", Origin="https://gate.example")
        assert cookie.startswith("__Host-stile_session=")
        assert {"Secure", "Path=/", "HttpOnly"} <= {part.strip() for part in cookie.split(";")}
        assert "Domain" not in cookie
        assert (await web.get("/api/health", Cookie=cookie.partition(";")[0])).status_code == 200


async def test_signing_out_forgets_the_session_of_this_browser() -> None:
    async with open_web(token=TOKEN) as web:
        answer = await web.client.post("/sign-out")
        assert (answer.status_code, answer.headers["Location"]) == (303, "/")
        cookies = answer.headers.get_list("Set-Cookie")
        assert [cookie.partition("=")[0] for cookie in cookies] == ["stile_session", "__Host-stile_session"]
        assert all("Max-Age=0" in cookie for cookie in cookies)


@pytest.mark.parametrize("encoding", ["gzip", "br", "nonsense", "gzip, gzip"])
async def test_a_body_in_an_encoding_is_refused_without_a_word_in_the_log(encoding: str) -> None:
    with capture_logs() as log:
        async with open_web(token=TOKEN) as web:
            headers = {**FORM, "Content-Encoding": encoding}
            answer = await web.client.post("/session", content=b"this is no gzip", headers=headers)
            assert answer.status_code == 400
    assert not [line for line in log if line["log_level"] == "error"]
