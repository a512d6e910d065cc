from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway import __version__
from gateway.uplink.session import (
    MAXIMUM_NAME,
    MAXIMUM_REMARK,
    Event,
    Greeted,
    Login,
    LoginAnswered,
    LoginError,
    Session,
    SessionState,
)

CALLSIGN = "QX1GAT-10"
PASSCODE = 21161
GREETING = b"# software 1.2\r\n"
VERIFIED = b"# logresp QX1GAT-10 verified, server QN1NET\r\n"
UNVERIFIED = b"# logresp QX1GAT-10 unverified, server QN1NET\r\n"
OPENED_MS, LOGIN_MS, SILENCE_MS, UNVERIFIED_MS = 1_000, 15_000, 90_000, 120_000


def a_session(passcode: int | None = PASSCODE, command: str = "") -> Session:
    login = Login(CALLSIGN, passcode, command)
    return Session(login, opened_ms=OPENED_MS, login_ms=LOGIN_MS, silence_ms=SILENCE_MS, unverified_ms=UNVERIFIED_MS)


def a_session_told(*said: bytes) -> Session:
    session = a_session()
    for octets in said:
        session.receive(octets, OPENED_MS)
    return session


def test_nothing_is_said_before_the_server_has_greeted() -> None:
    session = a_session()
    assert session.take_to_send() == b""
    assert session.receive(b"# softw", OPENED_MS) == []
    assert session.take_to_send() == b""


def test_the_greeting_is_answered_with_the_login_line_once() -> None:
    session = a_session()
    assert session.receive(GREETING, OPENED_MS) == [Greeted("software 1.2")]
    # The form of the line: IS-Connect.
    assert session.take_to_send() == f"user QX1GAT-10 pass 21161 vers Stile {__version__}\r\n".encode()
    assert session.take_to_send() == b""
    session.receive(GREETING, OPENED_MS)
    assert session.take_to_send() == b""


def test_a_filter_follows_the_login_as_it_is() -> None:
    session = a_session(command="m/50 b/QA1*")
    session.receive(GREETING, OPENED_MS)
    assert (
        session.take_to_send() == f"user QX1GAT-10 pass 21161 vers Stile {__version__} filter m/50 b/QA1*\r\n".encode()
    )


@pytest.mark.parametrize("passcode", [None, -1])
def test_without_a_passcode_the_login_asks_to_receive_only_and_never_sends(passcode: int | None) -> None:
    session = a_session(passcode)
    session.receive(GREETING, OPENED_MS)
    assert b" pass -1 " in session.take_to_send()
    assert session.receive(VERIFIED, OPENED_MS) == [LoginAnswered(verified=True, server="QN1NET")]
    assert not session.may_send


def test_a_verified_login_may_send() -> None:
    session = a_session_told(GREETING)
    assert not session.may_send
    assert session.receive(VERIFIED, OPENED_MS) == [LoginAnswered(verified=True, server="QN1NET")]
    assert session.may_send
    assert session.state is SessionState.VERIFIED


def test_an_unverified_login_may_not() -> None:
    session = a_session_told(GREETING)
    assert session.receive(UNVERIFIED, OPENED_MS) == [LoginAnswered(verified=False, server="QN1NET")]
    assert not session.may_send
    assert session.state is SessionState.UNVERIFIED


@pytest.mark.parametrize(
    ("answer", "server"),
    [
        (b"# logresp QX1GAT-10 verified, server QN1NET, and more words\r\n", "QN1NET"),  # IS-Connect: more may follow
        (b"# logresp QX1GAT-10 verified, server QN1NET adjunct filter default\n", "QN1NET"),
        (b"# logresp qx1gat-10 verified, server QN1NET\r\n", "QN1NET"),
        (b"# logresp QX1GAT-10 verified\r\n", ""),
        (b"# logresp QX1GAT-10 verified, server \x1b[31m\x00\xff\r\n", r"\x1b[31m\x00\xff"),
        (b"# logresp QX1GAT-10 verified, server " + b"N" * 300 + b"\r\n", "N" * MAXIMUM_NAME),
    ],
)
def test_the_answer_is_read_however_it_is_dressed(answer: bytes, server: str) -> None:
    session = a_session_told(GREETING)
    assert session.receive(answer, OPENED_MS) == [LoginAnswered(verified=True, server=server)]


