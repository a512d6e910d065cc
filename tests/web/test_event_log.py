import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.alerts.alert import emergency_alert
from gateway.feed.heard_object import HeardPayload, heard_object
from gateway.feed.schemas import Schema
from gateway.web.event_log import EVENT_OCTETS, EventKind, EventLog, Start, weight_of
from tests.judged_frames import NOON_MS, Post
from tests.payload_schemas import held_to
from tests.web.event_reader import data_of, events_in
from tests.web.opened import LINE, READER, Gateway

ALL = 1 << 30


def log_of(limit: int = 100, limit_octets: int = ALL) -> EventLog:
    return EventLog("0f1e2d3c4b5a", limit=limit, limit_octets=limit_octets)


def heard(number: int = 0) -> HeardPayload:
    return HeardPayload(Post().hear(b"QA1BCD>APRS:>%d" % number), READER)


def record(log: EventLog, payload: HeardPayload) -> None:
    log.heard(payload, weight_of(payload))


def filled(events: int, limit: int = 100) -> EventLog:
    log = log_of(limit)
    for number in range(events):
        record(log, heard(number))
    return log


def test_each_kind_of_event_carries_its_object_under_its_name() -> None:
    log = log_of()
    judged = Post().hear(b'QB2BCD-7>T8SVUP:`(_fn"Oj/')  # ours, after APRS101 chapter 10
    payload = HeardPayload(judged, READER, b'QB2BCD-7>T8SVUP,qAO,QX1GAT-10:`(_fn"Oj/\r\n')
    record(log, payload)
    log.forwarded(payload, NOON_MS)
    log.health(Gateway().health().to_object())
    log.alert(emergency_alert(judged, heard_object(judged)))
    events = events_in(log.read(0, ALL).octets)
    assert [event.event for event in events] == ["heard", "forwarded", "health", "alert"]
    for event, schema in zip(events, (Schema.HEARD, Schema.FORWARDED, Schema.HEALTH, Schema.ALERT), strict=True):
        held_to(schema, event.data.encode())


def test_events_are_numbered_from_one_over_all_kinds_and_their_ids_name_the_run() -> None:
    log = filled(2)
    log.health({})
    assert [event.id for event in events_in(log.read(0, ALL).octets)] == [
        f"0f1e2d3c4b5a-{number}" for number in (1, 2, 3)
    ]
    assert log.newest == 3


def test_a_stream_without_an_id_begins_with_what_comes_next() -> None:
    log = filled(3)
    assert log.start(None) == Start(3)


def test_a_stream_that_comes_back_gets_what_it_has_not_had() -> None:
    log = filled(5)
    start = log.start("0f1e2d3c4b5a-3")
    assert start == Start(3)
    assert [event.id for event in events_in(log.read(start.cursor, ALL).octets)] == ["0f1e2d3c4b5a-4", "0f1e2d3c4b5a-5"]


def test_a_stream_that_comes_back_too_late_is_told_exactly_how_many_it_missed() -> None:
    log = filled(10, limit=4)
    piece = log.read(log.start("0f1e2d3c4b5a-2").cursor, ALL)
    missed, *others = events_in(piece.octets)
    assert (missed.event, data_of(missed)) == ("missed", {"because": "behind", "count": 4})
    assert [event.id for event in (missed, *others)] == [f"0f1e2d3c4b5a-{number}" for number in (6, 7, 8, 9, 10)]
    assert (piece.cursor, piece.missed) == (10, 4)


def test_a_stream_of_another_run_is_told_that_nobody_knows_how_many_and_gets_what_is_remembered() -> None:
    log = filled(2)
    start = log.start("another-run-77")
    (missed,) = events_in(start.words)
    assert (missed.event, missed.id, data_of(missed)) == ("missed", "0f1e2d3c4b5a-0", {"because": "restarted"})
    assert start.cursor == 0


@pytest.mark.parametrize(
    "written", ["", "5", "-", "0f1e2d3c4b5a-", "0f1e2d3c4b5a-٣", "0f1e2d3c4b5a-1\n", "a b-1", "x" * 99]
)
def test_what_is_no_id_of_ours_counts_as_none(written: str) -> None:
    assert filled(3).start(written) == Start(3)


def test_an_id_from_the_future_begins_with_what_comes_next() -> None:
    assert filled(3).start("0f1e2d3c4b5a-999999999999999") == Start(3)


@given(st.text(max_size=100))
def test_any_text_at_all_as_an_id_begins_somewhere_in_the_log(written: str) -> None:
    assert 0 <= filled(3).start(written).cursor <= 3


def test_one_piece_holds_about_as_much_as_was_asked_for_and_at_least_one_event() -> None:
    log = filled(50)
    first = log.read(0, 1)
    assert first.cursor == 1
    cursor = 0
    seen = 0
    while cursor < log.newest:
        piece = log.read(cursor, 1000)
        seen += len(events_in(piece.octets))
        cursor = piece.cursor
        assert len(piece.octets) < 1000 + EVENT_OCTETS
    assert seen == 50


def test_what_is_remembered_is_bounded_in_octets_too() -> None:
    log = log_of(limit_octets=10 * EVENT_OCTETS)
    for _ in range(100):
        record(log, HeardPayload(Post().hear(b"QA1BCD>APRS:>" + b"x" * 400), READER))
    assert log.newest - log.oldest + 1 == 2


def test_one_event_is_always_remembered_however_long() -> None:
    log = log_of(limit_octets=1)
    record(log, heard())
    record(log, heard())
    assert (log.oldest, log.newest) == (2, 2)


def test_an_event_that_cannot_be_made_is_counted_and_passed_over() -> None:
    log = filled(1)
    log.health({"set": {object()}})
    record(log, heard())
    piece = log.read(0, ALL)
    assert [event.id for event in events_in(piece.octets)] == ["0f1e2d3c4b5a-1", "0f1e2d3c4b5a-3"]
    assert (piece.cursor, log.failed) == (3, 1)


def test_nothing_is_encoded_before_a_stream_wants_it() -> None:
    asked = []

    def reader(_judged: object) -> None:
        asked.append(1)

    log = log_of()
    record(log, HeardPayload(Post().hear(LINE), reader))
    assert not asked
    log.read(0, ALL)
    assert asked


@given(st.binary(max_size=300))
def test_any_information_at_all_stays_inside_its_event(information: bytes) -> None:
    log = log_of()
    judged = Post().hear(b"QA1BCD>APRS:" + information)
    record(log, HeardPayload(judged, READER))
    log.forwarded(HeardPayload(judged, READER, b"line:" + information), NOON_MS)
    events = events_in(log.read(0, ALL).octets)
    assert [event.event for event in events] == [EventKind.HEARD, EventKind.FORWARDED]
    assert json.loads(events[0].data) == heard_object(judged, READER(judged))
