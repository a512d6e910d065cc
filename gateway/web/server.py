"""The web as a whole: takes what the house should see, without ever waiting, and answers whoever asks for it."""

import asyncio
import math
from collections import Counter
from collections.abc import Awaitable, Callable, Iterable, Sequence
from functools import partial
from http import HTTPStatus

import structlog
from aiohttp import hdrs, web

from gateway.feed.heard_object import HeardPayload
from gateway.feed.sink import ListeningSink
from gateway.frames.heard import Moment
from gateway.frames.plain import PlainObject
from gateway.groundwork.kept_tasks import kept_tasks
from gateway.groundwork.listening import Listener
from gateway.groundwork.loopback import is_loopback
from gateway.groundwork.open_files import share_of_files
from gateway.groundwork.part import Figure, PartKind, counter, counters, figures_of, gauge, shed
from gateway.web import metrics
from gateway.web.connection import HttpConnection, bound_buffers, problem_response
from gateway.web.event_log import EventLog, weight_of
from gateway.web.event_stream import EventStreams
from gateway.web.guard import SECURITY_HEADERS, Guard
from gateway.web.handlers import Handlers
from gateway.web.heard_memory import HeardMemory
from gateway.web.options import SHARE_OF_FILES, WebOptions
from gateway.web.past import PastHandlers
from gateway.web.places import Places
from gateway.web.problem import ProblemError
from gateway.web.small_screens import SmallScreens
from gateway.web.sources import WebSources
from gateway.web.turns import Turns

SHUTDOWN_SECONDS = 0.5
"""How long requests that are being answered at a stop may take to end, before they are cut off."""

UNENCRYPTED = "the web is not encrypted: put a proxy with TLS before it where others share the network"

_DETAILS = {
    HTTPStatus.NOT_FOUND: "there is nothing by that name: /openapi.json lists what there is",
    HTTPStatus.METHOD_NOT_ALLOWED: "this can only be read",
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE: "that is more than belongs there",
}

_log = structlog.get_logger("web")


