"""Judges what the gateway stands on: versions, folders and disk, the running gateway, ports, clock."""

import errno
import platform
import sqlite3
from collections.abc import Iterator

from gateway import __version__
from gateway.doctor.evidence import Evidence
from gateway.doctor.finding import Finding, look, ok, wrong
from gateway.doctor.kept_frames import heard_ms
from gateway.frames.plain import rfc3339
from gateway.groundwork.clocks import is_plausible
from gateway.groundwork.duration import DAY_MS, in_words
from gateway.groundwork.part import PartKind, State
from gateway.journal.schema import OLDEST_SQLITE
from gateway.probes.disk import Carrier, FolderFound
from gateway.probes.listener import PortFound

OCTETS_A_DAY = 10_000_000
"""What a journal grows by on a busy band: twelve frames a minute of about 600 octets (measured on the demo's)."""

_MEGABYTE = 1_000_000
_WORN, _WORN_OUT = 8, 10
"""Tenths of its life that a card has used up."""

_SHORTEST_SPAN_SECONDS = 6 * 3600
"""What is written in less time tells nothing of a day."""

CLOCK_OFF_SECONDS, CLOCK_WRONG_SECONDS = 2.0, 60.0
_CLOCK_TOLERANCE_MS = 2000

_SET_THE_CLOCK = "let the computer take its time from the network (NTP), or give its clock a battery"
_FULL = frozenset({errno.ENOSPC, errno.EDQUOT})


def versions(evidence: Evidence) -> Iterator[Finding]:
    """Which program this is, and what it runs on."""
    del evidence
    ours = f"stile {__version__}, Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}"
    system = f"{platform.system()} {platform.release()} on {platform.machine()}"
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        needed = ".".join(map(str, OLDEST_SQLITE))
        yield wrong(f"{ours}: the journal needs SQLite {needed}", "use a Python that was built with a newer one")
    else:
        yield ok(f"{ours}, {system}")


def running_gateway(evidence: Evidence) -> Iterator[Finding]:
    """Whether a gateway runs with this station file now."""
    if evidence.station is None:
        return
    if evidence.gateway is None:
        yield ok("none runs with this station file")
        return
    process = f", as process {evidence.gateway}" if evidence.gateway else ""
    yield ok(f"one runs with this station file{process}")
    for part in evidence.parts.values():
        if part.kind == PartKind.RECEIVER or part.state is State.OK:
            continue  # receivers are told below
        what = f"it says of itself: {part.state}{f', {part.why}' if part.why else ''}"
        yield wrong(what, part.do, part.label) if part.state is State.DOWN else look(what, part.do, part.label)


def folders(evidence: Evidence) -> Iterator[Finding]:
    """Whether journal and captures can be written, whether there is room, how worn is what carries them."""
    journal = evidence.station.settings.journal if evidence.station is not None else None
    for folder in evidence.folders:
        if folder.trouble:
            yield _cannot_be_written(folder)
            continue
        needed = OCTETS_A_DAY * (journal.keep / DAY_MS if journal is not None else 1)
        yield from _about_room(folder, needed)
        if folder.carrier is not None:
            yield from _about_wear(folder, folder.carrier)


def ports(evidence: Evidence) -> Iterator[Finding]:
    """Whether the ports are free at which the gateway listens."""
    for tried in evidence.ports:
        port = tried.port
        subject = f"{port.host} {port.kind} {port.number}"
        match tried.found:
            case PortFound.FREE:
                yield ok("can be listened at", subject)
            case PortFound.TAKEN if evidence.gateway_runs:
                yield ok("is taken, as it should be while the gateway runs", subject)
            case PortFound.TAKEN:
                yield wrong(
                    "another program has this port", f"see which (`ss -lntup`), or change {_key(port.place)}", subject
                )
            case PortFound.NO_ADDRESS:
                yield wrong("this is no address of this computer", f"change {_key(port.place)}", subject)
            case _:
                yield wrong(
                    f"it cannot be listened at: {tried.trouble}",
                    f"choose a port above 1023 for {_key(port.place)}",
                    subject,
                )


