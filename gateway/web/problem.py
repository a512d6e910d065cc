"""What went wrong with a request, as a problem object (RFC 9457)."""

from collections.abc import Mapping
from http import HTTPStatus

from gateway.feed.heard_object import encode
from gateway.frames.plain import PlainObject

CONTENT_TYPE = "application/problem+json"


class ProblemError(Exception):
    """A request cannot be answered; the detail tells its sender what to do about it."""

    def __init__(
        self,
        status: HTTPStatus,
        detail: str,
        *,
        headers: Mapping[str, str] | None = None,
        more: PlainObject | None = None,
    ) -> None:
        """`more` are members beside the standard's own."""
        super().__init__(detail)
        self.status = status
        self.headers = dict(headers or {})
        self._more = more or {}

    def to_object(self) -> PlainObject:
        """The plain form. There is no type beyond what the status says (RFC 9457 section 4.2.1)."""
        return {"title": self.status.phrase, "status": self.status.value, "detail": str(self), **self._more}

    def encoded(self) -> bytes:
        """As JSON."""
        return encode(self.to_object())
