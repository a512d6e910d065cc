"""Each of the network's own rules, with the page that asks for it beside it.

DEVELOPERS.md says what the names of sources stand for.
"""

from dataclasses import dataclass

import pytest

from gateway.frames import ax25, tnc2
from gateway.frames.frame import Frame
from gateway.frames.header import Header, Repeater
from gateway.frames.heard import Heard, Moment
from gateway.frames.network_line import network_line, route
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.judge.network_rules import NETWORK_RULES
from gateway.judge.policy import Policy
from gateway.judge.verdict import Judged, Reason

GATE = "QX1GAT-10"
POSITION = b"!5836.00N/00355.00W>"


def empty_judge() -> Judge:
    return Judge(CompiledPolicy(Policy(version=1, name="empty"), "000000", Post(GATE)))


def judge_frame(frame: object) -> Judged:
    return empty_judge().judge(Heard("test", 1, Moment(0, 0), "vhf", 0, frame))  # type: ignore[arg-type]  # Damaged too


@dataclass(frozen=True)
class Row:
    """What was heard; the line that goes up, or the reason why none does; and who says so."""

    heard: bytes
    expected: bytes | Reason
    source: str


def up(header: bytes, information: bytes = POSITION) -> bytes:
    return header + b",qAO,QX1GAT-10:" + information + b"\r\n"


