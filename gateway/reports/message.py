"""Messages, their acknowledgements, bulletins, and what else travels as a message (APRS101 chapters 13 to 15)."""

import re

from gateway.reports.query import read_directed
from gateway.reports.report import BulletinReport, BulletinType, MessageReport, Report, Unreadable
from gateway.reports.telemetry import read_definition
from gateway.reports.text import clean

_MESSAGE = re.compile(rb":(.{9}):", re.DOTALL)
_NUMBER = re.compile(rb"\{([0-9A-Za-z]{1,5})(?:\}([0-9A-Za-z]{0,5}))?\s*$")
_ANSWER = re.compile(rb"(ack|rej)(?![a-z]{2,5}\s*$)([0-9A-Za-z]{1,5})(?:\}([0-9A-Za-z]{0,5}))?\s*$")
"""Two small letters or more, and no brace, are no number but the end of a word: `acked`, `reject`, `rejoin` (ours)."""
_BULLETIN = re.compile(r"BLN([0-9A-Z])(.*)")
_WEATHER_SERVICE = re.compile(r"NWS[-_]|SKY[-_]?|BOM[-_]")


def read(_destination: str, information: bytes) -> Report:
    """`:`, an addressee of nine characters padded with spaces, `:`, and the text. Raises `Unreadable`."""
    match = _MESSAGE.match(information)
    if match is None:
        raise Unreadable("a message has an addressee of nine characters between colons")
    addressee = clean(match[1])
    if not addressee:
        raise Unreadable("the message is addressed to nobody")
    octets = information[match.end() :]
    if bulletin := _bulletin(addressee, octets):
        return bulletin
    if answer := _ANSWER.match(octets):
        return _answer(addressee, octets, answer)
    if query := read_directed(addressee, octets):
        return query
    return _message(addressee, octets)


def _message(addressee: str, octets: bytes) -> MessageReport:
    """Text, perhaps with a number to be acknowledged (`{003`).

    A reply-ack (APRS11) numbers with two characters and a brace, and behind that acknowledges what it answers:
    `{MM}AA`.
    """
    octets, number, acknowledged = _numbered(octets)
    return MessageReport(addressee, clean(octets), number, acknowledged, None, read_definition(octets))


def _numbered(octets: bytes) -> tuple[bytes, str | None, str | None]:
    """The text without its number, the number, and the number that it acknowledges."""
    match = _NUMBER.search(octets)
    if match is None:
        return octets, None, None
    acknowledged = match[2].decode() if match[2] else None
    return octets[: match.start()], match[1].decode(), acknowledged


def _answer(addressee: str, octets: bytes, answer: re.Match[bytes]) -> MessageReport:
    """`ack003` or `rej003`, and nothing else."""
    text, number = clean(octets), answer[2].decode()
    if answer[1] == b"ack":
        return MessageReport(addressee, text, acknowledges=number)
    return MessageReport(addressee, text, rejects=number)


def _bulletin(addressee: str, octets: bytes) -> BulletinReport | None:
    """A bulletin, if the addressee says so.

    `BLN` with a digit, with a letter (an announcement, which stays for days) or with a digit and a group's name; or a
    weather service's own (the standard shows `NWS-`; the others from memory).
    """
    if match := _BULLETIN.fullmatch(addressee):
        line, group = match[1], match[2] or None
        kind = BulletinType.GENERAL if line.isdigit() else BulletinType.ANNOUNCEMENT
        if group is not None and line.isdigit():
            kind = BulletinType.GROUP
    elif _WEATHER_SERVICE.match(addressee):
        line, group, kind = None, None, BulletinType.WEATHER_SERVICE
    else:
        return None
    octets, number, _ = _numbered(octets)
    return BulletinReport(addressee, kind, line, group, clean(octets), number)
