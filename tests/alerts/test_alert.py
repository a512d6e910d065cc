"""The alert objects, held to their schema."""

import pytest

from gateway.alerts.alert import deaf_alert, emergency_alert, match_alert, silent_alert
from gateway.feed.heard_object import encode, heard_object
from gateway.feed.schemas import Schema
from gateway.frames.plain import PlainObject
from tests.judged_frames import NOON_MS, Post
from tests.payload_schemas import held_to, validator

NOON = "2026-06-06T12:00:00.000Z"
MAYDAY = Post().hear(b'QB2BCD-7>332UVT:`(_fn"Oj/')  # ours, after APRS101 chapter 10: message bits 000
HEARD = heard_object(MAYDAY)


def test_an_emergency_alert_holds_the_frame_that_told_of_it() -> None:
    assert held_to(Schema.ALERT, encode(emergency_alert(MAYDAY, HEARD))) == {
        "kind": "emergency",
        "name": "emergency",
        "time": NOON,
        "what": "a station says that it is in an emergency; this is not a distress watch",
        "heard": HEARD,
    }


def test_what_is_told_again_says_so() -> None:
    assert held_to(Schema.ALERT, encode(emergency_alert(MAYDAY, HEARD, repeated=True)))["repeated"] is True


def test_each_kind_of_alert_is_of_the_schema() -> None:
    moment = MAYDAY.heard.moment
    for alert in (
        match_alert("near", MAYDAY, HEARD, "it is in the area", since_ms=NOON_MS, repeated=True),
        match_alert("text", MAYDAY, HEARD, "a frame", since_ms=None, repeated=False),
        silent_alert("buoy", "QA1BUOY", moment, "not heard", since_ms=NOON_MS, repeated=False),
        deaf_alert("deaf", None, moment, "nothing heard", since_ms=NOON_MS, repeated=True),
        deaf_alert("deaf", "vhf", moment, "nothing heard", since_ms=NOON_MS, repeated=False),
    ):
        held_to(Schema.ALERT, encode(alert))


@pytest.mark.parametrize(
    "change",
    [
        {"kind": "noise"},
        {"what": ""},
        {"repeated": False},
        {"since": NOON},
        {"source": "QA1BUOY"},
        {"receiver": "vhf"},
        {"name": "another"},
        {"heard": {}},
        {"colour": "red"},
    ],
)
def test_an_object_that_is_no_emergency_alert_is_noticed(change: PlainObject) -> None:
    assert not validator(Schema.ALERT).is_valid(emergency_alert(MAYDAY, HEARD) | change)
