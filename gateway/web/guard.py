"""Who may ask for what: every request passes here before anything else is done about it.

Against pages of other sites that the operator's browser has open: the name that the request was sent to must be ours
(a name of theirs that is made to resolve to this computer, "DNS rebinding", is not); a browser that says that another
site asks is refused; no answer carries leave for another origin to read it. Against everyone else: the token, where
one is set, in the `Authorization` header, or for the page a session in its cookie. A token in an address is refused,
for addresses end up in logs and histories.
"""

import math
from collections import Counter
from collections.abc import Callable
from enum import StrEnum
from http import HTTPStatus
from ipaddress import IPv4Address, IPv6Address
from typing import Any
from urllib.parse import urlsplit

import structlog
from aiohttp import hdrs, web

from gateway.groundwork.loopback import is_loopback, plain_address
from gateway.web import session
from gateway.web.guesses import Guesses
from gateway.web.options import WebOptions
from gateway.web.problem import ProblemError

OPEN_PATHS = frozenset({"/", "/session", "/sign-out", "/page/page.css", "/page/icon.svg", "/healthz", "/readyz"})
"""They need no token: the page asks for it itself, and the rest tell nothing of what is heard."""

CHALLENGE = {"WWW-Authenticate": 'Bearer realm="stile"'}
"""Goes with every 401 (RFC 9110 section 11.6.1, RFC 6750 section 3)."""

SECURITY_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none';"
        " require-trusted-types-for 'script'; trusted-types 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
    "Server": "stile",
}
"""On every answer. The name of the server stands in for the HTTP library's, which would tell its version."""

_log = structlog.get_logger("web")

_FOREIGN_SITES = frozenset({"cross-site", "same-site"})
"""What a browser says of a request that a page of another origin makes (Fetch Metadata)."""


class Refusal(StrEnum):
    """Why requests are refused."""

    HOST = "host"
    SITE = "site"
    ENCODING = "encoding"
    TOKEN = "token"  # noqa: S105 - the name of a reason, no secret
    TOO_MANY_TOKENS = "too-many-tokens"
    TOKEN_IN_ADDRESS = "token-in-address"  # noqa: S105 - likewise


