"""What a query says: each of its words once, and within its bounds. All of it raises `ProblemError`."""

import re
from collections.abc import Sequence
from http import HTTPStatus
from typing import TypeVar

from aiohttp import web

from gateway.web.problem import ProblemError

_NUMBER = re.compile(r"[0-9]{1,16}")
_T = TypeVar("_T", bound=str)


def one_of(request: web.Request, name: str) -> str | None:
    """What it says of a word; None where it does not."""
    written = request.query.getall(name, [])
    if len(written) > 1:
        raise ProblemError(HTTPStatus.BAD_REQUEST, f"{name}: this belongs there once")
    return written[0] if written else None


def number(request: web.Request, name: str, least: int, most: int) -> int | None:
    """A whole number from `least` to `most`; None where it is not there."""
    written = one_of(request, name)
    if written is not None and not (_NUMBER.fullmatch(written) and least <= int(written) <= most):
        raise ProblemError(HTTPStatus.BAD_REQUEST, f"{name}: a whole number from {least} to {most} belongs there")
    return None if written is None else int(written)


def choice(request: web.Request, name: str, choices: Sequence[_T]) -> _T | None:
    """One of the choices; None where it is not there."""
    written = one_of(request, name)
    chosen = next((each for each in choices if each == written), None)
    if written is not None and chosen is None:
        raise ProblemError(HTTPStatus.BAD_REQUEST, f"{name}: one of {', '.join(choices)} belongs there")
    return chosen
