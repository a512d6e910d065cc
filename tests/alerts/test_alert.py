"""The alert objects, held to their schema."""

import pytest

from gateway.alerts.alert import AlertKind, alert_object, emergency_alert
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
        alert_object(AlertKind.MATCH, "near", moment, "it is there", since_ms=NOON_MS, repeated=True, heard=HEARD),
        alert_object(AlertKind.MATCH, "text", moment, "a frame", heard=HEARD),
        alert_object(AlertKind.SILENT, "buoy", moment, "not heard", since_ms=NOON_MS, source="QA1BUOY"),
        alert_object(AlertKind.DEAF, "deaf", moment, "nothing heard", since_ms=NOON_MS, repeated=True),
        alert_object(AlertKind.DEAF, "deaf", moment, "nothing heard", since_ms=NOON_MS, receiver="vhf"),
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
