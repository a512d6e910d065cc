"""The plain form: what JSON can hold of a heard frame, and back."""

import base64
import json
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.frames import third_party
from gateway.frames.frame import Damaged, Frame
from gateway.frames.header import Header, Repeater
from gateway.frames.heard import Heard, Moment, Place
from gateway.frames.plain import PlainFormError, from_object, from_rfc3339, rfc3339, to_object
from tests.frames.strategies import PLAIN, any_frames, text_frames

times_ms = st.integers(0, int(datetime(2100, 1, 1, tzinfo=UTC).timestamp() * 1000))
moments = st.builds(Moment, st.integers(0, 10**12), times_ms)
damages = st.builds(Damaged, st.text(max_size=40), st.binary(max_size=100))
wrapped = st.builds(lambda outer, inner: Frame(outer.header, b"}" + inner.information), text_frames, text_frames)
everything_heard = st.builds(
    Heard,
    st.text(min_size=1, max_size=12),
    st.integers(1, 10**9),
    moments,
    st.text(min_size=1, max_size=12),
    st.integers(0, 15),
    any_frames() | wrapped | damages,
    st.none() | st.builds(Place, st.floats(-90, 90), st.floats(-180, 180)),
)


def plain_form(heard: Heard) -> dict[str, Any]:
    innermost = None if isinstance(heard.frame, Damaged) else third_party.unwrap(heard.frame).innermost
    return to_object(heard, innermost)


@given(everything_heard)
def test_what_is_written_is_read_as_itself_through_json(heard: Heard) -> None:
    assert from_object(json.loads(json.dumps(plain_form(heard)))) == heard


def test_an_ordinary_frame_has_these_fields_and_no_others() -> None:
    heard = from_object(PLAIN)
    assert plain_form(heard) == PLAIN


def test_control_pid_and_port_stand_only_where_they_are_not_the_usual_ones() -> None:
    frame = Frame(Header("QA1BCD", "APRS"), b"x", 0x3F, None)
    plain = plain_form(Heard("first", 1, Moment(0, 0), "vhf", 3, frame))
    assert (plain["control"], plain["pid"], plain["port"]) == (0x3F, None, 3)


def test_octets_that_are_no_text_are_kept_beside_the_text_in_base64() -> None:
    frame = Frame(Header("QA1BCD", "APRS"), b"caf\xe9")
    plain = plain_form(Heard("first", 1, Moment(0, 0), "vhf", 0, frame))
    assert plain["information"] == "caf\ufffd"
    assert base64.b64decode(plain["information_base64"]) == b"caf\xe9"


def test_a_third_party_frame_shows_the_innermost_and_keeps_the_outer() -> None:
    frame = Frame(Header("QX9GAT", "APRS"), b"}QA1BCD-9>APRS,QNET,QX9GAT*:>hello")
    plain = plain_form(Heard("first", 1, Moment(0, 0), "vhf", 0, frame))
    assert (plain["source"], plain["information"]) == ("QA1BCD-9", ">hello")
    assert plain["outer"]["source"] == "QX9GAT"


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"run": 7}, "run"),
        ({"sequence": "7"}, "sequence"),
        ({"sequence": True}, "sequence"),
        ({"elapsed_ms": -1}, "elapsed_ms"),
        ({"elapsed_ms": 10**300}, "elapsed_ms"),
        ({"elapsed_ms": 1.5}, "elapsed_ms"),
        ({"time": None}, "time"),
        ({"time": "yesterday"}, "yesterday"),
        ({"receiver": None}, "receiver"),
        ({"port": 16}, "port"),
        ({"source": None}, "source"),
        ({"source": "QA1>BCD"}, "source"),
        ({"destination": "AP\nRS"}, "destination"),
        ({"path": "QD1HRB"}, "path"),
        ({"path": [7]}, "path"),
        ({"path": ["QD1\rHRB"]}, "path"),
        ({"control": 256}, "control"),
        ({"pid": -1}, "pid"),
        ({"pid": "f0"}, "pid"),
        ({"information": None}, "information"),
        ({"information": "\ud800"}, "surrogates"),
        ({"information_base64": "%%%"}, "information_base64"),
        ({"information_base64": "é"}, "information_base64"),
        ({"outer": None}, "outer"),
        ({"outer": [1]}, "outer"),
        ({"damage": 7}, "damage"),
        ({"damage": "cut"}, "octets_base64"),
        ({"place": None}, "place"),
        ({"place": {"latitude": 58.6}}, "place"),
        ({"place": {"latitude": 90.1, "longitude": 0.0}}, "place"),
        ({"place": {"latitude": 0.0, "longitude": -180.1}}, "place"),
    ],
)
def test_what_is_no_heard_object_is_refused_and_the_field_is_named(change: dict[str, Any], named: str) -> None:
    with pytest.raises(PlainFormError, match=named):
        from_object(PLAIN | change)


def test_the_highest_port_and_the_highest_octet_are_numbers() -> None:
    heard = from_object(PLAIN | {"port": 15, "control": 255, "pid": 255})
    assert isinstance(heard, Heard)
    assert isinstance(heard.frame, Frame)
    assert (heard.port, heard.frame.control, heard.frame.pid) == (15, 255, 255)


def test_a_place_at_the_pole_and_at_the_date_line_is_one() -> None:
    heard = from_object(PLAIN | {"place": {"latitude": -90, "longitude": 180.0}})
    assert isinstance(heard, Heard)
    assert heard.place == Place(-90.0, 180.0)


@pytest.mark.parametrize("plain", [None, 7, "text", [], {}])
def test_what_is_no_object_at_all_is_refused(plain: Any) -> None:  # noqa: ANN401 - whatever JSON can hold
    with pytest.raises(PlainFormError):
        from_object(plain)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=10),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)
fields = st.sampled_from([*PLAIN, "port", "control", "pid", "outer", "damage", "octets_base64", "information_base64"])


@given(st.dictionaries(fields, json_values, max_size=4))
def test_any_values_at_all_are_read_or_refused_with_its_own_error(change: dict[str, Any]) -> None:
    try:
        heard = from_object(PLAIN | change)
    except PlainFormError:
        return
    assert isinstance(heard, Heard)


@given(times_ms)
def test_times_are_written_to_the_millisecond_and_read_back(time_ms: int) -> None:
    text = rfc3339(time_ms)
    assert from_rfc3339(text) == time_ms
    assert datetime.fromisoformat(text) == datetime.fromtimestamp(time_ms / 1000, UTC)


def test_a_time_without_an_offset_is_utc_and_one_with_it_is_converted() -> None:
    assert from_rfc3339("2026-06-06T12:00:00") == from_rfc3339("2026-06-06T13:00:00+01:00")


def test_an_ssid_of_0_is_not_kept_as_with_every_reader() -> None:
    frame = Frame(Header("QA1BCD", "APRS"), b"x")
    plain = to_object(Heard("run", 1, Moment(0, 0), "vhf", 0, frame), frame)
    heard = from_object({**plain, "source": "QA1BCD-0", "destination": "APRS-0", "path": ["QD1AA-0*", "WIDE2-0"]})
    assert isinstance(heard.frame, Frame)
    assert heard.frame.header.text == "QA1BCD>APRS,QD1AA*,WIDE2"


def test_what_has_two_hyphens_is_no_callsign_and_does_not_become_one() -> None:
    frame = Frame(Header("QA1BCD-9-0", "APRS", (Repeater("QD1AA-1-0", used=True),)), b"x")
    heard = Heard("run", 1, Moment(0, 0), "vhf", 0, frame)
    assert from_object(to_object(heard, frame)).frame == frame
