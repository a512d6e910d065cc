"""How many reports of each kind are read a second, and what a plain position costs beside one `json.dumps` of it.

The two are timed in turns, many times over, so that whatever else the machine does falls on both; the ratio is the
median of the turns'; the target is four at most. Of every frame it is asked whether it calls for help: that is timed,
too.

Run it from the tree: `.venv/bin/python tests/bench/reports.py`.
"""

import argparse
import json
import statistics
import time
from collections.abc import Callable
from functools import partial
from typing import NamedTuple

from gateway.reports import describe, is_emergency, read, to_object

TARGET_RATIO = 4.0

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


class Timing(NamedTuple):
    """Seconds for so many calls, at best."""

    seconds: float
    calls: int

    @property
    def per_second(self) -> float:
        """Calls a second."""
        return self.calls / self.seconds

    @property
    def microseconds(self) -> float:
        """For one call."""
        return self.seconds / self.calls * 1e6


def timed(call: Callable[[], object], calls: int) -> float:
    """Seconds that `calls` of `call` take."""
    began = time.perf_counter()
    for _ in range(calls):
        call()
    return time.perf_counter() - began


def best_of(call: Callable[[], object], calls: int, turns: int) -> Timing:
    """The quickest of some turns."""
    return Timing(min(timed(call, calls) for _ in range(turns)), calls)


def ratio_to_json(information: bytes, calls: int, turns: int) -> float:
    """The median, over the turns, of the time to read `information` over the time to `json.dumps` its object."""
    published = to_object(read("APRS", information))
    ratios = [
        timed(partial(read, "APRS", information), calls) / timed(partial(json.dumps, published), calls)
        for _ in range(turns)
    ]
    return statistics.median(ratios)


def main() -> int:
    """Print the figures; exit status 1 if a plain position costs more than the target."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--calls", type=int, default=10_000, help="calls in a turn")
    parser.add_argument("--turns", type=int, default=9, help="turns of each")
    arguments = parser.parse_args()
    calls, turns = arguments.calls, arguments.turns
    print(f"{'':30}{'read/s':>12}{'µs':>8}{'published/s':>14}{'told/s':>10}")
    for name, (destination, information) in SAMPLES.items():
        report = read(destination, information)
        if report.kind.value != name.partition(",")[0]:
            raise SystemExit(f"the sample of {name} is read as {report.kind.value}")
        reading = best_of(partial(read, destination, information), calls, turns)
        publishing = best_of(partial(to_object, report), calls, turns)
        telling = best_of(partial(describe, report), calls // 10, 3)
        print(
            f"{name:30}{reading.per_second:12,.0f}{reading.microseconds:8.2f}"
            f"{publishing.per_second:14,.0f}{telling.per_second:10,.0f}"
        )
    asking = best_of(partial(is_emergency, "APRS", PLAIN), calls, turns)
    print(f"{'is it a call for help?':30}{asking.per_second:12,.0f}{asking.microseconds:8.2f}")
    slowest = 0.0
    for name in ("position, plain", "position, plain, bare"):
        ratio = ratio_to_json(SAMPLES[name][1], calls, turns)
        slowest = max(slowest, ratio)
        print(f"{name} / json.dumps of its report: {ratio:.2f} (target: at most {TARGET_RATIO:.0f})")
    return int(slowest > TARGET_RATIO)


if __name__ == "__main__":
    raise SystemExit(main())
