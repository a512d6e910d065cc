"""The connections that requests come over: bounded in number, in what they may send and in what they leave behind."""

import asyncio
import socket
from http import HTTPStatus

import structlog
from aiohttp import web

from gateway.web.guard import SECURITY_HEADERS
from gateway.web.options import WebLimits, WebPace
from gateway.web.places import Places  # noqa: TC001 - type checkers want it, and it costs nothing
from gateway.web.problem import CONTENT_TYPE, ProblemError

LINE_OCTETS = 4096
HEADERS = 64
HEADER_OCTETS = 4096
LINGER_SECONDS = 1.0
"""How long the rest of a body is read that nobody asked for, so that the answer can be."""

_log = structlog.get_logger("web")


class HttpConnection(web.RequestHandler):
    """One connection, which holds one of the places, and whose broken requests are answered like all that are wrong."""

    __slots__ = ("_places",)

    def __init__(self, server: web.Server, places: "Places[HttpConnection]", pace: WebPace) -> None:
        super().__init__(
            server,
            loop=asyncio.get_running_loop(),
            access_log=None,  # type: ignore[arg-type] # the library's own runner passes it, too
            keepalive_timeout=pace.idle,
            max_line_size=LINE_OCTETS,
            max_headers=HEADERS,
            max_field_size=HEADER_OCTETS,
            lingering_time=LINGER_SECONDS,
        )
        self._places = places

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take a place; who has to leave for it is cut off."""
        super().connection_made(transport)
        peer = transport.get_extra_info("peername")
        leaving = self._places.take(self, str(peer[0]) if peer else "")
        if leaving is not None and leaving.transport is not None:
            leaving.transport.abort()

    def connection_lost(self, exc: BaseException | None) -> None:
        """Give the place back."""
        self._places.leave(self)
        super().connection_lost(exc)

    def has_asked(self) -> None:
        """A whole request came over it."""
        self._places.ask(self)

    def handle_error(
        self,
        request: web.BaseRequest,
        status: int = 500,
        exc: BaseException | None = None,
        message: str | None = None,  # noqa: ARG002 - it quotes what was sent
    ) -> web.StreamResponse:
        """What is answered to a request that could not be read; the library's own answer tells its version."""
        if isinstance(exc, ConnectionError) or request.writer.output_size > 0:
            raise ConnectionError("the client is gone, or an answer was begun already")
        if status >= HTTPStatus.INTERNAL_SERVER_ERROR:
            _log.error("a request could not be answered", error=type(exc).__name__)
        response = problem_response(ProblemError(HTTPStatus(status), "the request could not be read"))
        response.headers.update(SECURITY_HEADERS)
        response.force_close()
        return response

    def log_exception(self, *args: object, **details: object) -> None:
        """A fault while an answer was written; a body that cannot be read is the client's."""
        if isinstance(details.get("exc_info"), web.RequestPayloadError):
            return
        _log.error("a request could not be answered", error=type(details.get("exc_info")).__name__, what=str(args[:1]))


def problem_response(problem: ProblemError) -> web.Response:
    """A problem as an answer."""
    return web.Response(
        status=problem.status, body=problem.encoded(), content_type=CONTENT_TYPE, headers=problem.headers
    )


def bound_buffers(listening: socket.socket, limits: WebLimits, pace: WebPace) -> None:
    """Bounds for every connection that comes in by this socket: they take them over from it.

    A client that acknowledges nothing, or leaves no room for more, is cut off by the kernel where it can (RFC 5482).
    """
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, limits.kernel_octets)
    user_timeout = getattr(socket, "TCP_USER_TIMEOUT", None)
    if user_timeout is not None:
        listening.setsockopt(socket.IPPROTO_TCP, user_timeout, int(pace.answer * 1000))