class Guard:
    """Refuses what must not be answered, and counts it."""

    def __init__(self, options: WebOptions, now_ms: Callable[[], int]) -> None:
        """`now_ms` gives Unix milliseconds."""
        self.refused = Counter(dict.fromkeys(Refusal, 0))
        self._token = options.token
        self._names = frozenset(name.lower().rstrip(".") for name in (options.host, *options.hosts))
        self._now_ms = now_ms
        self._guesses = Guesses()

    def check(self, request: web.Request) -> None:
        """Raises `ProblemError` where the request must not be answered."""
        self._check_host(request)
        self._check_site(request)
        if request.headers.get(hdrs.CONTENT_ENCODING, "identity").lower() != "identity":
            detail = "send a body as it is, without a Content-Encoding"
            raise self._refusal(Refusal.ENCODING, HTTPStatus.BAD_REQUEST, detail)
        if not {"token", "access_token"}.isdisjoint(request.query):
            detail = "a token does not belong in an address: send it in the header `Authorization: Bearer …`"
            raise self._refusal(Refusal.TOKEN_IN_ADDRESS, HTTPStatus.BAD_REQUEST, detail)
        if request.path not in OPEN_PATHS and not self.is_known(request):
            detail = "send the token of this gateway in the header `Authorization: Bearer …`"
            raise self._refusal(Refusal.TOKEN, HTTPStatus.UNAUTHORIZED, detail, **CHALLENGE)

    def is_known(self, request: web.Request) -> bool:
        """Whether whoever asks may read: there is no token, or they have it, or a session that was opened with it."""
        if self._token is None:
            return True
        scheme, _, shown = request.headers.get(hdrs.AUTHORIZATION, "").partition(" ")
        if scheme.lower() == "bearer":
            return self._is_token(request, shown.strip())
        shown = request.cookies.get(session.SECURE_COOKIE) or request.cookies.get(session.COOKIE, "")
        return session.holds(self._token, shown, self._now_ms())

    def open_session(self, request: web.Request, shown: str) -> str | None:
        """A session for who shows the token; None where it is not that. Raises `ProblemError`, as `check` does."""
        if self._token is not None and self._is_token(request, shown):
            return session.issue(self._token, self._now_ms())
        self.refused[Refusal.TOKEN] += 1
        return None

    def _is_token(self, request: web.Request, shown: str) -> bool:
        """Raises `ProblemError` where the address has shown too many wrong ones to be asked now."""
        now_ms, address = self._now_ms(), request.remote or ""
        pause_ms = self._guesses.pause_ms(address, now_ms)
        if pause_ms:
            detail = "too many wrong tokens came from your address: wait, then try again"
            seconds = str(math.ceil(pause_ms / 1000))
            raise self._refusal(
                Refusal.TOO_MANY_TOKENS, HTTPStatus.TOO_MANY_REQUESTS, detail, **{hdrs.RETRY_AFTER: seconds}
            )
        if self._token is not None and session.is_token(self._token, shown):
            return True
        count = self._guesses.wrong(address, now_ms)
        if count:
            _log.warning("wrong tokens were shown", count=count, address=address)
        return False

    def _check_host(self, request: web.Request) -> None:
        hosts = request.headers.getall(hdrs.HOST, [])
        # A request line may hold a whole address, whose name then counts (RFC 9112 section 3.2.2): `host` is that one.
        names = [host_name(host) for host in (*hosts, request.host)]
        if len(hosts) != 1 or not all(name is not None and self._is_ours(name, request) for name in names):
            detail = "this gateway is not known by that name: use its address, or add the name to `hosts` under `web:`"
            raise self._refusal(Refusal.HOST, HTTPStatus.MISDIRECTED_REQUEST, detail)

    def _is_ours(self, name: str, request: web.Request) -> bool:
        if is_loopback(name) or name in self._names:
            return True
        address = plain_address(name)
        return address is not None and address == _local_address(request)

    def _check_site(self, request: web.Request) -> None:
        origin = request.headers.get(hdrs.ORIGIN)
        if origin is not None and not _is_same_place(origin, request.host):
            raise self._refusal(Refusal.SITE, HTTPStatus.FORBIDDEN, "pages of other origins may not ask here")
        if request.headers.get("Sec-Fetch-Site") not in _FOREIGN_SITES:
            return
        follows_link = (
            request.method == hdrs.METH_GET
            and request.headers.get("Sec-Fetch-Mode") == "navigate"
            and request.headers.get("Sec-Fetch-Dest") == "document"
        )
        if not follows_link:
            detail = "pages of other sites may not ask here"
            raise self._refusal(Refusal.SITE, HTTPStatus.FORBIDDEN, detail)

    def _refusal(self, refusal: Refusal, status: HTTPStatus, detail: str, **headers: str) -> ProblemError:
        self.refused[refusal] += 1
        return ProblemError(status, detail, headers=headers)


def host_name(host: str) -> str | None:
    """The name or address in a `Host` header, without the port and in lower case; None where there is none."""
    try:
        parts = urlsplit(f"//{host}")
        parts.port  # noqa: B018 - raises where it is none
    except ValueError:
        return None
    if parts.path or parts.query or parts.fragment or "@" in parts.netloc:
        return None
    return parts.hostname.lower().rstrip(".") if parts.hostname else None


def _is_same_place(origin: str, host: str) -> bool:
    """Whether a page's origin (RFC 6454) is the place that the request was sent to; `null` is none."""
    scheme, separator, place = origin.partition("://")
    if not separator or scheme not in {"http", "https"}:
        return False
    usual = ":443" if scheme == "https" else ":80"
    return place.lower().removesuffix(usual) == host.lower().removesuffix(usual)


def _local_address(request: web.Request) -> IPv4Address | IPv6Address | None:
    """The address of this computer that the request came in by: it may listen on all that it has."""
    transport = request.transport
    name: Any = None if transport is None else transport.get_extra_info("sockname")
    return plain_address(name[0]) if isinstance(name, tuple) else None
