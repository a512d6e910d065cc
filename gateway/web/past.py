"""What is answered about the past: the reach of the antenna, a station's own view, one frame and why, alerts."""

import re
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from http import HTTPStatus
from typing import TypeVar

from aiohttp import web

from gateway.documents import MAXIMUM_TEXT
from gateway.feed.heard_object import HeardPayload, encode
from gateway.frames.header import is_network_callsign
from gateway.frames.heard import Moment
from gateway.frames.plain import HIGHEST_NUMBER, PlainObject
from gateway.groundwork.duration import DAY_MS, HOUR_MS
from gateway.history.period import Period, read_period
from gateway.history.station_past import PastFrame
from gateway.web.heard_memory import HeardMemory
from gateway.web.knowledge import PastError
from gateway.web.problem import ProblemError
from gateway.web.query import choice, one_of
from gateway.web.sources import WebSources

LONGEST_BY_HOUR_MS = 62 * DAY_MS
"""A history by the hour is no longer than this."""

USUAL_REACH = "30d"
USUAL_PERIOD = "1d"

TRIALS_MS = {"1h": HOUR_MS, "1d": DAY_MS}
"""Over how much of what was heard a policy can be tried."""

USUAL_TRIAL = "1h"
POLICY_TYPE = "application/yaml"
"""Of a policy's text (RFC 9512). No form can send it, so no page of another origin can without asking first."""

_FRAME = re.compile(r"([0-9A-Za-z_]{1,64})-([1-9][0-9]{0,15})")
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class PastHandlers:
    """One method for each path."""

    sources: WebSources
    memory: HeardMemory
    now: Callable[[], Moment]

    def routes(self) -> list[web.RouteDef]:
        """Every path with its method."""
        handlers = {
            "/api/reach": self.reach,
            "/api/history": self.history,
            "/api/stations/{callsign}": self.station,
            "/api/heard/{run}/{sequence}": self.frame,
            "/api/alerts": self.alerts,
        }
        routes = [web.get(path, handler) for path, handler in handlers.items()]
        return [*routes, web.post("/api/what-if", self.what_if)]

    async def reach(self, request: web.Request) -> web.StreamResponse:
        """`/api/reach`."""
        period = self._period(request, USUAL_REACH)
        written = one_of(request, "against")
        against = None if written is None else _read("against", written, period.from_ms)
        return json_answer(await _told(self.sources.past.reach(period, against, one_of(request, "post") or "")))

    async def history(self, request: web.Request) -> web.StreamResponse:
        """`/api/history`."""
        period = self._period(request, USUAL_PERIOD)
        is_long = period.to_ms - period.from_ms > LONGEST_BY_HOUR_MS
        step = choice(request, "step", ("hour", "day")) or ("day" if is_long else "hour")
        if step == "hour" and is_long:
            raise ProblemError(HTTPStatus.BAD_REQUEST, "step: what is longer than 62 days is told by the day")
        return json_answer(await _told(self.sources.past.history(period, by_day=step == "day")))

    async def station(self, request: web.Request) -> web.StreamResponse:
        """`/api/stations/{callsign}`."""
        callsign = _callsign(request.match_info["callsign"])
        period = self._period(request, USUAL_PERIOD)
        remembered = next((one for one in self.sources.stations() if one.source == callsign), None)
        past = await _told(self.sources.past.station(callsign, period, self._recent(callsign)))
        if remembered is None and not past["heard"] and not past["days"]:
            raise ProblemError(HTTPStatus.NOT_FOUND, "no such station was heard in that time")
        plain: PlainObject = {"station": callsign}
        if remembered is not None:
            plain["memory"] = remembered.to_object()
        return json_answer(plain | past)

    async def heard_of(self, request: web.Request, source: str, limit: int) -> web.StreamResponse:
        """`/api/heard?source=`: from memory, and beyond it from the journal."""
        callsign = _callsign(source)
        written = one_of(request, "before")
        match = None if written is None else _FRAME.fullmatch(written)
        if written is not None and match is None:
            raise ProblemError(HTTPStatus.NOT_FOUND, "before: with source, run and sequence of a frame, as run-12")
        before = None if match is None else (match[1], int(match[2]))
        page = await _told(self.sources.past.heard(callsign, limit, before, self._recent(callsign)))
        head: PlainObject = {"source": callsign}
        if page.has_more and page.heard:
            head["next_before"] = f"{page.heard[-1].run}-{page.heard[-1].sequence}"
        body = b'%b,"heard":[%b]}' % (encode(head)[:-1], b",".join(one.encoded for one in page.heard))
        return web.Response(body=body, content_type="application/json")

    async def frame(self, request: web.Request) -> web.StreamResponse:
        """`/api/heard/{run}/{sequence}`: one frame, with the steps to its verdict."""
        match = _FRAME.fullmatch(f"{request.match_info['run']}-{request.match_info['sequence']}")
        if match is None or int(match[2]) > HIGHEST_NUMBER:
            raise _no_frame()
        run, sequence = match[1], int(match[2])
        past = self.sources.past
        frames = self.memory.up_to(run, sequence) or await _told(past.frames_up_to(run, sequence))
        if not frames:
            raise _no_frame()
        explained = await _told(past.explain([frame.judged for frame in frames]))
        return web.Response(body=frames[-1].encoded_with(explained), content_type="application/json")

    async def alerts(self, _request: web.Request) -> web.StreamResponse:
        """`/api/alerts`."""
        return json_answer({"alerts": list(self.sources.alerts())})

    async def what_if(self, request: web.Request) -> web.StreamResponse:
        """`/api/what-if`: a policy is tried over what was heard of late. It changes nothing."""
        since = choice(request, "since", [*TRIALS_MS]) or USUAL_TRIAL
        if request.content_type != POLICY_TYPE:
            raise ProblemError(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, f"send the policy's text as {POLICY_TYPE}")
        try:
            policy = (await _body(request, MAXIMUM_TEXT)).decode("utf-8")
        except UnicodeDecodeError:
            raise ProblemError(HTTPStatus.BAD_REQUEST, "the policy is no UTF-8 text") from None
        answer = await _told(self.sources.what_if(policy, self.now().time_ms - TRIALS_MS[since]))
        if "problems" in answer:
            detail = "the policy cannot be used: see its problems"
            raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, detail, more=answer)
        return json_answer(answer)

    def _period(self, request: web.Request, usual: str) -> Period:
        return _read("since", one_of(request, "since") or usual, self.now().time_ms)

    def _recent(self, callsign: str) -> list[PastFrame]:
        return [_past_frame(frame) for frame in self.memory.of(callsign)]


