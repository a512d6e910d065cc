"""What is answered to each request."""

import html
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from http import HTTPStatus
from typing import TypeVar
from urllib.parse import parse_qs

from aiohttp import hdrs, web
from aiohttp.http import HttpVersion11

from gateway.feed.heard_object import HeardPayload, encode
from gateway.frames.plain import HIGHEST_NUMBER, PlainObject
from gateway.groundwork.part import Figure
from gateway.web import exposition, metrics, openapi, session
from gateway.web.event_log import EventLog
from gateway.web.event_stream import EventStreams
from gateway.web.geojson import COLLECTION_END, COLLECTION_HEAD, feature
from gateway.web.guard import CHALLENGE, Guard
from gateway.web.heard_memory import HeardMemory
from gateway.web.options import WebOptions
from gateway.web.page_files import page_files, text_of
from gateway.web.past import PastHandlers, json_answer
from gateway.web.policy import policy_object
from gateway.web.problem import ProblemError
from gateway.web.query import number, one_of
from gateway.web.sources import WebSources
from gateway.web.turns import Turns

DEFAULT_PAGE = 100
LARGEST_PAGE = 1000
COME_BACK_SECONDS = "10"
SIGN_IN_FIELDS = 4

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Handlers:
    """One method for each path. What they need is made before them and outlives them."""

    run: str
    options: WebOptions
    sources: WebSources
    guard: Guard
    log: EventLog
    memory: HeardMemory
    streams: EventStreams
    turns: Turns
    run_figures: Callable[[], Iterable[Figure]]
    past: PastHandlers
    decided: Mapping[str, int]
    """How often each rule and rate decided in this run, by its name."""

    def routes(self) -> list[web.RouteDef]:
        """Every path with its method. Those that are only shown have HEAD as well (RFC 9110 section 9.1)."""
        handlers = {
            "/": self.page,
            "/api/health": self.health,
            "/api/stations": self.stations,
            "/api/heard": self.heard,
            "/api/policy": self.policy,
            "/metrics": self.metrics,
            "/healthz": self.alive,
            "/readyz": self.ready,
        }
        document = encode(openapi.document(with_token=self.options.token is not None))
        fixed = page_files()
        fixed["/openapi.json"] = (document, "application/json")
        routes = [web.get(path, handler) for path, handler in handlers.items()]
        routes += [web.get(path, partial(_fixed, body, kind)) for path, (body, kind) in fixed.items()]
        routes += self.past.routes()
        routes.append(web.get("/events", self.events, allow_head=False))
        if self.options.token is not None:
            routes += [web.post("/session", self.sign_in), web.post("/sign-out", self.sign_out)]
        return routes

    async def health(self, _request: web.Request) -> web.StreamResponse:
        """`/api/health`."""
        return json_answer(self.sources.health().to_object())

    async def stations(self, request: web.Request) -> web.StreamResponse:
        """`/api/stations`."""
        stations = list(self.sources.stations())
        response = web.StreamResponse(headers={hdrs.CONTENT_TYPE: "application/geo+json"})
        return await self._array(request, response, stations, feature, around=(COLLECTION_HEAD, COLLECTION_END))

    async def heard(self, request: web.Request) -> web.StreamResponse:
        """`/api/heard`."""
        limit = number(request, "limit", 1, LARGEST_PAGE)
        source = one_of(request, "source")
        if source is not None:
            return await self.past.heard_of(request, source, limit or DEFAULT_PAGE)
        before = number(request, "before", 1, HIGHEST_NUMBER)
        page, next_before = self.memory.page(limit or DEFAULT_PAGE, before)
        head_fields: PlainObject = {"run": self.run}
        if next_before is not None:
            head_fields["next_before"] = next_before
        head = encode(head_fields)[:-1] + b',"heard":['
        response = web.StreamResponse(headers={hdrs.CONTENT_TYPE: "application/json"})
        return await self._array(request, response, page, HeardPayload.encoded, around=(head, b"]}"))

    async def policy(self, _request: web.Request) -> web.StreamResponse:
        """`/api/policy`."""
        return json_answer(policy_object(self.sources.policy(), self.sources.refused_policy(), self.decided))

    async def metrics(self, _request: web.Request) -> web.StreamResponse:
        """`/metrics`."""
        figures = [*metrics.of_health(self.sources.health()), *self.run_figures(), *metrics.of_process()]
        return web.Response(body=exposition.write(figures), headers={hdrs.CONTENT_TYPE: exposition.CONTENT_TYPE})

    async def alive(self, _request: web.Request) -> web.StreamResponse:
        """`/healthz`: that this is answered is the answer."""
        return json_answer({"alive": True})

    async def ready(self, _request: web.Request) -> web.StreamResponse:
        """`/readyz`."""
        waits_for = list(self.sources.waits_for())
        if waits_for:
            raise ProblemError(HTTPStatus.SERVICE_UNAVAILABLE, "the gateway is starting", more={"waits_for": waits_for})
        return json_answer({"ready": True})

    async def events(self, request: web.Request) -> web.StreamResponse:
        """`/events`. What goes out after the head is the business of `EventStreams`."""
        transport = request.transport
        if transport is None:
            raise ConnectionResetError("gone already")
        if not self.streams.has_room:
            self.streams.tally.turned_away += 1
            detail = "there is no room for one more event stream"
            raise ProblemError(HTTPStatus.SERVICE_UNAVAILABLE, detail, headers={"Retry-After": COME_BACK_SECONDS})
        start = self.log.start(request.headers.get("Last-Event-ID"))
        response = web.StreamResponse(headers={hdrs.CONTENT_TYPE: "text/event-stream"})
        await response.prepare(request)
        stream = self.streams.join(transport, start, chunked=request.version >= HttpVersion11)
        try:
            await stream.ended.wait()
        finally:
            self.streams.leave(stream)
        return response

    async def page(self, request: web.Request) -> web.StreamResponse:
        """`/`: the page, or the question for the token."""
        if not self.guard.is_known(request):
            return self._sign_in_page("")
        sign_out = "hidden" if self.options.token is None else ""
        words = {
            "callsign": self.options.callsign,
            "health-seconds": f"{self.options.pace.health:g}",
            "sign-out": sign_out,
        }
        return _page(_filled("page.html", **words))

    async def sign_in(self, request: web.Request) -> web.StreamResponse:
        """`/session`: the token is shown once, in a form, and a cookie stands for it from then on."""
        if request.content_type != "application/x-www-form-urlencoded":
            raise ProblemError(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "send the form of the page")
        try:
            fields = parse_qs(await request.text(), max_num_fields=SIGN_IN_FIELDS)
        except (ValueError, LookupError):
            raise ProblemError(HTTPStatus.BAD_REQUEST, "send the form of the page") from None
        opened = self.guard.open_session(request, fields.get("token", [""])[0].strip())
        if opened is None:
            return self._sign_in_page("That is not the token of this gateway.")
        response = web.Response(status=HTTPStatus.SEE_OTHER, headers={hdrs.LOCATION: "/"})
        # A browser says where the form came from: over TLS, by way of a proxy, the cookie goes over nothing else.
        is_secure = request.secure or request.headers.get(hdrs.ORIGIN, "").startswith("https://")
        name = session.SECURE_COOKIE if is_secure else session.COOKIE
        response.set_cookie(
            name, opened, max_age=session.SESSION_SECONDS, httponly=True, samesite="Lax", secure=is_secure
        )
        return response

    async def sign_out(self, _request: web.Request) -> web.StreamResponse:
        """`/sign-out`: this browser's session is forgotten. Another token ends those of all."""
        response = web.Response(status=HTTPStatus.SEE_OTHER, headers={hdrs.LOCATION: "/"})
        response.del_cookie(session.COOKIE, httponly=True, samesite="Lax")
        response.del_cookie(session.SECURE_COOKIE, httponly=True, samesite="Lax", secure=True)
        return response

    def _sign_in_page(self, trouble: str) -> web.StreamResponse:
        body = _filled("sign-in.html", callsign=self.options.callsign, trouble=trouble)
        return _page(body, HTTPStatus.UNAUTHORIZED, CHALLENGE)

    async def _array(
        self,
        request: web.Request,
        response: web.StreamResponse,
        items: Iterable[_T],
        make: Callable[[_T], bytes],
        *,
        around: tuple[bytes, bytes],
    ) -> web.StreamResponse:
        """An answer that is one long array, made and sent a little at a time, and what stands `around` its items."""
        before, end = around
        await response.prepare(request)
        if request.method == hdrs.METH_HEAD:
            return response
        await response.write(before)
        comma = b""
        async for encoded in self.turns.encode(items, make):
            if encoded:
                await response.write(comma + b",".join(encoded))
                comma = b","
        await response.write(end)
        return response


async def _fixed(body: bytes, content_type: str, _request: web.Request) -> web.StreamResponse:
    return web.Response(body=body, content_type=content_type, charset="utf-8")


def _page(
    body: bytes, status: HTTPStatus = HTTPStatus.OK, headers: Mapping[str, str] | None = None
) -> web.StreamResponse:
    return web.Response(body=body, status=status, content_type="text/html", charset="utf-8", headers=headers)


def _filled(name: str, **words: str) -> bytes:
    """A page with our own few words in it, each in the place of `{{name}}`. Nothing from the air is among them."""
    text = text_of(name).decode("utf-8")
    for place, word in words.items():
        text = text.replace(f"{{{{{place}}}}}", html.escape(word))
    return text.encode("utf-8")