class WebServer(ListeningSink):
    """The gateway's web. It answers for itself: see `part.Answers`."""

    def __init__(
        self,
        options: WebOptions,
        sources: WebSources,
        now: Callable[[], Moment],
        run: str,
        *,
        busy: Callable[[], bool] = lambda: False,
    ) -> None:
        """`now` is the clock of the run, `run` its identity.

        `busy` says whether frames wait to be judged: then less is written to event streams.
        """
        time_ms, retry_seconds = lambda: now().time_ms, options.pace.retry
        listener = Listener("the web", options.host, options.port, time_ms, retry_seconds=retry_seconds)
        super().__init__(PartKind.WEB, listener)
        limits = options.limits
        self._options = options
        self._sources = sources
        self._started_ms = now().time_ms - now().elapsed_ms
        self._guard = Guard(options, time_ms)
        self._log = EventLog(run, limit=limits.events, limit_octets=limits.memory_octets)
        self._memory = HeardMemory(limit=limits.heard, limit_octets=limits.memory_octets)
        most = share_of_files(SHARE_OF_FILES, limits.connections)
        self._places = Places[HttpConnection](most, math.ceil(most * limits.share_of_an_address))
        room = most - min(limits.kept_for_requests, most // 2)
        self._streams = EventStreams(self._log, limits, options.pace, room=room, busy=busy)
        self._turns = Turns()
        self._decided = Counter[str]()
        self._handlers = Handlers(
            run,
            options,
            sources,
            self._guard,
            self._log,
            self._memory,
            self._streams,
            self._turns,
            self._run_figures,
            PastHandlers(sources, self._memory, now),
            self._decided,
        )
        self._small_screens = SmallScreens(options.callsign, sources, self._memory, time_ms)

    def offer(self, frames: Sequence[HeardPayload]) -> None:
        """Take frames."""
        for payload in frames:
            weight = weight_of(payload)
            self._memory.heard(payload, weight)
            self._log.heard(payload, weight)
            rule = payload.judged.verdict.rule
            if rule is not None:
                self._decided[rule] += 1
        self._streams.wake()

    def recollect(self, frames: Sequence[HeardPayload]) -> None:
        """These frames were heard last before a restart: whoever looks back sees them."""
        for payload in frames:
            self._memory.heard(payload, weight_of(payload))

    def offer_forwarded(self, frames: Sequence[HeardPayload], sent_at_ms: int) -> None:
        """Take frames whose lines were sent."""
        for payload in frames:
            self._log.forwarded(payload, sent_at_ms)
        self._streams.wake()

    def offer_health(self, health: PlainObject) -> None:
        """Take a health object."""
        self._log.health(health)
        self._streams.wake()

    def offer_alert(self, alert: PlainObject) -> None:
        """Take an alert object."""
        self._log.alert(alert)
        self._streams.wake()

    def figures(self) -> Sequence[Figure]:
        """All that it counts."""
        tally = self._streams.tally
        return [
            *shed({"events": tally.missed}),
            gauge("event_streams", len(self._streams), "Open event streams."),
            *figures_of(tally),
            gauge("http_connections", len(self._places), "Open HTTP connections."),
            counter("http_turned_away", self._places.turned_away, "Connections ended, so that others have room."),
            *counters("http_refused", "why", self._guard.refused, "Requests refused, by why."),
            counter("web_failed", self._log.failed + self._turns.failed, "Objects that could not be encoded: a fault."),
        ]

    async def run(self) -> None:
        """Listen and answer, until cancelled or drained. A port that is taken is tried again and again."""
        self._ended.clear()
        runner = web.AppRunner(self._application(), handler_cancellation=True, shutdown_timeout=SHUTDOWN_SECONDS)
        await runner.setup()
        prepare = partial(bound_buffers, limits=self._options.limits, pace=self._options.pace)
        try:
            assert runner.server is not None  # noqa: S101 - `setup` has made it
            connect = partial(HttpConnection, runner.server, self._places, self._options.pace)
            secure = None if self._options.certificate is None else self._options.context
            async with self._listener.listening(connect, self._leaving, prepare=prepare, secure=secure) as listens:
                if listens:
                    if secure is None and not is_loopback(self._options.host):
                        _log.warning(UNENCRYPTED)
                    async with kept_tasks() as tasks:
                        tasks.keep(self._streams.run(), "web: streams")
                        await self._leaving.wait()
        finally:
            await self._streams.finish()
            await runner.cleanup()
            self._ended.set()

    def _application(self) -> web.Application:
        application = web.Application(middlewares=[self._answer], client_max_size=self._options.limits.form_octets)
        application.add_routes([*self._handlers.routes(), *self._small_screens.routes()])
        application.on_response_prepare.append(_secure)
        return application

    @web.middleware
    async def _answer(
        self, request: web.Request, handler: Callable[[web.Request], Awaitable[web.StreamResponse]]
    ) -> web.StreamResponse:
        """Every request passes here: the guard first, and whatever goes wrong becomes a problem object."""
        try:
            self._guard.check(request)
            if isinstance(request.protocol, HttpConnection):
                request.protocol.has_asked()
            if request.path == "/events":
                return await handler(request)
            async with asyncio.timeout(self._options.pace.answer):
                return await handler(request)
        except ProblemError as problem:
            return problem_response(problem)
        except web.HTTPException as error:
            headers = {name: value for name, value in error.headers.items() if name == hdrs.ALLOW}
            status = HTTPStatus(error.status)
            detail = _DETAILS.get(status, "the request cannot be answered")
            return problem_response(ProblemError(status, detail, headers=headers))
        except ConnectionError:
            raise
        except TimeoutError:
            raise ConnectionResetError("the client did not read its answer") from None
        except Exception as error:  # noqa: BLE001 - a fault in one answer must not end the rest: it is logged
            _log.error("a request could not be answered", path=request.path, error=type(error).__name__)
            return problem_response(
                ProblemError(HTTPStatus.INTERNAL_SERVER_ERROR, "a fault of the gateway: see its log")
            )

    def _run_figures(self) -> Iterable[Figure]:
        stations = sum(1 for _ in self._sources.stations())
        return metrics.of_run(self._started_ms, self._memory.last_heard_ms, stations)


async def _secure(_request: web.Request, response: web.StreamResponse) -> None:
    """What stands on every answer."""
    response.headers.update(SECURITY_HEADERS)