def json_answer(plain: PlainObject) -> web.Response:
    """An object as an answer."""
    return web.Response(body=encode(plain), content_type="application/json")


async def _body(request: web.Request, most: int) -> bytes:
    """The body of a request, of so many octets at most: this path takes more than others. Raises `ProblemError`."""
    body = bytearray()
    async for piece in request.content.iter_any():
        body += piece
        if len(body) > most:
            raise ProblemError(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"a policy holds no more than {most} octets")
    return bytes(body)


async def _told(answer: Awaitable[_T]) -> _T:
    """The answer. Raises `ProblemError` where there is none."""
    try:
        return await answer
    except PastError as error:
        raise ProblemError(error.status, str(error)) from None


def _read(name: str, written: str, until_ms: int) -> Period:
    try:
        return read_period(written, until_ms)
    except ValueError as error:
        raise ProblemError(HTTPStatus.BAD_REQUEST, f"{name}: {error}") from None


def _callsign(written: str) -> str:
    callsign = written.upper()
    if not is_network_callsign(callsign):
        raise ProblemError(HTTPStatus.BAD_REQUEST, "a callsign belongs there, as QA1BCD-9")
    return callsign


def _no_frame() -> ProblemError:
    return ProblemError(HTTPStatus.NOT_FOUND, "that frame is not kept here, or not any more")


def _past_frame(frame: HeardPayload) -> PastFrame:
    heard = frame.judged.heard
    return PastFrame(heard.run, heard.sequence, frame.encoded())
