"""Telemetry: measured values, and the messages in which a station says what they mean (APRS101 chapter 13).

Remembering what a station said, and scaling by it, is not done here.
"""

import re

from gateway.reports.measured import Definition, Telemetry
from gateway.reports.report import Report, TelemetryReport, Unreadable
from gateway.reports.text import clean

_SEQUENCE = re.compile(rb"T#(?:MIC,?|([0-9]{1,5}),)")
_NUMBER = rb"[-+]?(?:[0-9]{1,9}(?:\.[0-9]{0,9})?|\.[0-9]{1,9})"
_VALUE = re.compile(_NUMBER)
_COEFFICIENT = re.compile(_NUMBER + rb"(?:[Ee][-+]?[0-9]{1,2})?")
"""At most 10 to the 108th: times the square of a value, below 10 to the 18th, that is far from infinite."""
_BITS = re.compile(rb"[01]{1,8}")
_VALUES = 5
_CHANNELS = 13

_COEFFICIENTS = 3


def read(_destination: str, information: bytes) -> Report:
    """`T#005,199,000,255,073,123,01101001`, then a comment. Raises `Unreadable`.

    `MIC` may stand for the sequence number. The standard's values are 000 to 255; decimals and signs are read, too, and
    values left out or left away (common practice).
    """
    match = _SEQUENCE.match(information)
    if match is None:
        raise Unreadable("telemetry begins with T#, a sequence number and a comma")
    rest = information[match.end() :]
    values: list[int | float | None] = []
    bits = None
    while rest and len(values) < _VALUES:
        field, comma, rest = rest.partition(b",")
        values.append(_value(field))
        if not comma:
            break
    else:
        if bits_match := _BITS.match(rest):
            bits, rest = bits_match[0].decode(), rest[bits_match.end() :]
    if all(value is None for value in values):
        raise Unreadable("the telemetry holds no value")
    sequence = int(match[1]) if match[1] else None
    return TelemetryReport(Telemetry(sequence, tuple(values), bits), clean(rest.removeprefix(b",")))


def _value(field: bytes) -> int | float | None:
    field = field.strip()
    if not field:
        return None
    if _VALUE.fullmatch(field) is None:
        raise Unreadable("a value of the telemetry is no number")
    return float(field) if b"." in field else int(field)


def read_definition(text: bytes) -> Definition | None:
    """What a message's text says of its sender's telemetry; None where it says nothing of it."""
    keyword, dot, rest = text.partition(b".")
    if not dot:
        return None
    if keyword == b"PARM":
        return Definition(telemetry_names=_names(rest))
    if keyword == b"UNIT":
        return Definition(telemetry_units=_names(rest))
    if keyword == b"EQNS":
        coefficients = _coefficients(rest)
        return Definition(telemetry_coefficients=coefficients) if coefficients else None
    if keyword == b"BITS":
        return _senses(rest)
    return None


def _names(rest: bytes) -> tuple[str, ...]:
    """Up to thirteen: of five values and eight bits. Empty ones keep their place."""
    return tuple(clean(name) for name in rest.split(b",")[:_CHANNELS])


def _coefficients(rest: bytes) -> tuple[tuple[float, float, float], ...]:
    """Three for each value. Where a number is missing or is none, its value and those behind it go without."""
    numbers: list[float] = []
    for field in rest.split(b",")[: _VALUES * _COEFFICIENTS]:
        if _COEFFICIENT.fullmatch(field.strip()) is None:
            break
        numbers.append(float(field))
    return tuple(
        (numbers[place], numbers[place + 1], numbers[place + 2])
        for place in range(0, len(numbers) - _COEFFICIENTS + 1, _COEFFICIENTS)
    )


def _senses(rest: bytes) -> Definition | None:
    match = _BITS.match(rest)
    if match is None:
        return None
    title = clean(rest[match.end() :].removeprefix(b","))
    return Definition(telemetry_senses=match[0].decode(), telemetry_title=title or None)