@pytest.mark.parametrize(
    "other",
    [
        b"# logresp QX1GAT-11 verified, server QN1NET\r\n",
        b"# logresp QX1GAT verified, server QN1NET\r\n",
        b"# logresp QX1GAT-10X verified, server QN1NET\r\n",
        b"# logresp verified, server QN1NET\r\n",
        b"# logresp QX1GAT-10 verifiedish\r\n",
        b"# logresp QX1GAT-10 not verified\r\n",
        b"logresp QX1GAT-10 verified, server QN1NET\r\n",
        b"QA1BCD>APRS:# logresp QX1GAT-10 verified, server QN1NET\r\n",
        b"# QA1BCD says: # logresp QX1GAT-10 verified, server QN1NET\r\n",
    ],
)
def test_what_is_no_answer_to_us_verifies_nothing(other: bytes) -> None:
    session = a_session_told(GREETING)
    assert session.receive(other, OPENED_MS) == []
    assert session.state is SessionState.LOGGING_IN
    assert not session.may_send


def test_what_was_not_verified_never_is() -> None:
    session = a_session_told(GREETING, UNVERIFIED)
    assert session.receive(VERIFIED, OPENED_MS) == []
    assert session.state is SessionState.UNVERIFIED
    assert not session.may_send


def test_what_was_verified_may_be_taken_back_and_counts_no_more_at_once() -> None:
    session = a_session_told(GREETING, VERIFIED)
    assert session.receive(VERIFIED, OPENED_MS) == []
    assert session.receive(b"# logresp QX1GAT-11 unverified, server QN1NET\r\n", OPENED_MS) == []
    assert session.may_send
    assert session.receive(UNVERIFIED, OPENED_MS) == [LoginAnswered(verified=False, server="QN1NET")]
    assert not session.may_send
    assert not session.accepted


def test_a_login_that_is_not_verified_is_given_up_after_its_time_though_the_server_lives() -> None:
    session = a_session_told(GREETING)
    session.receive(UNVERIFIED, 5_000)
    for now_ms in range(10_000, 125_000, 20_000):
        session.receive(b"# software 1.2 alive\r\n", now_ms)
    assert session.overdue(5_000 + UNVERIFIED_MS - 1) is None
    assert session.deadline_ms == 5_000 + UNVERIFIED_MS
    assert session.overdue(5_000 + UNVERIFIED_MS) == "the server does not accept the login"


def test_a_server_that_does_not_verify_and_falls_silent_is_given_up_as_any_other() -> None:
    session = a_session_told(GREETING, UNVERIFIED)
    assert session.overdue(OPENED_MS + SILENCE_MS) == "the server was silent for 90 s"


def test_a_login_that_asks_to_receive_only_stays_unverified() -> None:
    session = a_session(None)
    session.receive(GREETING + UNVERIFIED, OPENED_MS)
    session.receive(b"# software 1.2 alive\r\n", 10 * UNVERIFIED_MS)
    assert session.accepted
    assert session.overdue(10 * UNVERIFIED_MS) is None


