"""Asks a gateway's own web how it fares, and follows its events; where it does not answer, it says so and goes on."""

import asyncio
import errno
import json
import ssl
from collections.abc import AsyncGenerator, Iterator, Mapping
from contextlib import aclosing, contextmanager
from dataclasses import dataclass, field
from http import HTTPStatus
from ipaddress import ip_address
from pathlib import Path
from typing import Any, Self

import aiohttp
from pydantic import SecretStr, ValidationError

from gateway.commands.watching.event_reader import EventReader, EventStreamError
from gateway.commands.watching.published import MODELS, Answering, Event, NoAnswer, Notice, event_of
from gateway.commands.watching.watched import STATIONS
from gateway.glance.shown import AlertShown, HeardShown
from gateway.groundwork.back_off import BackOff, Pauses
from gateway.groundwork.hosts import address_of
from gateway.settings import DocumentError, load_text, read_token

ANSWER_SECONDS = 10.0
SILENCE_SECONDS = 45.0
"""A stream with nothing to say says so every 15 s: three times that, and it is dead."""

PAUSES = Pauses(first=0.5, longest=5.0, steady=10.0)
"""Until the gateway is asked again."""

LARGEST_ANSWER = 4_194_304
LARGEST_LIST = 16_777_216
"""Octets; that of the stations, of which a post may remember some thousands."""

LAST_FRAMES = 10

_START_IT = "is it running? `stile run STATION` starts it"
_REFUSALS = {
    HTTPStatus.UNAUTHORIZED: ("it does not accept the token", "is `token_file` the one that it was started with?"),
    HTTPStatus.MISDIRECTED_REQUEST: ("it is not known by this address", "is `listen` what it was started with?"),
    HTTPStatus.SERVICE_UNAVAILABLE: ("it has no room for one more event stream", "close one of the others"),
}
_FOREIGN = NoAnswer(
    "what answers at its address is no gateway of this kind",
    "is the port under `web:` taken by another program, or was the gateway not restarted after an upgrade?",
)


class UnansweredError(Exception):
    """The gateway did not answer as it should."""

    def __init__(self, trouble: NoAnswer) -> None:
        self.trouble = trouble
        super().__init__(str(trouble))


@dataclass(frozen=True, slots=True)
class Gateway:
    """Where a gateway's web is, and what it asks for."""

    callsign: str
    host: str
    port: int
    token: SecretStr | None = field(default=None, repr=False)
    certificate: Path | None = None
    """The one that it shows, where it speaks TLS."""

    @property
    def address(self) -> str:
        """The root of its web."""
        return f"{'http' if self.certificate is None else 'https'}://{address_of(self.host, self.port)}"

    def context(self) -> ssl.SSLContext | bool:
        """What its TLS is held to: the very certificate of its station file. Raises `UnansweredError`."""
        if self.certificate is None:
            return True
        try:
            context = ssl.create_default_context(cafile=self.certificate)
        except (OSError, ssl.SSLError):
            trouble = NoAnswer(f"{self.certificate} cannot be read as a certificate", "see `stile check`")
            raise UnansweredError(trouble) from None
        context.check_hostname = False  # on loopback it is asked by an address that no certificate names
        context.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN
        return context


def gateway_of(path: Path) -> Gateway:
    """The gateway of a station file; of its secrets, the web's alone is read. Raises `DocumentError`."""
    station = load_text(path)
    document, settings = station.document, station.settings
    web = settings.web
    if web is None:
        raise DocumentError(
            [document.problem((), "this asks the gateway's web, and the file has none: add `web: {}` and restart")]
        )
    try:
        token = None if web.token_file is None else read_token(station.folder, web.token_file)
    except ValueError as error:
        raise DocumentError([document.problem(("web", "token_file"), str(error))]) from None
    certificate = None if web.certificate is None else station.folder / web.certificate
    return Gateway(settings.station.callsign, _reachable(web.listen.host), web.listen.port, token, certificate)


def _reachable(host: str) -> str:
    """What listens on every address of this machine is asked on loopback."""
    try:
        address = ip_address(host)
    except ValueError:
        return host
    if not address.is_unspecified:
        return host
    return "127.0.0.1" if address.version == 4 else "::1"  # noqa: PLR2004 - the version of the protocol