FORWARDED = [
    Row(b"QA1BCD-9>APRS:" + POSITION, up(b"QA1BCD-9>APRS"), "IS-Details: all that is heard goes up"),
    Row(
        b"QA1BCD-9>APRS,WIDE1-1,WIDE2-1:" + POSITION, up(b"QA1BCD-9>APRS,WIDE1-1,WIDE2-1"), "IS-Details: path unchanged"
    ),
    Row(b"QA1BCD-9>APRS,QD1AA*,WIDE2-1:" + POSITION, up(b"QA1BCD-9>APRS,QD1AA*,WIDE2-1"), "IS-Details: path unchanged"),
    Row(b"QA1BCD-9>APRS,qARX:" + POSITION, up(b"QA1BCD-9>APRS,qARX"), "IS-Q: a construct has three characters"),
    Row(
        b"QA1BCD-9>APRS,QD1AA,QD1BB*,WIDE2-1:" + POSITION,
        up(b"QA1BCD-9>APRS,QD1AA,QD1BB*,WIDE2-1"),
        "common practice: the last used repeater alone is starred",
    ),
    Row(
        b"QA1BCD-9>APRS,QD1AA*,QD1BB*,WIDE2-1:" + POSITION,
        up(b"QA1BCD-9>APRS,QD1AA,QD1BB*,WIDE2-1"),
        "common practice: some decoders star every used one",
    ),
    Row(b"QA1BCD-0>APRS-0,QD1AA-0*:" + POSITION, up(b"QA1BCD>APRS,QD1AA*"), "common practice: SSID 0 is not written"),
    Row(b"QA1BCD>APRS:" + POSITION, up(b"QA1BCD>APRS"), "AX.25 section 3.12.2: SSID 0"),
    Row(b"QA1BCD-15>APRS,QD1AA-15*:" + POSITION, up(b"QA1BCD-15>APRS,QD1AA-15*"), "AX.25 section 3.12.2: SSID 15"),
    Row(
        b"QA1BCD-9>APRS,QD1A,QD1B,QD1C,QD1D,QD1E,QD1F,QD1G,QD1H*:" + POSITION,
        up(b"QA1BCD-9>APRS,QD1A,QD1B,QD1C,QD1D,QD1E,QD1F,QD1G,QD1H*"),
        "AX.25 version 2.0, APRS101 chapter 3: up to eight repeaters",
    ),
    Row(
        b"qa1bcd-9>aprs,qd1aa*:" + POSITION,
        up(b"qa1bcd-9>aprs,qd1aa*"),
        "IS-Server: the case of a header is not changed",
    ),
    Row(b"QABCDEFGH>APRS:" + POSITION, up(b"QABCDEFGH>APRS"), "IS-Connect: 1-9 characters"),
    Row(b"Q>A:" + POSITION, up(b"Q>A"), "IS-Connect: 1-9 characters"),
    Row(b"QA1BCD-AB>APRS:" + POSITION, up(b"QA1BCD-AB>APRS"), "IS-Server: SSID of 1-2 letters or digits"),
    Row(
        b"QA1BCD-9>APRS:caf\xe9 \xff\x00\x80",
        up(b"QA1BCD-9>APRS", b"caf\xe9 \xff\x00\x80"),
        "IS-Server: data unchanged",
    ),
    Row(
        b"QA1BCD-9>APRS:>\xe6\x97\xa5\xe6\x9c\xac",
        up(b"QA1BCD-9>APRS", b">\xe6\x97\xa5\xe6\x9c\xac"),
        "IS-Server: data unchanged",
    ),
    Row(b"QA1BCD-9>APRS:>two spaces  ", up(b"QA1BCD-9>APRS", b">two spaces  "), "IS-Server: data unchanged"),
    Row(b"QA1BCD-9>APRS: leading space", up(b"QA1BCD-9>APRS", b" leading space"), "IS-Server: data unchanged"),
    Row(
        b"QA1BCD-9>APRS:`\x1c\x1d\x7f(0Oj/",
        up(b"QA1BCD-9>APRS", b"`\x1c\x1d\x7f(0Oj/"),
        "APRS101 chapter 10: Mic-E octets",
    ),
    Row(b"QA1BCD-9>APRS:one\rtwo", up(b"QA1BCD-9>APRS", b"one"), "common practice: cut at the first CR"),
    Row(b"QA1BCD-9>APRS:one\ntwo", up(b"QA1BCD-9>APRS", b"one"), "common practice: cut at the first LF"),
    Row(
        b"QA1BCD-9>APRS:one\r\nQB2CDE>APRS:>injected",
        up(b"QA1BCD-9>APRS", b"one"),
        "common practice: the cut closes line injection",
    ),
    Row(
        b"QA1BCD-9>APRS::QB2CDE   :?APRSP",
        up(b"QA1BCD-9>APRS", b":QB2CDE   :?APRSP"),
        "IS-Details: directed queries pass",
    ),
    Row(b"QA1BCD-9>APRS:{Q1 user-defined", up(b"QA1BCD-9>APRS", b"{Q1 user-defined"), "IS-Details: whatever it holds"),
    Row(
        b"QA1BCD-9>APRS:no report that anyone knows", up(b"QA1BCD-9>APRS", b"no report that anyone knows"), "IS-Details"
    ),
    Row(b"QA1BCD-9>APRS:x}y", up(b"QA1BCD-9>APRS", b"x}y"), "APRS101 chapter 17: } counts at the start alone"),
    Row(b"QA1BCD-9>APRS:a?b", up(b"QA1BCD-9>APRS", b"a?b"), "IS-Details: ? counts at the start alone"),
    Row(b"QA1BCD-9>APRS:a:b:c", up(b"QA1BCD-9>APRS", b"a:b:c"), "TNC-2 text: the first colon ends the header"),
    Row(b"QA1BCD-9>APRS,QTCPIP:" + POSITION, up(b"QA1BCD-9>APRS,QTCPIP"), "IS-Details: TCPIP is a whole path entry"),
    Row(b"QA1BCD-9>APRS,QAR:" + POSITION, up(b"QA1BCD-9>APRS,QAR"), "IS-Q: a q construct begins with a small q"),
    Row(
        b"QA1BCD-9>APRS,QD1AA*:" + POSITION + b"TCPIP",
        up(b"QA1BCD-9>APRS,QD1AA*", POSITION + b"TCPIP"),
        "IS-Details: in the path",
    ),
    Row(b"QA1BCD-9>TCPIP:" + POSITION, up(b"QA1BCD-9>TCPIP"), "IS-Details: in the path, not the destination"),
    Row(b"QA1BCD-9>APRS:>NOGATE", up(b"QA1BCD-9>APRS", b">NOGATE"), "IS-Details: in the path"),
    Row(b"NOCALLER>APRS:" + POSITION, up(b"NOCALLER>APRS"), "ours: a placeholder is the whole callsign"),
    Row(
        b"QD1AA>APRS,WIDE1*:}QB2CDE>APZ001,QC3DEF*:>inner",
        up(b"QB2CDE>APZ001,QC3DEF*", b">inner"),
        "IS-Details: strip the radio header and the }",
    ),
    Row(b"QD1AA>APRS:}QB2CDE>APRS:>inner", up(b"QB2CDE>APRS", b">inner"), "IS-Details: third party"),
    Row(b"QD1AA>APRS:}QB2CDE-0>APRS,QC3DEF-0*:>x", up(b"QB2CDE>APRS,QC3DEF*", b">x"), "ours: no -0 on the network"),
    Row(
        b"QD1AA>APRS:}QB2CDE>APRS,QC3A,QC3B*:}QE4EFG>APRS:>twice",
        up(b"QE4EFG>APRS", b">twice"),
        "IS-Details: go on until none is left",
    ),
    Row(
        b"N0CALL>APRS,WIDE1*:}QB2CDE>APRS:>inner",
        up(b"QB2CDE>APRS", b">inner"),
        "ours: a relay at its default callsign loses nobody",
    ),
    Row(
        b"QD1-A-A>APRS,TOO-LONG-X*:}QB2CDE>APRS:>inner",
        up(b"QB2CDE>APRS", b">inner"),
        "ours: what a header that is stripped holds does not go up",
    ),
    Row(
        b"QD1AA>APRS:}N0CALL>APRS,QC-3-A*:}QE4EFG>APRS:>twice",
        up(b"QE4EFG>APRS", b">twice"),
        "ours: nor what one in the midst holds",
    ),
    Row(b"QD1AA>APRS:" + b"}QB2CDE>APRS:" * 4 + b">x", up(b"QB2CDE>APRS", b">x"), "ours: a bound on depth, four"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS:one\rtwo", up(b"QB2CDE>APRS", b"one"), "common practice: cut, inside too"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS:\xff\xfe", up(b"QB2CDE>APRS", b"\xff\xfe"), "IS-Server: data unchanged"),
    Row(b"QA1BCD-9>APRS:" + b"x" * 482, up(b"QA1BCD-9>APRS", b"x" * 482), "IS-Connect: 512 octets with CR LF"),
    Row(b"QA1BCD-9>APRS:" + b"x" * 482 + b"\rmore", up(b"QA1BCD-9>APRS", b"x" * 482), "IS-Connect: 512 after the cut"),
]

