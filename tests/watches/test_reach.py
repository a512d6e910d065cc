"""How far the antenna reaches. Places are minutes of latitude north of the post: one is 1.857 km there (WGS 84)."""

from hypothesis import given
from hypothesis import strategies as st

from gateway.feed.reader import ReportReader
from gateway.groundwork.duration import HOUR_MS
from gateway.judge import conditions
from gateway.watches.reach import LOOKED_AT, Reach, ReachWatch
from tests.judged_frames import Post
from tests.remembering import dumped, restore

PLACE = conditions.Post("QX1GAT-10", 58.6, -3.916667)


class Antenna:
    def __init__(self, place: conditions.Post = PLACE, limit: int = 5000) -> None:
        self.post = Post()
        self.watch = ReachWatch(ReportReader(place), limit)

    def hear(self, source: str, minutes_north: float | None = None, *, path: str = "", after: int = 0) -> None:
        self.post.wait(after)
        text = ">no place" if minutes_north is None else f"!58{36 + minutes_north:05.2f}N/00355.00W>"
        self.watch.hear([self.post.hear(f"{source}>APRS{path}:{text}".encode())])

    def now(self, after: int = 0) -> Reach:
        self.post.wait(after)
        self.watch.read(self.post.now())
        return self.watch.reach()


def test_the_farthest_of_those_heard_direct_is_told() -> None:
    antenna = Antenna()
    antenna.hear("QA1", 2)
    antenna.hear("QA2", 10)
    antenna.hear("QA3")
    reach = antenna.now()
    assert reach.direct_last_hour == 3
    assert reach.farthest_km is not None
    assert abs(reach.farthest_km - 18.57) < 0.01
    assert reach.to_object()["farthest_km"] == reach.farthest_km


def test_what_a_repeater_or_a_relay_brought_does_not_show_how_far_the_antenna_reaches() -> None:
    antenna = Antenna()
    antenna.hear("QA1", 10, path=",QD1RPT*")
    antenna.watch.hear([antenna.post.hear(b"QD2GAT>APZ001,QD1RPT*:}QA2>APRS,QD2GAT*:!5846.00N/00355.00W>")])
    assert antenna.now() == Reach(0, None)


def test_a_repeater_that_was_not_yet_used_does_not_count() -> None:
    antenna = Antenna()
    antenna.hear("QA1", 2, path=",WIDE1-1,WIDE2-1")
    assert antenna.now().direct_last_hour == 1


def test_the_relay_itself_is_no_station_with_a_place_here() -> None:
    antenna = Antenna()
    antenna.watch.hear([antenna.post.hear(b"QD2GAT>APZ001:}QA2>APRS,QD2GAT*:!5846.00N/00355.00W>")])
    assert antenna.now() == Reach(0, None)


def test_a_thing_that_a_station_places_on_the_map_is_not_where_the_station_is() -> None:
    antenna = Antenna()
    antenna.watch.hear([antenna.post.hear(b"QA1CTE>APRS:)MARK1!5900.00N/00355.00W>")])
    assert antenna.now() == Reach(1, None)


def test_a_station_that_sends_a_text_is_still_where_it_was() -> None:
    antenna = Antenna()
    antenna.hear("QA1", 10)
    far = antenna.now().farthest_km
    antenna.hear("QA1", after=1000)
    assert antenna.now().farthest_km == far


def test_after_an_hour_it_is_forgotten() -> None:
    antenna = Antenna()
    antenna.hear("QA1", 10)
    antenna.hear("QA2", 2, after=60_000)
    assert antenna.now(HOUR_MS - 60_000 - 1).direct_last_hour == 2
    near = antenna.now(1)
    assert near.direct_last_hour == 1
    assert near.farthest_km is not None
    assert near.farthest_km < 4
    assert (antenna.now(60_000).direct_last_hour, antenna.now().farthest_km) == (0, None)


def test_a_post_that_does_not_know_its_place_knows_no_distance() -> None:
    antenna = Antenna(conditions.Post("QX1GAT-10"))
    antenna.hear("QA1", 10)
    assert antenna.now() == Reach(1, None)


def test_of_a_flood_the_newest_are_looked_at() -> None:
    antenna = Antenna()
    for number in range(2 * LOOKED_AT):
        antenna.hear(f"QA{number}", 10 if number < LOOKED_AT else 2)
    reach = antenna.now()
    assert reach.direct_last_hour == 2 * LOOKED_AT
    assert reach.farthest_km is not None
    assert reach.farthest_km < 4


def test_memory_is_bounded_whoever_is_heard() -> None:
    antenna = Antenna(limit=3)
    for number in range(10):
        antenna.hear(f"QA{number}", number)
    antenna.hear("QA+BCD", 20)
    assert len(antenna.watch) == antenna.now().direct_last_hour == 3


@given(st.binary(max_size=100))
def test_whatever_is_heard_can_be_asked_about(line: bytes) -> None:
    antenna = Antenna()
    antenna.watch.hear([antenna.post.hear(b"QA1BCD-9>APRS:" + line)])
    assert antenna.now().direct_last_hour <= 1


def test_the_farthest_of_the_day_is_told_with_who_and_when_until_the_day_is_over() -> None:
    antenna = Antenna()
    antenna.hear("QA1BC", 10)
    antenna.hear("QA2BC", 2, after=HOUR_MS)
    antenna.hear("QA3BC", 23, path=",QD1AA*")
    today = antenna.now().to_object()["today"]
    assert (today["station"], today["time"]) == ("QA1BC", "2026-06-06T12:00:00.000Z")
    assert abs(today["farthest_km"] - 18.57) < 0.01
    assert antenna.now(after=2 * HOUR_MS).today is not None
    assert antenna.now(after=10 * HOUR_MS).today is None


def test_what_is_too_far_away_to_be_believed_is_no_record() -> None:
    antenna = Antenna()
    antenna.watch.hear([antenna.post.hear(b"QA1BC>APRS:!0130.00N/00355.00W>")])
    assert antenna.now().today is None


def test_the_farthest_of_the_day_outlives_a_restart() -> None:
    antenna, later = Antenna(), Antenna()
    antenna.hear("QA1BC", 10)
    before = antenna.now()
    restore(later.watch, dumped(antenna.watch))
    assert later.now().today == before.today
