import json
from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from gateway.bus.adoption import Adoption
from gateway.bus.options import QueueLimits
from gateway.bus.outbox import BusMessage, MessageOutbox, MessageTally
from gateway.bus.topics import TopicGroup, Topics
from gateway.feed.heard_object import HeardPayload
from gateway.feed.stations import Stations
from gateway.frames.plain import PlainObject
from gateway.judge.verdict import Judged, Reason
from tests.judged_frames import Post, offer

LINE = b"QA1BCD-9>APRS,qAO,QX1GAT-10:>x\r\n"
STREAMS = (TopicGroup.HEARD, TopicGroup.LINES, TopicGroup.FORWARDED, TopicGroup.ALERTS)


def _outbox(limits: QueueLimits | None = None, *, settled: bool = True, stations: int = 5000) -> MessageOutbox:
    memory = Stations(stations)
    outbox = MessageOutbox(Topics("stile", "QX1GAT-10"), limits or QueueLimits(), memory, Adoption(memory, Post().now))
    if settled:
        outbox.connected()
        outbox.settle()
    return outbox


def _take_all(outbox: MessageOutbox) -> list[BusMessage]:
    messages = []
    while not outbox.is_empty:
        if (alert := outbox.alert()) is not None:
            messages.append(alert)
            outbox.alert_answered()
        elif (message := outbox.take()) is not None:
            messages.append(message)
    return messages


def _groups(messages: list[BusMessage]) -> list[str]:
    return [message.group.value for message in messages]


def test_a_frame_goes_to_every_topic_that_it_belongs_to() -> None:
    outbox = _outbox()
    payload = offer(outbox, Post().hear(b"QA1BCD-9>APRS,QD1RPT*:>x"), line=LINE)
    outbox.offer_forwarded([payload], 1_780_747_200_000)
    messages = {message.topic: message for message in _take_all(outbox)}
    assert set(messages) == {
        "stile/QX1GAT-10/heard",
        "stile/QX1GAT-10/lines",
        "stile/QX1GAT-10/forwarded",
        "stile/QX1GAT-10/stations/QA1BCD-9",
    }
    assert messages["stile/QX1GAT-10/lines"].payload == b"QA1BCD-9>APRS,QD1RPT*:>x"
    assert json.loads(messages["stile/QX1GAT-10/forwarded"].payload)["line"] == "QA1BCD-9>APRS,qAO,QX1GAT-10:>x"
    assert [topic for topic, message in messages.items() if message.retain] == ["stile/QX1GAT-10/stations/QA1BCD-9"]


def test_the_line_is_that_of_the_frame_as_heard() -> None:
    outbox = _outbox()
    offer(outbox, Post().hear(b"QD2GAT>APZ001,QD1RPT*:}QB2BCD-7>APRS,TCPIP,QD2GAT*:>x", reason=Reason.EMPTY))
    lines = [message.payload for message in _take_all(outbox) if message.group is TopicGroup.LINES]
    assert lines == [b"QD2GAT>APZ001,QD1RPT*:}QB2BCD-7>APRS,TCPIP,QD2GAT*:>x"]


def test_what_was_damaged_is_heard_but_has_no_line_and_no_station() -> None:
    outbox = _outbox()
    offer(outbox, Post().hear(b"no frame"))
    assert _groups(_take_all(outbox)) == ["heard"]


def test_a_full_queue_drops_its_oldest_and_says_so() -> None:
    post, outbox = Post(), _outbox(QueueLimits(heard=2, lines=3))
    for _ in range(5):
        offer(outbox, post.hear(b"QA1BCD-9>APRS:>x"))
    sequences = [
        json.loads(message.payload)["sequence"] for message in _take_all(outbox) if message.topic[-5:] == "heard"
    ]
    assert sequences == [4, 5]
    assert (outbox.tally[TopicGroup.HEARD].shed, outbox.tally[TopicGroup.LINES].shed) == (3, 2)


def test_what_is_shed_is_never_encoded() -> None:
    read: list[int] = []

    def reader(judged: Judged) -> PlainObject | None:
        read.append(judged.heard.sequence)
        return None

    post, outbox = Post(), _outbox(QueueLimits(heard=1, lines=1))
    for _ in range(100):
        offer(outbox, post.hear(b"QA1BCD-9>APRS:>x"), reader)
    assert read == []
    _take_all(outbox)
    assert read == [100]


def test_an_object_for_three_topics_is_encoded_once() -> None:
    read: list[int] = []

    def reader(judged: Judged) -> PlainObject | None:
        read.append(judged.heard.sequence)
        return {"kind": "status"}

    outbox = _outbox()
    payload = offer(outbox, Post().hear(b"QA1BCD-9>APRS:>x"), reader)
    outbox.offer_forwarded([payload], 0)
    assert len(_take_all(outbox)) == 4
    assert read == [1]


def test_a_frame_that_went_up_long_after_it_was_heard_is_still_published() -> None:
    post, outbox = Post(), _outbox(QueueLimits(forwarded=1))
    first = offer(outbox, post.hear(b"QA1BCD-9>APRS:>x"))
    offer(outbox, post.hear(b"QA1BCD-9>APRS:>y"))
    outbox.offer_forwarded([first], 0)
    payloads = [message.payload for message in _take_all(outbox) if message.group is TopicGroup.FORWARDED]
    assert [json.loads(payload)["sequence"] for payload in payloads] == [1]


