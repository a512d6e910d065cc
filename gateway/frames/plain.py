"""The plain form of what was heard, what JSON can hold: the same on the bus, in captures and in a replay's input."""

import base64
import binascii
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from gateway.frames.frame import NO_LAYER_3, UI, Damaged, Frame
from gateway.frames.header import REMEMBERED_HEADERS, Header, Repeater, is_plain_text, without_ssid_0
from gateway.frames.heard import Heard, Moment, Place
from gateway.frames.kiss import MAXIMUM_PORT

PlainObject = dict[str, Any]

HIGHEST_NUMBER = 2**53 - 1
"""The highest whole number that every reader of JSON holds exactly (RFC 8259 section 6)."""

HIGHEST_LATITUDE = 90
HIGHEST_LONGITUDE = 180
_HIGHEST_OCTET = 0xFF
_NO_PATH = "path: a list of callsigns belongs here"


class PlainFormError(ValueError):
    """An object is no heard object; the message names the field and what is wrong with it."""


def rfc3339(time_ms: int) -> str:
    """Unix milliseconds as RFC 3339 in UTC, to the millisecond."""
    seconds, milliseconds = divmod(time_ms, 1000)
    return f"{_whole_second(seconds)}.{milliseconds:03d}Z"


@lru_cache(maxsize=16)
def _whole_second(seconds: int) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(seconds))


def from_rfc3339(text: str) -> int:
    """Unix milliseconds from RFC 3339; without an offset it is UTC. Raises `ValueError`."""
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return round(moment.timestamp() * 1000)


def to_object(heard: Heard, innermost: Frame | None) -> PlainObject:
    """The plain form of `heard`, whose frame unwrapped is `innermost`: None where the frame is damaged.

    The fields of the frame are those of the innermost one; `outer` holds the frame as heard where they differ.
    """
    plain: PlainObject = {
        "run": heard.run,
        "sequence": heard.sequence,
        "elapsed_ms": heard.moment.elapsed_ms,
        "time": rfc3339(heard.moment.time_ms),
        "receiver": heard.receiver,
    }
    if heard.port:
        plain["port"] = heard.port
    if heard.place is not None:
        plain["place"] = {"latitude": heard.place.latitude, "longitude": heard.place.longitude}
    if isinstance(heard.frame, Damaged):
        plain["damage"] = heard.frame.because
        plain["octets_base64"] = base64.b64encode(heard.frame.octets).decode("ascii")
        return plain
    plain.update(_frame_to_object(innermost or heard.frame))
    if innermost is not None and innermost is not heard.frame:
        plain["outer"] = _frame_to_object(heard.frame)
    return plain


def from_object(plain: Mapping[str, Any]) -> Heard:
    """Read what `to_object` made, whatever else stands in it. Raises `PlainFormError`."""
    try:
        return Heard(
            run=_text(plain, "run"),
            sequence=_number(plain, "sequence"),
            moment=Moment(_number(plain, "elapsed_ms"), from_rfc3339(_text(plain, "time"))),
            receiver=_text(plain, "receiver"),
            port=_number(plain, "port", MAXIMUM_PORT) if "port" in plain else 0,
            frame=_damaged_from(plain) if "damage" in plain else _frame_from(plain.get("outer", plain)),
            place=_place_from(plain["place"]) if "place" in plain else None,
        )
    except PlainFormError:
        raise
    except (ValueError, OverflowError, AttributeError) as error:
        raise PlainFormError(f"not a heard object: {error}") from None


def header_to_object(header: Header) -> PlainObject:
    """The plain form of a header: fields of the frame that it heads."""
    return {
        "source": header.source,
        "destination": header.destination,
        "path": [str(entry) for entry in header.path],
    }


def _frame_to_object(frame: Frame) -> PlainObject:
    plain = header_to_object(frame.header)
    if frame.control != UI:
        plain["control"] = frame.control
    if frame.pid != NO_LAYER_3:
        plain["pid"] = frame.pid
    try:
        plain["information"] = frame.information.decode("utf-8")
    except UnicodeDecodeError:
        plain["information"] = frame.information.decode("utf-8", "replace")
        plain["information_base64"] = base64.b64encode(frame.information).decode("ascii")
    return plain


def _frame_from(plain: object) -> Frame:
    if not isinstance(plain, Mapping):
        raise PlainFormError("outer: a frame belongs here")
    path = plain.get("path", [])
    if not isinstance(path, list):
        raise PlainFormError(_NO_PATH)
    try:
        header = _header(_text(plain, "source"), _text(plain, "destination"), tuple(path))
    except TypeError:  # lists and objects are no keys of what is remembered
        raise PlainFormError(_NO_PATH) from None
    information = _information_from(plain)
    if "control" not in plain and "pid" not in plain:
        return Frame(header, information)
    pid = plain.get("pid", NO_LAYER_3)
    return Frame(
        header,
        information,
        _number(plain, "control", _HIGHEST_OCTET) if "control" in plain else UI,
        pid if pid is None else _number({"pid": pid}, "pid", _HIGHEST_OCTET),
    )


@lru_cache(maxsize=REMEMBERED_HEADERS)
def _header(source: str, destination: str, path: tuple[str, ...]) -> Header:
    if not all(isinstance(entry, str) for entry in path):
        raise PlainFormError(_NO_PATH)
    names = [source, destination, *(entry.removesuffix("*") for entry in path)]
    if not all(map(is_plain_text, names)):
        raise PlainFormError("source, destination or path: a callsign holds what no header can")
    names = list(map(without_ssid_0, names))  # as every reader does
    used = (entry.endswith("*") for entry in path)
    return Header(names[0], names[1], tuple(map(Repeater, names[2:], used)))


def _information_from(plain: Mapping[str, Any]) -> bytes:
    if "information_base64" in plain:
        return _base64(plain, "information_base64")
    return _text(plain, "information").encode("utf-8")


def _place_from(plain: object) -> Place:
    match plain:
        case {"latitude": float() | int() as latitude, "longitude": float() | int() as longitude}:
            if abs(latitude) <= HIGHEST_LATITUDE and abs(longitude) <= HIGHEST_LONGITUDE:
                return Place(float(latitude), float(longitude))
    raise PlainFormError("place: latitude and longitude in degrees belong here")


def _damaged_from(plain: Mapping[str, Any]) -> Damaged:
    return Damaged(_text(plain, "damage"), _base64(plain, "octets_base64"))


def _base64(plain: Mapping[str, Any], name: str) -> bytes:
    try:
        return base64.b64decode(_text(plain, name), validate=True)
    except (binascii.Error, ValueError):
        raise PlainFormError(f"{name}: not base64") from None


def _text(plain: Mapping[str, Any], name: str) -> str:
    value = plain.get(name)
    if not isinstance(value, str):
        raise PlainFormError(f"{name}: text belongs here")
    return value


def _number(plain: Mapping[str, Any], name: str, highest: int = HIGHEST_NUMBER) -> int:
    value = plain.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= highest:
        raise PlainFormError(f"{name}: a whole number from 0 to {highest} belongs here")
    return value
