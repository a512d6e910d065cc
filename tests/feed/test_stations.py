from hypothesis import given
from hypothesis import strategies as st

from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.groundwork.duration import DAY_MS
from gateway.judge.conditions import Post as PostSettings
from gateway.judge.verdict import Judged, Reason
from tests.judged_frames import NOON_MS, Post


def hear(stations: Stations, judged: Judged) -> None:
    stations.hear(HeardPayload(judged))


DIRECT = b"QA1BCD-9>APRS,WIDE1-1:>here"
REPEATED = b"QA1BCD-9>APRS,QD1RPT*:>here"
RELAYED = b"QD2GAT>APZ001:}QA1BCD-9>APRS,QD2GAT*:>here"


def test_a_station_is_remembered_with_its_last_frame_and_how_often_it_was_heard() -> None:
    post, stations = Post(), Stations()
    hear(stations, post.hear(DIRECT))
    post.wait(5_000)
    last = HeardPayload(post.hear(REPEATED, reason=Reason.DUPLICATE))
    stations.hear(last)
    station = stations.get("QA1BCD-9")
    assert station is not None
    assert station.last is last
    assert station.to_object() == {
        "frames": 2,
        "first_heard": "2026-06-06T12:00:00.000Z",
        "heard_direct": True,
        "last_heard_direct": "2026-06-06T12:00:00.000Z",
    }


def test_a_station_heard_only_through_others_was_never_heard_direct() -> None:
    post, stations = Post(), Stations()
    hear(stations, post.hear(REPEATED))
    hear(stations, post.hear(RELAYED))
    station = stations.get("QA1BCD-9")
    assert station is not None
    assert station.to_object() == {"frames": 2, "first_heard": "2026-06-06T12:00:00.000Z", "heard_direct": False}


def test_the_relay_of_a_frame_is_not_the_station_that_it_is_about() -> None:
    stations = Stations()
    hear(stations, Post().hear(RELAYED))
    assert [station.source for station in stations] == ["QA1BCD-9"]


def test_the_least_recently_heard_station_makes_room_for_a_new_one() -> None:
    post, stations = Post(), Stations(limit=2)
    for source in (b"QA1", b"QA2", b"QA1"):
        hear(stations, post.hear(source + b">APRS:>x"))
    evicted: list[str] = []
    stations.on_forgotten.append(evicted.append)
    hear(stations, post.hear(b"QA3>APRS:>x"))
    assert evicted == ["QA2"]
    assert [station.source for station in stations] == ["QA1", "QA3"]


def test_a_station_is_forgotten_once_it_was_not_heard_for_the_stated_time() -> None:
    post, stations = Post(), Stations()
    hear(stations, post.hear(b"QA1>APRS:>x"))
    post.wait(1)
    hear(stations, post.hear(b"QA2>APRS:>x"))
    forgotten: list[str] = []
    stations.on_forgotten.append(forgotten.append)
    stations.forget(DAY_MS - 1)
    assert forgotten == []
    stations.forget(DAY_MS)
    assert forgotten == ["QA1"]
    assert "QA2" in stations
    assert "QA1" not in stations


def test_a_source_that_the_network_would_not_take_as_a_callsign_is_no_station() -> None:
    post, stations = Post(), Stations()
    for source in (b"QA1/BCD", b"QA+", b"#", b"QA1BCD-9XY", b"TOOLONGCALL", b"a b", b""):
        hear(stations, post.hear(source + b">APRS:>x"))
    assert len(stations) == 0


def test_what_was_damaged_is_from_no_station() -> None:
    stations = Stations()
    hear(stations, Post().hear(b"no frame"))
    assert len(stations) == 0


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 40)), max_size=60), st.integers(1, 5))
def test_memory_holds_exactly_the_most_recent_sources_within_limit_and_time(
    heard: list[tuple[int, int]], limit: int
) -> None:
    post, stations = Post(), Stations(limit=limit, forget_ms=100)
    model: dict[str, int] = {}
    gone: list[str] = []
    stations.on_forgotten.append(gone.append)
    for number, pause in heard:
        post.wait(pause)
        source = f"QA{number}"
        gone.clear()
        stations.forget(post.moment.elapsed_ms)
        for forgotten in gone:
            assert post.moment.elapsed_ms - model.pop(forgotten) >= 100
        gone.clear()
        model.pop(source, None)
        model[source] = post.moment.elapsed_ms
        hear(stations, post.hear(f"{source}>APRS:>x".encode()))
        if len(model) > limit:
            oldest = next(iter(model))
            assert gone == [oldest]
            del model[oldest]
        assert [station.source for station in stations] == list(model)


def test_times_are_those_of_the_wall_clock() -> None:
    post, stations = Post(), Stations()
    post.wait(1_500)
    hear(stations, post.hear(DIRECT))
    station = stations.get("QA1BCD-9")
    assert station is not None
    assert station.first_heard_ms == station.last_direct_ms == NOON_MS + 1_500


def test_what_a_followed_station_last_said_is_kept_and_that_of_others_is_not() -> None:
    post, stations = Post(), Stations(followed=["QA1BCD-9"])
    reader = ReportReader(PostSettings("QX1GAT-10", 58.6, -3.9167))
    for line in (b"QA1BCD-9>APRS:!5836.00N/00355.00W>", b"QA1BCD-9>APRS:>x", b"QA2BCD>APRS:!5836.00N/00355.00W>"):
        stations.hear(HeardPayload(post.hear(line), reader))
    followed, other = stations.get("QA1BCD-9"), stations.get("QA2BCD")
    assert followed is not None
    assert other is not None
    assert followed.to_object()["position"]["latitude"] == 58.6
    assert other.latest is None
    assert "position" not in other.to_object()


def test_what_a_followed_station_said_before_it_was_forgotten_is_forgotten_too() -> None:
    post, stations = Post(), Stations(followed=["QA1BCD-9"])
    reader = ReportReader(PostSettings("QX1GAT-10"))
    stations.hear(HeardPayload(post.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>"), reader))
    post.wait(DAY_MS)
    stations.forget(post.now().elapsed_ms)
    stations.hear(HeardPayload(post.hear(b"QA1BCD-9>APRS:>back"), reader))
    station = stations.get("QA1BCD-9")
    assert station is not None
    assert "position" not in station.to_object()


def test_stations_heard_lately_are_counted() -> None:
    post, stations = Post(), Stations()
    for source in (b"QA1", b"QA2", b"QA3"):
        hear(stations, post.hear(source + b">APRS:>x"))
        post.wait(1_000)
    assert [stations.heard_since(since) for since in (0, 1, 2_000, 2_001)] == [3, 2, 1, 0]
