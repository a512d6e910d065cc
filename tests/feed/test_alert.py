from gateway.feed.alert import emergency_alert
from gateway.feed.heard_object import encode, heard_object
from gateway.feed.schemas import Schema
from tests.judged_frames import Post
from tests.payload_schemas import held_to


def test_an_emergency_alert_holds_the_frame_that_told_of_it() -> None:
    judged = Post().hear(b'QB2BCD-7>T8SVUP:`(_fn"Oj/')
    plain = held_to(Schema.ALERT, encode(emergency_alert(judged, heard_object(judged))))
    assert plain == {"alert": "emergency", "time": "2026-06-06T12:00:00.000Z", "heard": heard_object(judged)}
