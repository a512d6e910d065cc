"""What a small screen is told in tests: a post in each of its states, made of what a gateway really publishes."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import heard_object
from gateway.feed.reader import ReportReader
from gateway.frames.plain import rfc3339
from gateway.glance.shown import HealthShown, HeardShown
from gateway.glance.view import Known
from gateway.groundwork.part import Part, PartKind, State, gauge
from gateway.judge import conditions
from gateway.judge.verdict import Reason
from tests.judged_frames import NOON_MS, Post

READER = ReportReader(conditions.Post("QX1GAT-10", 58.6, -3.9167))
NOON = datetime.fromtimestamp(NOON_MS / 1000, UTC)
LATER = NOON + timedelta(minutes=7)
CALLSIGN = "QX1GAT-10"

SAILING = b"QA1FGH-8>APRS,QD1AA*:!5838.10N/00351.00Ws045/006Kittiwake, second in class two and on the way home"
MOORED = b"QD1AA>APRS:!5835.75N/00356.50W#PHG3230 Harbour repeater"
WEATHER = b"QH7STN-13>APRS:!5836.50N/00354.00W_234/010g025t057r010p000P000h82b10131"  # the form of APRS101 chapter 12
EMERGENCY = b"QA1BCD-9>583VPP:`yRzmI)s/DRILL man overboard, two in the water, north of the mark"
"""Mic-E with the message bits 000 (APRS101 chapter 10), as the launch of the demo sends it."""

RECEIVER = Part(PartKind.RECEIVER, "vhf", State.OK, NOON_MS)
DEAF = Part(PartKind.RECEIVER, "vhf", State.DOWN, NOON_MS, "the connection was refused", "is the decoder running?")
QUIET = Part(
    PartKind.RECEIVER, "vhf", State.QUIET, NOON_MS, "nothing for 40 min, where 3 min are usual", "the antenna?"
)
UPLINK = Part(PartKind.UPLINK, "uplink", State.OK, NOON_MS)
CUT_OFF = Part(
    PartKind.UPLINK, "uplink", State.DOWN, NOON_MS, "no server answers", "can this computer reach the network?"
)
WEB = Part(PartKind.WEB, "web", State.OK, NOON_MS)


def heard(line: bytes, reason: Reason | None = None) -> HeardShown:
    """A frame as a gateway publishes it, heard at noon."""
    judged = Post().hear(line, reason=reason)
    return HeardShown.model_validate(heard_object(judged, READER(judged)))


def without_distance(told: HeardShown) -> HeardShown:
    """As a post tells it that does not know where it is itself."""
    return told.model_copy(update={"report": told.report.model_copy(update={"distance_km": None, "bearing_deg": None})})


def health(*parts: Part, frames: int = 14, stations: int = 23) -> HealthShown:
    """A health as a gateway publishes it."""
    counts = Counts(120, 80, {Reason.DUPLICATE: 40}, {"sent": 78, "late": 1}, waiting=1)
    activity = {"frames_per_minute": frames, "stations_last_hour": stations, "last_heard": rfc3339(NOON_MS)}
    figures = {part: [gauge("event_streams", 2, "Open event streams.")] for part in parts if part.kind == PartKind.WEB}
    plain = Health("0f1e", NOON_MS, parts, counts, figures, {"activity": activity}).to_object()
    return HealthShown.model_validate(plain)


WELL = (RECEIVER, UPLINK, WEB)

SCENARIOS: dict[str, Callable[[], Known]] = {
    "busy": lambda: Known(CALLSIGN, health(*WELL), heard(SAILING)),
    "quiet": lambda: Known(CALLSIGN, health(QUIET, UPLINK, WEB, frames=0, stations=1), heard(MOORED)),
    "weather": lambda: Known(CALLSIGN, health(*WELL), heard(WEATHER)),
    "message": lambda: Known(CALLSIGN, health(*WELL), heard(b"QA1BCD>APRS::QC2CBT-8 :see you at the finish{11")),
    "emergency": lambda: Known(CALLSIGN, health(*WELL), heard(SAILING), heard(EMERGENCY)),
    "down": lambda: Known(CALLSIGN, health(RECEIVER, CUT_OFF, WEB), heard(SAILING)),
    "deaf": lambda: Known(CALLSIGN, health(DEAF, UPLINK, WEB), heard(SAILING)),
    "new": lambda: Known(CALLSIGN, health(*WELL)),
    "asking": lambda: Known(CALLSIGN, None),
    "unplaced emergency": lambda: Known(CALLSIGN, health(*WELL), emergency=without_distance(heard(EMERGENCY))),
    "unasked": lambda: Known(CALLSIGN, None, silent_since=NOON),
    "silent": lambda: Known(CALLSIGN, health(*WELL), heard(SAILING), silent_since=NOON),
    "silent emergency": lambda: Known(CALLSIGN, health(*WELL), heard(SAILING), heard(EMERGENCY), silent_since=NOON),
}