@pytest.mark.parametrize(
    ("said", "remark"),
    [
        (b"", ""),
        (b"# port full\r\n", "port full"),
        (GREETING, "software 1.2"),
        (GREETING + b"#    login by that name: no\r\n", "login by that name: no"),
        (GREETING + b"# software is full\r\n", "software is full"),
        (GREETING + UNVERIFIED, "logresp QX1GAT-10 unverified, server QN1NET"),
        (GREETING + UNVERIFIED + GREETING, "logresp QX1GAT-10 unverified, server QN1NET"),
        (GREETING + UNVERIFIED + b"# ask us\r\n", "ask us"),
        (GREETING + VERIFIED, ""),
        (GREETING + VERIFIED + b"# software 1.2 alive at noon\r\n", ""),
        (GREETING + VERIFIED + b"# we stop at noon\r\n", "we stop at noon"),
        (GREETING + VERIFIED + b"# we stop at noon\r\n# software 1.2 alive\r\n", ""),
        (GREETING + VERIFIED + UNVERIFIED, "logresp QX1GAT-10 unverified, server QN1NET"),
        (b"#\r\n" + VERIFIED + b"# said by one that greeted with nothing\r\n", "said by one that greeted with nothing"),
        (GREETING + b"# " + b"n" * 300 + b"\r\n", "n" * MAXIMUM_REMARK),
        (GREETING + b"# \x1b[31mno\x00 caf\xe9\r\n", r"\x1b[31mno\x00 caf\xe9"),
        (GREETING + b"QA1BCD>APRS,TCPIP*:# no remark\r\n", "software 1.2"),
    ],
)
def test_the_last_remark_of_a_server_is_kept_printable_and_cut(said: bytes, remark: str) -> None:
    assert a_session_told(said).remark == remark
    assert MAXIMUM_REMARK == 120  # ours


def test_comments_and_lines_are_counted_and_discarded() -> None:
    session = a_session_told(GREETING, VERIFIED)
    assert session.receive(b"# 1\r\nQA1BCD>APRS,TCPIP*:>on air\r\n\r\n# 2\r\n:no header\r\n", OPENED_MS) == []
    assert session.comments == 4
    assert session.lines_discarded == 2


def test_a_line_without_end_is_one_line_and_is_not_kept() -> None:
    session = a_session_told(GREETING, VERIFIED)
    for _ in range(100):
        session.receive(b"x" * 1000, OPENED_MS)
    session.receive(b"\r\n# alive\r\n", OPENED_MS)
    assert session.lines_discarded == 1
    assert session.comments == 3


def test_a_server_that_does_not_greet_is_given_up_when_the_login_is_due() -> None:
    session = a_session()
    session.receive(b"QA1BCD>APRS:>no greeting is this\r\n", OPENED_MS + LOGIN_MS - 1)
    assert session.overdue(OPENED_MS + LOGIN_MS - 1) is None
    assert session.overdue(OPENED_MS + LOGIN_MS) == "the server did not greet"


def test_a_server_that_does_not_answer_is_given_up_even_if_it_chatters() -> None:
    session = a_session_told(GREETING)
    session.receive(b"# alive\r\n", OPENED_MS + LOGIN_MS - 1)
    assert session.overdue(OPENED_MS + LOGIN_MS) == "the server did not answer the login"


def test_a_silent_server_is_given_up_after_the_stated_time() -> None:
    session = a_session_told(GREETING, VERIFIED)
    session.receive(b"# alive\r\n", 50_000)
    assert session.deadline_ms == 50_000 + SILENCE_MS
    assert session.overdue(50_000 + SILENCE_MS - 1) is None
    assert session.overdue(50_000 + SILENCE_MS) == "the server was silent for 90 s"


def test_half_a_line_is_no_sign_of_life() -> None:
    session = a_session_told(GREETING, VERIFIED)
    session.receive(b"# ali", 50_000)
    assert session.deadline_ms == OPENED_MS + SILENCE_MS


