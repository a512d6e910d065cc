"""How busy the post is, by the clocks of a post that stands still until it is told to go on."""

from hypothesis import given
from hypothesis import strategies as st

from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import HeardPayload
from gateway.feed.schemas import Schema
from gateway.feed.stations import Stations
from gateway.watches.activity import Activity, ActivityWatch
from tests.judged_frames import NOON_MS, Post
from tests.payload_schemas import validator


def test_nothing_was_heard_yet() -> None:
    assert ActivityWatch().now(Post().now(), Stations()) == Activity(0, 0, None)


def test_frames_count_for_a_minute_and_stations_for_an_hour() -> None:
    post, stations, watch = Post(), Stations(), ActivityWatch()
    for source in (b"QA1BCD-9", b"QA2BCD", b"QA1BCD-9"):
        stations.hear(HeardPayload(post.hear(source + b">APRS:>x")))
        watch.heard(post.now())
        post.wait(20_000)
    assert watch.now(post.now(), stations) == Activity(2, 2, NOON_MS + 40_000)
    post.wait(59 * 60_000)
    assert watch.now(post.now(), stations) == Activity(0, 2, NOON_MS + 40_000)
    post.wait(20_001)
    assert watch.now(post.now(), stations) == Activity(0, 1, NOON_MS + 40_000)


def test_a_station_that_is_forgotten_counts_no_more() -> None:
    post, stations, watch = Post(), Stations(limit=1), ActivityWatch()
    for source in (b"QA1BCD-9", b"QA2BCD"):
        stations.hear(HeardPayload(post.hear(source + b">APRS:>x")))
    assert watch.now(post.now(), stations).stations_last_hour == 1


@given(st.lists(st.tuples(st.integers(0, 90_000), st.integers(1, 200)), max_size=30))
def test_the_minute_is_counted_to_the_second(steps: list[tuple[int, int]]) -> None:
    post, watch, heard = Post(), ActivityWatch(), []
    for wait, count in steps:
        post.wait(wait)
        watch.heard(post.now(), count)
        heard.append((post.now().elapsed_ms, count))
    now = post.now().elapsed_ms
    exact = sum(count for at, count in heard if at > now - 60_000)
    nearly = sum(count for at, count in heard if at > now - 59_000)
    assert nearly <= watch.now(post.now(), Stations()).frames_per_minute <= exact


def test_health_tells_it() -> None:
    activity = Activity(12, 34, NOON_MS)
    plain = Health(
        "0f1e2d3c4b5a", NOON_MS, [], Counts(0, 0, {}), watched={"activity": activity.to_object()}
    ).to_object()
    validator(Schema.HEALTH).validate(plain)
    assert plain["activity"] == {
        "frames_per_minute": 12,
        "stations_last_hour": 34,
        "last_heard": "2026-06-06T12:00:00.000Z",
    }
    assert "last_heard" not in Activity(0, 0, None).to_object()