def clock(evidence: Evidence) -> Iterator[Finding]:
    """Whether the time is right, and will be after a power cut."""
    computer_clock, shown = evidence.clock, rfc3339(evidence.clock.now_ms)[:16].replace("T", " ")
    newest_ms = max((heard_ms(kept) for kept in evidence.kept_frames), default=0)
    if not is_plausible(computer_clock.now_ms):
        yield wrong(f"it shows {shown}, which is before this program was written", _SET_THE_CLOCK)
    elif newest_ms > computer_clock.now_ms + _CLOCK_TOLERANCE_MS:
        ahead = in_words(newest_ms - computer_clock.now_ms)
        yield wrong(f"it shows {shown} UTC, and the journal holds a frame that was heard {ahead} later", _SET_THE_CLOCK)
    else:
        yield ok(f"it shows {shown} UTC")
    yield _compared(evidence)
    if not computer_clock.synchronised:
        yield look("the system does not say that its clock is held to the time of others", _SET_THE_CLOCK)
    if not computer_clock.chip:
        what = "this computer has no clock that runs on without power: after a power cut it starts in the past"
        yield look(what, "the gateway starts all the same and says so until the network tells the time")


def _compared(evidence: Evidence) -> Finding:
    comparison = evidence.time
    if comparison is None:
        return look("it was compared with no other clock", "name a time server: `stile doctor --time HOST STATION`")
    if comparison.time is None:
        return look(
            f"the time server does not tell the time: {comparison.trouble}",
            "try another: --time HOST",
            comparison.server,
        )
    off = abs(comparison.time.ahead_seconds) - comparison.time.uncertain_seconds
    where = "ahead of" if comparison.time.ahead_seconds > 0 else "behind"
    what = f"the clock is {in_words(int(abs(comparison.time.ahead_seconds) * 1000))} {where} this time server's"
    if off >= CLOCK_WRONG_SECONDS:
        return wrong(what, _SET_THE_CLOCK, comparison.server)
    if off >= CLOCK_OFF_SECONDS:
        return look(what, _SET_THE_CLOCK, comparison.server)
    return ok("the clock goes as this time server's does", comparison.server)


def _cannot_be_written(folder: FolderFound) -> Finding:
    if folder.error in _FULL:
        return wrong("there is no room left on its disk: nothing can be written", "make room there", str(folder.path))
    do = "see that it is a folder, and that the gateway's user may write there"
    return wrong(f"it cannot be written: {folder.trouble}", do, str(folder.path))


def _about_room(folder: FolderFound, needed: float) -> Iterator[Finding]:
    room = f"{folder.free_octets // _MEGABYTE} MB of {folder.size_octets // _MEGABYTE} MB are free"
    if folder.free_octets < needed:
        what = f"{room}; what is kept can grow to {int(needed) // _MEGABYTE} MB on a busy band"
        yield look(what, "make room, or keep less: `journal: {keep: 7d}`", str(folder.path))
    else:
        yield ok(f"can be written; {room}", str(folder.path))
    if folder.passing:
        do = "name a folder on a disk in `journal: {path: ...}`"
        yield look("what stands there is gone when the computer stops", do, str(folder.path))


def _about_wear(folder: FolderFound, carrier: Carrier) -> Iterator[Finding]:
    written = ""
    if carrier.written_octets is not None and folder.up_seconds >= _SHORTEST_SPAN_SECONDS:
        a_day = carrier.written_octets / folder.up_seconds * DAY_MS / 1000
        written = f"; all programs together write {a_day / _MEGABYTE:.0f} MB a day to it"
    if carrier.wear_tenths is None:
        if carrier.is_card:
            what = f"the card does not say how worn it is{written}"
            yield look(what, "have a second card with a copy ready: cards fail without a warning", carrier.name)
        return
    used = f"{min(carrier.wear_tenths * 10, 100)} % of its life are used up{written}"
    if carrier.wear_tenths >= _WORN_OUT:
        yield wrong(used, "copy what you need, and replace it now", carrier.name)
    elif carrier.wear_tenths >= _WORN:
        yield look(used, "replace it before long", carrier.name)
    else:
        yield ok(used, carrier.name)


def _key(place: tuple[str | int, ...]) -> str:
    return "`" + ".".join(map(str, place)) + "`"