@pytest.mark.parametrize(
    ("callsign", "command"),
    [
        ("", ""),
        ("QX1GAT-10 pass 1", ""),
        ("QX1GAT\r\nQ", ""),
        ("DEADBEE0", ""),  # IS-Q: eight hex digits mean an address
        (CALLSIGN, "m/50\r\nQA1BCD>APRS:>injected"),
        (CALLSIGN, "m/5ö"),
        (CALLSIGN, "x" * 512),
    ],
)
def test_a_login_that_makes_no_proper_line_is_refused_without_showing_the_passcode(callsign: str, command: str) -> None:
    with pytest.raises(LoginError) as refusal:
        Login(callsign, PASSCODE, command)
    assert str(PASSCODE) not in str(refusal.value)


def test_the_passcode_shows_in_no_representation() -> None:
    session = a_session_told(GREETING)
    assert str(PASSCODE) not in repr(Login(CALLSIGN, PASSCODE)) + repr(session) + str(session)


CONVERSATION = GREETING + b"# 1\r\n" + VERIFIED + b"QA1BCD>APRS,TCPIP*:>x\r\n# 2\r\n" + UNVERIFIED


@given(st.lists(st.integers(0, len(CONVERSATION)), max_size=30))
def test_any_split_of_the_bytes_means_the_same(cuts: list[int]) -> None:
    session = a_session()
    events: list[Event] = []
    places = [0, *sorted(cuts), len(CONVERSATION)]
    for start, end in pairwise(places):
        events += session.receive(CONVERSATION[start:end], OPENED_MS)
    assert events == [
        Greeted("software 1.2"),
        LoginAnswered(verified=True, server="QN1NET"),
        LoginAnswered(verified=False, server="QN1NET"),
    ]
    assert (session.comments, session.lines_discarded) == (5, 1)


FRAGMENTS = st.sampled_from(
    [b"#", b"# logresp ", b"QX1GAT-10", b" verified", b", server ", b"\r", b"\n", b"\0", b"\xff"]
)


@given(st.lists(st.one_of(st.binary(max_size=600), FRAGMENTS), max_size=40))
def test_any_bytes_at_all_leave_it_whole(said: list[bytes]) -> None:
    session = a_session()
    for octets in said:
        for event in session.receive(octets, OPENED_MS):
            name = event.software if isinstance(event, Greeted) else event.server
            assert name.isascii()
            assert name.isprintable()
            assert len(name) <= MAXIMUM_NAME
    assert session.remark.isascii()
    assert session.remark.isprintable() or not session.remark
    assert len(session.remark) <= MAXIMUM_REMARK
    assert session.take_to_send().count(b"\n") <= 1
    assert session.may_send == (session.state is SessionState.VERIFIED)


def beating(*moments_ms: int, words: bytes = b"# sim 1\r\n") -> Session:
    """A verified session whose server said a comment at each of these moments."""
    session = a_session_told(b"# sim 1\r\n", b"# logresp QX1GAT-10 verified, server QN1NET\r\n")
    for moment_ms in moments_ms:
        session.receive(words, moment_ms)
    return session


@pytest.mark.parametrize(
    ("moments_ms", "beat_ms"),
    [
        ((), None),
        ((1_000,), None),
        ((1_000, 21_000), 20_000),
        ((1_000, 21_000, 22_000, 41_000), 20_000),
        ((1_000, 1_001), 5_000),
        ((1_000, 600_000), 60_000),
        ((1_000, 51_000, 71_000, 91_000, 111_000, 131_000), 20_000),
    ],
)
def test_how_often_a_server_beats_is_learnt_from_its_own_comments_since_the_login(
    moments_ms: tuple[int, ...], beat_ms: int | None
) -> None:
    assert beating(*moments_ms).beat_ms == beat_ms


def test_a_server_that_missed_two_heartbeats_is_mute_until_any_octet_comes() -> None:
    session = beating(1_000, 21_000)
    assert not session.is_mute(61_000)
    assert session.is_mute(61_001)
    session.receive(b"x", 62_000)
    assert not session.is_mute(62_000)


def test_a_server_that_never_beat_is_never_mute() -> None:
    assert not beating(1_000).is_mute(89_000)
