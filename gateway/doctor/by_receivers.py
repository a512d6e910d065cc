"""Judges what each receiver heard, and whether the station's place fits what came without a repeater."""

from collections.abc import Iterator, Mapping
from statistics import median

from gateway.commands.answer import counted
from gateway.doctor.evidence import Evidence
from gateway.doctor.finding import Finding, Grade, look, ok, untried, wrong
from gateway.doctor.kept_frames import direct_place, heard_ms, kept_direct_place
from gateway.frames.frame import Frame
from gateway.frames.heard import Place
from gateway.glance.shown import PartShown
from gateway.groundwork.duration import in_words
from gateway.groundwork.part import PartKind, State
from gateway.probes.receiver import ReceiverFound
from gateway.receivers.address import HostPort, ReceiverAddress, SerialLine
from gateway.receivers.receiver import ReceiverCounts
from gateway.reports import distance

DAMAGED_SHARE = 0.1
"""Of the frames: a decoder that passes on only those whose check sequence held gives none."""

PLAUSIBLE_KM = 600
"""On VHF hardly anything is heard direct from farther away (common practice); on HF much is."""

FITTING_KM = 300
"""A place so near to what is heard direct fits it."""

FEWEST_STATIONS = 2
"""One station may be wrong about its own place."""

_DECODER = "set the decoder so that it passes on only frames whose check sequence held"


def receivers(evidence: Evidence) -> Iterator[Finding]:
    """Whether each decoder is there, speaks what the station file says, and hears."""
    if evidence.station is None:
        return
    for receiver in evidence.station.settings.receivers:
        hearing = evidence.receivers.get(receiver.name)
        part = evidence.parts.get((PartKind.RECEIVER, receiver.name))
        if part is not None:
            yield said_by_gateway(receiver.name, part)
        elif hearing is None:
            yield untried(receiver.name)
        else:
            yield from _heard(receiver.name, receiver.address, hearing, evidence)


def place(evidence: Evidence) -> Iterator[Finding]:
    """Whether the station's place fits the stations that were heard without a repeater."""
    station = evidence.station.settings.station if evidence.station is not None else None
    if station is None:
        return
    if station.position is None:
        yield look("the station file does not say where the antenna is: no distances", "give it a `position:`")
        return
    own = Place(*station.position.degrees)
    heard = _heard_direct(evidence)
    if not heard:
        yield look("no station that tells its own place was heard direct yet", "look again in a day")
        return
    away_km = _typical_km(own, heard)
    count = f"{counted(len(heard), 'station')} heard direct"
    if away_km <= PLAUSIBLE_KM:
        yield ok(f"fits {count}: typically {away_km:.0f} km away")
        return
    what = f"{count}, and typically {away_km:.0f} km away: more than the air bridges on VHF"
    for slip, other in _slips(own):
        if _typical_km(other, heard) <= FITTING_KM:
            yield _misplaced(f"{what}; they are near if {slip}", other, len(heard))
            return
    yield look(what, "on HF that is as it should be; on VHF see whether the `position:` is the antenna's")


def said_by_gateway(name: str, part: PartShown) -> Finding:
    """What the running gateway says of a receiver."""
    if part.state is not State.OK:
        what = f"the running gateway says: {part.state}{f', {part.why}' if part.why else ''}"
        return wrong(what, part.do, name) if part.state is State.DOWN else look(what, part.do, name)
    frames, damaged = part.figures.get("frames", 0), part.figures.get("damaged", 0)
    if isinstance(frames, float) and isinstance(damaged, float) and damaged > DAMAGED_SHARE * frames:
        return look(f"the running gateway hears it, and {damaged / frames:.0%} of all were damaged", _DECODER, name)
    age = part.figures.get("last_frame_age_seconds")
    last = f", the last {in_words(int(age * 1000))} ago" if isinstance(age, float) else ""
    return ok(f"the running gateway hears it: {frames:.0f} frames{last}", name)


def _heard(name: str, address: ReceiverAddress, hearing: ReceiverFound, evidence: Evidence) -> Iterator[Finding]:
    part, counts = hearing.part, hearing.counts
    if hearing.good_frames:
        in_time = f"{hearing.good_frames} good frames in {hearing.seconds:.0f} s"
        share = counts.damaged / counts.frames
        if share > DAMAGED_SHARE:
            yield look(f"{in_time}, and {share:.0%} of all were damaged", _DECODER, name)
        else:
            yield ok(in_time, name)
    elif part.state is State.DOWN and evidence.gateway_runs and _is_for_one_alone(address):
        yield ok("the running gateway listens there: " + _last_kept(name, evidence), name)
    elif part.state is State.DOWN or hearing.other_language is not None or _speaks_in_vain(counts):
        yield wrong(f"{address}: {part.why}", part.do, name)
    else:
        yield look(f"{address}: {part.why}; {_last_kept(name, evidence)}", part.do, name)


def _speaks_in_vain(counts: ReceiverCounts) -> bool:
    """Whether something came, and nothing of it could be heard: comments and commands are no fault."""
    return bool(counts.not_allowed or (counts.octets and not counts.ignored))


def _is_for_one_alone(address: ReceiverAddress) -> bool:
    """Whether nobody else can listen while the gateway does."""
    return isinstance(address.place, SerialLine) or (isinstance(address.place, HostPort) and address.scheme.listens)


def _last_kept(name: str, evidence: Evidence) -> str:
    last = next((kept for kept in evidence.kept_frames if kept.receiver == name), None)
    if last is None:
        return (
            "the journal's last frames hold none of it"
            if evidence.kept_frames
            else "no journal tells of an earlier frame"
        )
    return f"its last frame in the journal is {in_words(max(evidence.clock.now_ms - heard_ms(last), 0))} old"


def _heard_direct(evidence: Evidence) -> Mapping[str, Place]:
    """By source, where each station says that it is."""
    places = {
        kept.source: place for kept in reversed(evidence.kept_frames) if (place := kept_direct_place(kept)) is not None
    }
    for hearing in evidence.receivers.values():
        for heard in hearing.heard if hearing is not None else ():
            there = direct_place(heard)
            if there is not None and isinstance(heard.frame, Frame):
                places[heard.frame.source] = there
    return places


def _typical_km(own: Place, heard: Mapping[str, Place]) -> float:
    lines = (distance.between(own.latitude, own.longitude, there.latitude, there.longitude) for there in heard.values())
    return median(line.distance_km for line in lines)


def _slips(own: Place) -> Iterator[tuple[str, Place]]:
    """What is easily written in place of what was meant."""
    if -90 <= own.longitude <= 90:  # noqa: PLR2004 - the globe's own numbers
        yield "latitude and longitude are swapped", Place(own.longitude, own.latitude)
    yield "the longitude has the wrong sign (west of Greenwich is below 0)", Place(own.latitude, -own.longitude)
    yield "the latitude has the wrong sign (south of the equator is below 0)", Place(-own.latitude, own.longitude)
    yield "latitude and longitude have the wrong sign", Place(-own.latitude, -own.longitude)


def _misplaced(what: str, meant: Place, stations: int) -> Finding:
    do = f"if so, write `position: {{latitude: {meant.latitude:g}, longitude: {meant.longitude:g}}}`"
    grade = Grade.WRONG if stations >= FEWEST_STATIONS else Grade.LOOK
    return Finding(grade, "", what, do, in_report=f"{what}: to be mended in `position:`")