def test_only_the_newest_health_is_published_and_again_on_a_new_connection() -> None:
    outbox = _outbox()
    outbox.offer_health({"state": "ok"})
    outbox.offer_health({"state": "down"})
    assert [(message.payload, message.retain) for message in _take_all(outbox)] == [(b'{"state":"down"}', True)]
    assert outbox.tally[TopicGroup.HEALTH].superseded == 1
    outbox.connected()
    assert [message.payload for message in _take_all(outbox)] == [b'{"state":"down"}']


def test_only_the_newest_frame_of_a_station_is_published_in_its_topic() -> None:
    post, outbox = Post(), _outbox()
    for _ in range(3):
        offer(outbox, post.hear(b"QA1BCD-9>APRS:>x"))
    stations = [message for message in _take_all(outbox) if message.group is TopicGroup.STATIONS]
    assert [json.loads(message.payload)["memory"]["frames"] for message in stations] == [3]


def test_a_station_evicted_from_memory_is_cleared_at_the_broker() -> None:
    post, outbox = Post(), _outbox(stations=1)
    offer(outbox, post.hear(b"QA1>APRS:>x"))
    _take_all(outbox)
    offer(outbox, post.hear(b"QA2>APRS:>x"))
    changes = [message for message in _take_all(outbox) if message.group is TopicGroup.STATIONS]
    assert [(message.topic[-3:], bool(message.payload)) for message in changes] == [("QA1", False), ("QA2", True)]
    assert all(message.retain for message in changes)


def test_a_station_forgotten_is_cleared_at_the_broker() -> None:
    outbox = _outbox()
    offer(outbox, Post().hear(b"QA1>APRS:>x"))
    _take_all(outbox)
    outbox.stations.forget(86_400_000)
    assert [(message.topic, message.payload) for message in _take_all(outbox)] == [
        ("stile/QX1GAT-10/stations/QA1", b"")
    ]


def test_an_alert_is_offered_again_until_the_broker_has_it() -> None:
    outbox = _outbox()
    outbox.offer_alert({"alert": "emergency"})
    alert = outbox.alert()
    assert alert is not None
    assert alert.quality == 1
    outbox.disconnected()
    outbox.connected()
    assert outbox.alert() is alert
    outbox.alert_answered()
    assert outbox.alert() is None


def test_a_payload_that_cannot_be_made_is_counted_and_passed_over() -> None:
    def reader(judged: Judged) -> PlainObject | None:
        if judged.heard.sequence == 1:
            raise ZeroDivisionError
        return None

    post, outbox = Post(), _outbox()
    offer(outbox, post.hear(b"QA1>APRS:>x"), reader)
    offer(outbox, post.hear(b"QA2>APRS:>x"), reader)
    assert sorted(_groups(_take_all(outbox))) == ["heard", "lines", "lines", "stations"]
    assert (outbox.tally[TopicGroup.HEARD].failed, outbox.failure) == (1, "ZeroDivisionError")


OFFERS = st.sampled_from(
    ["heard", "kept", "damaged", "forwarded", "alert", "health", "take", "lose", "answer", "break"]
)


@given(st.lists(OFFERS, max_size=80))
def test_every_message_of_a_stream_is_accounted_for_and_no_queue_outgrows_its_limit(steps: list[str]) -> None:
    post, outbox = Post(), _outbox(QueueLimits(heard=4, forwarded=3, lines=5, alerts=2), stations=3)
    last = HeardPayload(post.hear(b"QA0>APRS:>x"))
    for step in steps:
        last = _step(outbox, post, step, last)
        waiting = outbox.waiting()
        for group in STREAMS:
            tally = outbox.tally[group]
            assert tally.offered == tally.published + tally.shed + tally.lost + tally.failed + waiting[group]
        assert waiting[TopicGroup.HEARD] <= 4
        assert waiting[TopicGroup.LINES] <= 5
        assert waiting[TopicGroup.FORWARDED] <= 3
        assert waiting[TopicGroup.ALERTS] <= 2 + 1  # and the one in hand
        assert waiting[TopicGroup.STATIONS] <= 2 * 3  # as many to write, and to clear
    outbox.shed_all()
    assert outbox.is_empty
    assert sum(outbox.waiting().values()) == 0


def _step(outbox: MessageOutbox, post: Post, step: str, last: HeardPayload) -> HeardPayload:
    match step:
        case "heard" | "kept":
            reason = Reason.DUPLICATE if step == "kept" else None
            source = f"QA{last.judged.heard.sequence % 7}"
            last = offer(outbox, post.hear(f"{source}>APRS:>x".encode(), reason=reason))
        case "damaged":
            offer(outbox, post.hear(b"no frame"))
        case "forwarded":
            outbox.offer_forwarded([last], 0)
        case "alert":
            outbox.offer_alert({"alert": "emergency"})
        case "health":
            outbox.offer_health({})
        case _:
            _go_on(outbox, step)
    return last


def _go_on(outbox: MessageOutbox, step: str) -> None:
    match step:
        case "take" | "lose":
            message = outbox.take()
            if message is not None:
                (outbox.published if step == "take" else outbox.lost)(Counter([message.group]))
        case "answer":
            if outbox.alert() is not None:
                outbox.alert_answered()
        case "break":
            outbox.disconnected()
            outbox.connected()
            outbox.settle()


def test_a_bus_that_stops_counts_what_still_waited_as_shed() -> None:
    outbox = _outbox()
    offer(outbox, Post().hear(b"QA1>APRS:>x"))
    outbox.shed_all()
    assert outbox.tally[TopicGroup.HEARD] == MessageTally(offered=1, shed=1)