KEPT = [
    Row(b"", Reason.DAMAGED, "IS-Details: damaged frames"),
    Row(b"no header here", Reason.DAMAGED, "IS-Details: damaged frames"),
    Row(b"QA1BCD-9 APRS:x", Reason.DAMAGED, "IS-Details: damaged frames"),
    Row(b"QA1\xe9CD>APRS:x", Reason.DAMAGED, "IS-Details: damaged frames"),
    Row(b"QA1BCD>APRS,A,B,C,D,E,F,G,H,I:x", Reason.DAMAGED, "AX.25: no frame has nine repeaters"),
    Row(b">APRS:x", Reason.BAD_CALLSIGN, "IS-Connect: 1-9 characters"),
    Row(b"QA1BCD>:x", Reason.BAD_CALLSIGN, "IS-Connect: 1-9 characters"),
    Row(b"ABCDEFGHIJ>APRS:x", Reason.BAD_CALLSIGN, "IS-Connect: 1-9 characters"),
    Row(b"QA1BCD-123>APRS:x", Reason.BAD_CALLSIGN, "IS-Server: SSID of 1-2 letters or digits"),
    Row(b"QA1-B-C>APRS:x", Reason.BAD_CALLSIGN, "IS-Connect: at most one hyphen"),
    Row(b"QA1BCD->APRS:x", Reason.BAD_CALLSIGN, "IS-Server: SSID of 1-2 letters or digits"),
    Row(b"QA1/CD>APRS:x", Reason.BAD_CALLSIGN, "IS-Connect: letters and digits"),
    Row(b"QA1 CD>APRS:x", Reason.BAD_CALLSIGN, "IS-Connect: letters and digits"),
    Row(b"QA1BCD>APRS,WIDE2-1,:x", Reason.BAD_CALLSIGN, "IS-Connect: 1-9 characters"),
    Row(b"QA1BCD-9-0>APRS:x", Reason.BAD_CALLSIGN, "IS-Connect: at most one hyphen"),
    Row(b"QA1BCD-9-0-0>APRS:x", Reason.BAD_CALLSIGN, "IS-Connect: at most one hyphen"),
    Row(b"QA1BCD--0>APRS:x", Reason.BAD_CALLSIGN, "IS-Connect: at most one hyphen"),
    Row(b"QA1BCD>APRS-1-0:x", Reason.BAD_CALLSIGN, "IS-Connect: at most one hyphen"),
    Row(b"QA1BCD>APRS,QD1AA-9-0*:x", Reason.BAD_CALLSIGN, "IS-Connect: at most one hyphen"),
    Row(b"QD1AA>APRS:}QA1BCD-9-0>APRS:x", Reason.BAD_CALLSIGN, "IS-Details: the inner frame by the same rules"),
    Row(b"QD1AA>APRS:}QA1BCD>APRS,QD1BB-9-0*:x", Reason.BAD_CALLSIGN, "IS-Details: the inner frame by the same rules"),
    Row(b"QD1AA>APRS:}QB2-C-D>APRS:x", Reason.BAD_CALLSIGN, "IS-Details: the inner frame by the same rules"),
    Row(b"N0CALL>APRS:x", Reason.PLACEHOLDER_CALLSIGN, "common practice"),
    Row(b"NOCALL-7>APRS:x", Reason.PLACEHOLDER_CALLSIGN, "common practice"),
    Row(b"MYCALL>APRS,QD1AA*:x", Reason.PLACEHOLDER_CALLSIGN, "common practice"),
    Row(b"QD1AA>APRS:}N0CALL>APRS:x", Reason.PLACEHOLDER_CALLSIGN, "common practice"),
    Row(b"QA1BCD>APRS,qAR,QX2GAT:x", Reason.Q_CONSTRUCT_ON_AIR, "IS-Details: q constructs never appear on RF"),
    Row(b"QA1BCD>APRS,qAC*:x", Reason.Q_CONSTRUCT_ON_AIR, "IS-Details, used mark or not"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS,qAo,QX2GAT:x", Reason.Q_CONSTRUCT_ON_AIR, "IS-Details, inside"),
    Row(b"QD1AA>APRS,qAS,QX2GAT:}QB2CDE>APRS:x", Reason.Q_CONSTRUCT_ON_AIR, "IS-Details, outside"),
    Row(b"QA1BCD>APRS,TCPIP:x", Reason.INTERNET_ORIGIN, "IS-Details: TCPIP anywhere, mark unused"),
    Row(b"QA1BCD>APRS,TCPIP*:x", Reason.INTERNET_ORIGIN, "IS-Details: TCPIP anywhere, mark used"),
    Row(b"QA1BCD>APRS,QD1AA*,TCPIP:x", Reason.INTERNET_ORIGIN, "IS-Details: TCPIP anywhere"),
    Row(b"QA1BCD>APRS,TCPXX*:x", Reason.INTERNET_ORIGIN, "IS-Details: TCPXX"),
    Row(b"QA1BCD>APRS,tcpip*:x", Reason.INTERNET_ORIGIN, "ours: in lower case it says the same"),
    Row(b"QD1AA>APRS,tcpxx:}QB2CDE>APRS:x", Reason.INTERNET_ORIGIN, "ours: in lower case it says the same, outside"),
    Row(b"QD1AA>APRS,TCPIP*:}QB2CDE>APRS:x", Reason.INTERNET_ORIGIN, "IS-Details: the outer header by these rules"),
    Row(b"QA1BCD>APRS,NOGATE:x", Reason.ASKED_NOT_TO_GATE, "IS-Details (optional there, always on here)"),
    Row(b"QA1BCD>APRS,QD1AA*,RFONLY:x", Reason.ASKED_NOT_TO_GATE, "IS-Details (optional there, always on here)"),
    Row(b"QD1AA>APRS,RFONLY:}QB2CDE>APRS:x", Reason.ASKED_NOT_TO_GATE, "IS-Details: the outer header by these rules"),
    Row(b"QA1BCD>APRS,nogate:x", Reason.ASKED_NOT_TO_GATE, "ours: in lower case it asks the same"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS,RfOnly:x", Reason.ASKED_NOT_TO_GATE, "ours: in lower case it asks the same, inside"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS,NOGATE:x", Reason.ASKED_NOT_TO_GATE, "IS-Details: the inner frame by the same rules"),
    Row(b"QD1AA>APRS:}", Reason.THIRD_PARTY_MALFORMED, "IS-Details: third party"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS", Reason.THIRD_PARTY_MALFORMED, "IS-Details: third party"),
    Row(b"QD1AA>APRS:}QB2CDE:x", Reason.THIRD_PARTY_MALFORMED, "IS-Details: third party"),
    Row(b"QD1AA>APRS:}QB2\rCDE>APRS:x", Reason.THIRD_PARTY_MALFORMED, "IS-Details: third party"),
    Row(b"N0CALL>APRS,TOO-LONG-X:}", Reason.THIRD_PARTY_MALFORMED, "ours: nothing of a header around it would go up"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS:}", Reason.THIRD_PARTY_MALFORMED, "IS-Details: third party, nested"),
    Row(b"QD1AA>APRS:" + b"}QB2CDE>APRS:" * 5 + b"x", Reason.THIRD_PARTY_MALFORMED, "ours: a bound on depth"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS,TCPIP,QX2GAT*:x", Reason.THIRD_PARTY_INTERNET, "IS-Details: never pass"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS,tcpip*:x", Reason.THIRD_PARTY_INTERNET, "ours: in lower case it says the same"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS,TCPXX*:x", Reason.THIRD_PARTY_INTERNET, "IS-Details: never pass"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS:}QE4EFG>APRS,TCPIP*:x", Reason.THIRD_PARTY_INTERNET, "IS-Details, nested"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS,TCPIP*:}QE4EFG>APRS:x", Reason.THIRD_PARTY_INTERNET, "IS-Details, nested"),
    Row(b"QA1BCD>APRS:", Reason.EMPTY, "common practice"),
    Row(b"QA1BCD>APRS:\r\n", Reason.EMPTY, "common practice"),
    Row(b"QA1BCD>APRS:\nQB2CDE>APRS:x", Reason.EMPTY, "common practice"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS:", Reason.EMPTY, "common practice"),
    Row(b"QA1BCD>APRS:?APRS?", Reason.GENERIC_QUERY, "IS-Details: generic queries"),
    Row(b"QA1BCD>APRS:?", Reason.GENERIC_QUERY, "IS-Details: generic queries"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS:?WX?", Reason.GENERIC_QUERY, "IS-Details: the inner frame by the same rules"),
    Row(b"QA1BCD-9>APRS:" + b"x" * 483, Reason.TOO_LONG, "IS-Connect: 513 octets with CR LF"),
    Row(b"QD1AA>APRS:}QB2CDE-9>APRS:" + b"x" * 483, Reason.TOO_LONG, "IS-Connect: 513 octets with CR LF"),
]

IN_ORDER = [
    Row(b"N0CALL>APRS,TOO-LONG-X,qAR,TCPIP,NOGATE:", Reason.BAD_CALLSIGN, "ours: bad-callsign before the rest"),
    Row(b"N0CALL>APRS,qAR,TCPIP,NOGATE:", Reason.PLACEHOLDER_CALLSIGN, "ours: placeholder before q construct"),
    Row(b"QA1BCD>APRS,qAR,TCPIP,NOGATE:", Reason.Q_CONSTRUCT_ON_AIR, "ours: q construct before internet"),
    Row(b"QA1BCD>APRS,NOGATE,TCPIP:", Reason.INTERNET_ORIGIN, "ours: internet before asked-not-to-gate"),
    Row(b"QD1AA>APRS,NOGATE:}bad", Reason.ASKED_NOT_TO_GATE, "ours: asked before malformed"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS,TCPIP:}bad", Reason.THIRD_PARTY_MALFORMED, "ours: malformed before internet inside"),
    Row(b"QD1AA>APRS:}QB2CDE>APRS,TCPIP:", Reason.THIRD_PARTY_INTERNET, "ours: internet inside before empty"),
]


def test_the_tables_have_at_least_sixty_rows() -> None:
    assert len(FORWARDED) + len(KEPT) + len(IN_ORDER) >= 60


@pytest.mark.parametrize("row", FORWARDED, ids=lambda row: repr(row.heard[:60]))
def test_a_proper_frame_goes_up_with_nothing_changed_but_the_route(row: Row) -> None:
    judged = judge_frame(tnc2.read(row.heard))
    assert judged.forward, judged.verdict
    assert judged.innermost is not None
    assert network_line(judged.innermost, route(GATE)) == row.expected
    assert len(row.expected) <= 512


@pytest.mark.parametrize("row", KEPT + IN_ORDER, ids=lambda row: repr(row.heard[:60]))
def test_what_must_not_go_up_is_kept_with_its_reason(row: Row) -> None:
    assert judge_frame(tnc2.read(row.heard)).verdict.reason is row.expected


def test_every_rule_of_the_network_names_a_page_of_the_networks_own_or_common_practice() -> None:
    pages = {"IS-Connect", "IS-IGating", "IS-Details", "IS-Q", "IS-Server", "common practice"}
    assert {source for rule in NETWORK_RULES for source in rule.source.split(", ")} <= pages


PATH = (Repeater("QD1AA", used=True), Repeater("WIDE2-1"))
HEADER = Header("QA1BCD-9", "APRS", PATH)


@pytest.mark.parametrize(
    ("control", "pid", "reason", "source"),
    [
        (0x03, 0xF0, None, "IS-Details: UI with no layer 3"),
        (0x13, 0xF0, Reason.NOT_UI, "IS-Details: control is not 03; the poll bit is set"),
        (0x00, 0xF0, Reason.NOT_UI, "AX.25 section 4.2.1: an I frame"),
        (0x01, None, Reason.NOT_UI, "AX.25 section 4.3.2: an S frame (RR)"),
        (0x3F, None, Reason.NOT_UI, "AX.25 section 4.3.3: SABM"),
        (0x43, None, Reason.NOT_UI, "AX.25 section 4.3.3: DISC"),
        (0x03, 0xCF, Reason.WRONG_PID, "AX.25 section 3.4: another layer 3 protocol"),
        (0x03, 0xCC, Reason.WRONG_PID, "AX.25 section 3.4: IP"),
        (0x13, 0xCC, Reason.NOT_UI, "ours: control before protocol identifier"),
    ],
)
def test_only_unnumbered_information_with_no_layer_3_goes_up(
    control: int, pid: int | None, reason: Reason | None, source: str
) -> None:
    frame = ax25.read(ax25.write(Frame(HEADER, POSITION, control, pid)))
    assert judge_frame(frame).verdict.reason is reason, source


@pytest.mark.parametrize("gate", ["Q1A", "QX1GAT", "QX1GAT-1", GATE])
def test_a_line_of_512_octets_goes_up_and_one_of_513_does_not_whatever_the_gates_callsign(gate: str) -> None:
    judge = Judge(CompiledPolicy(Policy(version=1, name="empty"), "000000", Post(gate)))
    room = 512 - len(network_line(Frame(HEADER, b""), route(gate)))
    for octets, forward in ((room, True), (room + 1, False)):
        judged = judge.judge(Heard("test", 1, Moment(0, 0), "vhf", 0, Frame(HEADER, b"x" * octets)))
        assert judged.forward is forward