class Client:
    """One gateway's web. `async with` opens and closes it."""

    def __init__(self, gateway: Gateway, *, catch_up: bool) -> None:
        """`catch_up`: follow from the oldest event that the gateway remembers, not from now on."""
        self._catch_up = catch_up
        self._last_event = ""
        headers = {}
        if gateway.token is not None:
            headers["Authorization"] = f"Bearer {gateway.token.get_secret_value()}"
        self._session = aiohttp.ClientSession(
            gateway.address,
            connector=aiohttp.TCPConnector(ssl=gateway.context()),
            headers=headers,
            timeout=aiohttp.ClientTimeout(total=None, sock_connect=ANSWER_SECONDS, sock_read=SILENCE_SECONDS),
        )

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *_: object) -> None:
        await self._session.close()

    async def state(self, frames: int = LAST_FRAMES) -> list[Event]:
        """The last frames, the oldest first, and the health. Raises `UnansweredError`."""
        heard = await self._list("heard", f"/api/heard?limit={frames}")
        with _as_told_by_a_gateway():
            return [*(event_of("heard", frame) for frame in reversed(heard)), await self.health()]

    async def stations(self) -> list[HeardShown]:
        """The last frame of each station, the least recently heard first. Raises `UnansweredError`."""
        features = await self._list("features", "/api/stations", "application/geo+json", LARGEST_LIST)
        with _as_told_by_a_gateway():
            return [HeardShown.model_validate(feature["properties"]) for feature in features[-STATIONS:]]

    async def alerts(self) -> list[AlertShown]:
        """The alerts that hold, those that matter most last. Raises `UnansweredError`."""
        raised = await self._list("alerts", "/api/alerts")
        with _as_told_by_a_gateway():
            return [AlertShown.model_validate(one["alert"]) for one in reversed(raised) if one["holds"]]

    async def health(self) -> Event:
        """How the gateway is now. Raises `UnansweredError`."""
        plain = await self._ask("/api/health")
        with _as_told_by_a_gateway():
            return event_of("health", plain)

    async def follow(self) -> AsyncGenerator[Notice, None]:
        """What the gateway tells, for ever: how it is now, then its events; and when it does not answer, why."""
        loop = asyncio.get_running_loop()
        back_off = BackOff(PAUSES)
        while True:
            began = loop.time()
            try:
                async with aclosing(self._stream()) as stream:
                    async for event in stream:
                        yield event
                trouble = NoAnswer("it ended the connection", _START_IT)
            except UnansweredError as error:
                trouble = error.trouble
            except (aiohttp.ClientError, OSError) as error:
                trouble = _trouble(error)
            pause = back_off.failed(loop.time() - began)
            yield trouble
            await asyncio.sleep(pause)

    async def _stream(self) -> AsyncGenerator[Notice, None]:
        health = await self.health()
        yield health
        last = self._last_event or (f"{health.plain['run']}-0" if self._catch_up else "")
        headers = {"Accept": "text/event-stream", **({"Last-Event-ID": last} if last else {})}
        async with self._session.get("/events", headers=headers, allow_redirects=False) as response:
            _check(response, "text/event-stream")
            yield Answering()
            reader = EventReader()
            async for octets in response.content.iter_any():
                with _as_told_by_a_gateway():
                    sent_events = reader.feed(octets)
                for sent in sent_events:
                    self._last_event = sent.identity
                    if sent.kind in MODELS:
                        with _as_told_by_a_gateway():
                            event = event_of(sent.kind, _object(sent.data))
                        yield event

    async def _list(
        self, name: str, path: str, content_type: str = "application/json", largest: int = LARGEST_ANSWER
    ) -> list[Any]:
        values = (await self._ask(path, content_type, largest)).get(name)
        if not isinstance(values, list):
            raise UnansweredError(_FOREIGN)
        return values

    async def _ask(
        self, path: str, content_type: str = "application/json", largest: int = LARGEST_ANSWER
    ) -> Mapping[str, Any]:
        try:
            async with (
                asyncio.timeout(ANSWER_SECONDS),
                self._session.get(path, allow_redirects=False) as response,
            ):
                _check(response, content_type)
                return _object(await _body(response, largest))
        except (aiohttp.ClientError, OSError) as error:  # TimeoutError is one
            raise UnansweredError(_trouble(error)) from None


async def _body(response: aiohttp.ClientResponse, largest: int) -> bytes:
    body = bytearray()
    async for octets in response.content.iter_any():
        body += octets
        if len(body) > largest:
            raise UnansweredError(_FOREIGN)
    return bytes(body)


def _check(response: aiohttp.ClientResponse, content_type: str) -> None:
    if response.status in _REFUSALS:
        raise UnansweredError(NoAnswer(*_REFUSALS[HTTPStatus(response.status)]))
    if response.status != HTTPStatus.OK or response.content_type != content_type:
        raise UnansweredError(_FOREIGN)


@contextmanager
def _as_told_by_a_gateway() -> Iterator[None]:
    """Raises `UnansweredError` where what came is nothing that a gateway tells."""
    try:
        yield
    except (EventStreamError, ValidationError, LookupError, TypeError):
        raise UnansweredError(_FOREIGN) from None


def _object(text: str | bytes) -> Mapping[str, Any]:
    try:
        plain = json.loads(text)
    except (ValueError, RecursionError):
        plain = None
    if not isinstance(plain, dict):
        raise UnansweredError(_FOREIGN)
    return plain


def _trouble(error: Exception) -> NoAnswer:
    if isinstance(error, TimeoutError):
        return NoAnswer("it says nothing", "is it running well? its log may tell, and `stile check STATION` the rest")
    if isinstance(error, OSError) and error.errno == errno.ECONNREFUSED:
        return NoAnswer("nothing listens at its address", _START_IT)
    return NoAnswer("the connection does not come about, or broke off", _START_IT)
