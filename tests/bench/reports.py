"""How long a report of each kind takes to read, beside one `json.dumps` of what is published of it."""

import json
import time
from collections.abc import Callable, Iterator
from functools import partial

from gateway.reports import describe, is_emergency, read, to_object
from tests.bench.figures import Effort, Figure, in_turn, microseconds, ratio

CALLS = 10_000

PLAIN = b"!5836.00N/00355.00W>088/036/A=000020 Wrackholm Bay"

SAMPLES: dict[str, tuple[str, bytes]] = {
    "position, plain": ("APRS", PLAIN),
    "position, plain, bare": ("APRS", b"!5836.00N/00355.00W>"),
    "position, blurred": ("APRS", b"!5836.  N/00355.  W>Wrackholm Bay"),
    "position, refined, telemetry": ("APRS", b"!5836.00N/00355.00W>088/036|!!!!!!|!w:X!Wrackholm Bay"),
    "position, compressed": ("APRS", b"=/4Sd6O=xF>7P[Wrackholm Bay"),
    "position, Mic-E": ("U8SV0T", b'`(_fn"Oj/`"4T}Wrackholm Bay_%'),
    "position, NMEA": ("GPSMV", b"$GPRMC,063909,A,5836.0000,N,00355.0000,W,43.022,89.3,060626,,,A*6D"),
    "weather": ("APRS", b"!5836.00N/00355.00W_220/004g005t052r000p000P000h50b10138"),
    "object": ("APRS", b";MARK 1   *092345z5836.00N\\00355.00WN088/036"),
    "item": ("APRS", b")MARK 1!5836.00N\\00355.00WN"),
    "message": ("APRS", b":QA1BCD-9 :Start at noon{003"),
    "bulletin": ("APRS", b":BLN1RACE :Start at noon"),
    "telemetry": ("APRS", b"T#005,199,000,255,073,123,01101001"),
    "status": ("APRS", b">092345zCommittee boat on station"),
    "query": ("APRS", b":QA1BCD-9 :?APRSP"),
    "capabilities": ("APRS", b"<IGATE,MSG_CNT=43,LOC_CNT=14"),
    "user-defined": ("APRS", b"{Q1qwerty"),
    "unknown": ("APRS", b"Wrackholm Bay Regatta, no report"),
}


def timed(call: Callable[[], object], calls: int) -> float:
    """Seconds of the processor that one call takes, on the average of so many."""
    began = time.thread_time()
    for _ in range(calls):
        call()
    return (time.thread_time() - began) / calls


def measure(effort: Effort) -> Iterator[Figure]:
    """A figure for each kind, and for what else is asked of a plain position."""
    calls = effort.of(CALLS)
    for name, (destination, information) in SAMPLES.items():
        report = read(destination, information)
        if report.kind.value != name.partition(",")[0]:
            raise AssertionError(f"the sample of {name} is read as {report.kind.value}")
        asked: dict[str, Callable[[], object]] = {name: partial(read, destination, information)}
        if information is PLAIN:
            asked["is it a call for help?"] = partial(is_emergency, destination, information)
            asked["its published form"] = partial(to_object, report)
            asked["its words"] = partial(describe, report)
        sides: dict[str, Callable[[], object]] = {**asked, "dumps": partial(json.dumps, to_object(report))}
        seconds = in_turn(effort.turns, {what: partial(timed, call, calls) for what, call in sides.items()})
        for what in asked:
            yield ratio(what, seconds[what], seconds["dumps"], microseconds, "json.dumps")
