"""Everything that reads octets of strangers, each as one function that takes any octets and must let nothing out.

What a reader may raise is what its own page says, and that alone is caught here.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from gateway import reports
from gateway.bus.adoption import Adoption
from gateway.club import message
from gateway.documents.problem import DocumentError
from gateway.feed.heard_object import HeardPayload, encode, judged_from, verdict_in
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.frames import ax25, capture, third_party, tnc2
from gateway.frames.fcs import strip_fcs
from gateway.frames.frame import Damaged, Frame
from gateway.frames.heard import Moment
from gateway.frames.kiss import KissDecoder
from gateway.frames.network_line import network_line, route
from gateway.frames.plain import PlainFormError
from gateway.frames.tnc2 import LineDecoder
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.judge.source import PolicyText, read_policy
from gateway.settings import station_file
from gateway.uplink.session import Login, Session

Target = Callable[[bytes], None]

MIC_E = "S32UVT"
"""APRS101 chapter 10: a destination that holds half a position."""


@dataclass(frozen=True, slots=True)
class Fuzzed:
    """One reader, with what to begin from."""

    read: Target
    beginnings: Sequence[bytes]


def _follow(frame: Frame | Damaged) -> None:
    """What is done with every frame."""
    if isinstance(frame, Frame):
        innermost = third_party.unwrap(frame).innermost
        line = network_line(innermost, route("QX1GAT-10"))
        if line.count(b"\n") != 1 or line.count(b"\r") != 1 or not line.endswith(b"\r\n"):
            raise AssertionError(line)


def kiss(data: bytes) -> None:
    """A stream of a modem, in two pieces."""
    decoder = KissDecoder()
    for piece in (data[: len(data) // 2], data[len(data) // 2 :]):
        for _, octets in decoder.feed(piece):
            _follow(octets if isinstance(octets, Damaged) else ax25.read(octets))


def monitor_text(data: bytes) -> None:
    """Lines of monitor text."""
    for line in LineDecoder().feed(data + b"\n"):
        _follow(line if isinstance(line, Damaged) else tnc2.read(line))


def datagram(data: bytes) -> None:
    """A datagram with a check sequence, and the same without."""
    body = strip_fcs(data)
    for octets in (data, body):
        if octets is not None:
            _follow(ax25.read(octets))


def report(data: bytes) -> None:
    """An information field."""
    for destination in ("APRS", MIC_E):
        reports.to_object(reports.read(destination, data))


def server(data: bytes) -> None:
    """What a server says, in two pieces."""
    session = Session(Login("QX1GAT-10", 21161, ""), opened_ms=0, login_ms=1, silence_ms=1, unverified_ms=1)
    for moment, piece in enumerate((data[:20], data[20:])):
        session.receive(piece, moment)
        session.take_to_send()
        if not session.remark.isascii() or not (session.remark.isprintable() or session.remark == ""):
            raise AssertionError(session.remark)


def heard_object(data: bytes) -> None:
    """A line of a capture, and all that is done with it."""
    try:
        plain = capture.read_object(data)
        judged = judged_from(plain)
        verdict_in(plain)
    except PlainFormError:
        return
    HeardPayload(judged, ReportReader(Post("QX1GAT-10"))).encoded()


def retained(data: bytes) -> None:
    """What a broker holds of a station."""
    adoption = Adoption(
        Stations(), lambda: Moment(0, 1_800_000_000_000), ReportReader(Post("QX1GAT-10")), is_trusted=lambda: True
    )
    adoption.begin()
    station = adoption.adopt("QA1BCD-9", data)
    if station is not None:
        encode(station.to_object())


def policy(data: bytes) -> None:
    """A policy file."""
    text = data.decode("utf-8", "replace")

    def fetch(*_: str) -> PolicyText:
        raise FileNotFoundError

    try:
        source = read_policy(PolicyText("fuzzed.yaml", text), fetch)
    except DocumentError:
        return
    Judge(source.compiled(Post("QX1GAT-10")))


def station(data: bytes) -> None:
    """A station file."""
    try:
        station_file.read(data.decode("utf-8", "replace"), Path("/nowhere/station.yaml"), {})
    except DocumentError as error:
        str(error)


def of_a_post(data: bytes) -> None:
    """A message of a post to its hubs."""
    try:
        message.read(data)
    except message.MessageError:
        return


_LINES = (
    b"QA1BCD-9>APRS,QD1RPT*,WIDE2-1:!5836.00N/00355.00W>088/036/A=000012 hello",
    b"QX9GAT>APRS:}QA1BCD-9>APRS,QNET,QX9GAT*:}QB2CDE>APRS:>inside",
    b'QB2CDE>S32UVT:`(_fn"Oj/',
)
_FRAMES = tuple(ax25.write(frame) for line in _LINES if isinstance(frame := tnc2.read(line), Frame))
_REPORTS = (
    b"!4903.50N/07201.75W_220/004g005t077r000p000P000h50b09900",
    b"@092345z/5L!!<*e7>7P[|!!!!!!|!W52!",
    b'`(_fn"Oj/"4T}146.520MHz',
    b";LEADER   *092345z4903.50N/07201.75W>088/036",
    b")AID #2!4903.50N/07201.75WA",
    b":QA1BCD   :EQNS.0,5.2,0,0,.53,-32,3,4.39,49",
    b":QA1BCD   :hello{003",
    b"T#005,199,000,255,073,123,01101001",
    b">092345zNet",
    b"$GPRMC,063909,A,3349.4302,N,11700.3721,W,43.022,89.3,291099,13.6,E*52",
    b"<IGATE,MSG_CNT=43,LOC_CNT=14",
    b"_10090556c220s004g005t077r000p000P000h50b09900wRSW",
)
_HEARD = b"""{"run":"a","sequence":1,"elapsed_ms":5,"time":"2026-06-06T12:00:00.000Z","receiver":"vhf",
"source":"QA1BCD-9","destination":"APRS","path":["QD1RPT*"],"information":"!5836.00N/00355.00W>","verdict":"forward",
"policy":"p@123456","memory":{"frames":3,"first_heard":"2026-06-06T12:00:00.000Z","heard_direct":true}}"""
_POLICY = b"""version: 1
name: p
groups: {club: ['QA1*']}
rules:
  - {name: a, when: {source: '@club', hours: '22:00-06:00'}, then: keep}
rates:
  - {name: r, per: source, allow: 6 per minute, burst: 3}
"""
_STATION = b"""station: {callsign: QX1GAT-10, position: {locator: IO88AO}}
receivers: [{name: vhf, from: 'kiss+tcp://[::1]:1'}]
uplink: {servers: ['tcp://127.0.0.1:14580']}
bus: {broker: 'mqtt://127.0.0.1'}
"""

TARGETS: Mapping[str, Fuzzed] = {
    "kiss": Fuzzed(kiss, [b"\xc0\x00" + octets + b"\xc0" for octets in _FRAMES]),
    "monitor-text": Fuzzed(monitor_text, _LINES),
    "datagram": Fuzzed(datagram, _FRAMES),
    "report": Fuzzed(report, _REPORTS),
    "server": Fuzzed(server, [b"# software 1.2\r\n# logresp QX1GAT-10 verified, server QN1NET\r\n"]),
    "heard-object": Fuzzed(heard_object, [_HEARD]),
    "retained": Fuzzed(retained, [_HEARD]),
    "policy": Fuzzed(policy, [_POLICY]),
    "station": Fuzzed(station, [_STATION]),
    "post": Fuzzed(of_a_post, []),
}
