"""What advice is drawn from, in a memory that is bounded."""

import pytest

from gateway.feed.reader import ReportReader
from gateway.groundwork.duration import HOUR_MS
from gateway.judge.conditions import Post
from gateway.judge.verdict import Judged
from gateway.replay import observation
from gateway.replay.observation import REMEMBERED_TEXTS, LateCopies, Observations, ObservedStation, PositionSpan
from tests.judge.listening import NOON_MS
from tests.replay.recording import LiveGateway


def observed(judged: list[Judged]) -> Observations:
    seen = Observations(ReportReader(Post("QX1GAT-10")))
    for each in judged:
        seen.add(each, 50)
    return seen


def test_only_what_goes_up_or_meets_a_rate_is_observed() -> None:
    live = LiveGateway("rules: [{name: no, when: {source: QZ9*}, then: keep}]\nrates: [{name: one, allow: 1 per day}]")
    for line in (b"QA1BC>APRS:>one", b"QA1BC>APRS:>two", b"QZ9ZZ>APRS:>x", b"QA1BC>APRS,TCPIP*:>y", b"no frame"):
        live.hear(line)
    seen = observed(live.judged)
    assert (seen.frames, seen.octets, list(seen.stations)) == (1, 50, ["QA1BC"])
    assert dict(seen.offering.greatest()) == {"QA1BC": 2}
    assert (seen.rates["one"].frames, seen.rates["one"].kinds) == (1, {"status": 1})


def test_what_takes_turns_is_known_again_and_what_changes_is_not() -> None:
    station = ObservedStation()
    for _ in range(4):
        for beacon in range(REMEMBERED_TEXTS):
            station.add(b"beacon %d" % beacon, {}, NOON_MS, 50)
    assert (station.frames, station.repeated) == (4 * REMEMBERED_TEXTS, 3 * REMEMBERED_TEXTS)
    station.add(b"something new", {}, NOON_MS, 50)
    station.add(b"beacon 0", {}, NOON_MS, 50)
    assert station.repeated == 3 * REMEMBERED_TEXTS


def test_hours_are_those_of_the_clock_in_which_it_was_forwarded() -> None:
    station = ObservedStation()
    for hour in (0, 0, 1, 5, 5):
        station.add(b"x", {}, NOON_MS + hour * HOUR_MS, 50)
    assert station.hours == 3
    assert station.frames_an_hour == pytest.approx(5 / 3)


def test_an_area_is_as_large_as_its_diagonal() -> None:
    area = PositionSpan()
    assert area.metres == 0
    area.add(60.0, 10.0)
    assert area.metres == 0
    area.add(60.001, 10.002)
    # A thousandth of a degree of latitude is 111 m; of longitude half of that at 60 degrees north.
    assert area.metres == pytest.approx(157, abs=2)


def test_stations_beyond_the_bound_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(observation, "MAXIMUM_STATIONS", 3)
    live = LiveGateway()
    for number in range(5):
        live.hear(b"QA%dBC>APRS:>x" % number)
    seen = observed(live.judged)
    assert list(seen.stations) == ["QA0BC", "QA1BC", "QA2BC"]
    assert seen.frames == 5


def test_a_copy_in_another_run_is_not_late_but_new() -> None:
    live = LiveGateway()
    for _ in range(2):
        live.hear(b"QA1BC>APRS,QD1RPT*:>x")
        live.wait(40)
        live.restart()
        live.wait(40)
        live.hear(b"QA1BC>APRS,QD2RPT*:>y")
    late = observed(live.judged).late
    assert late.frames == 0
    assert LateCopies().delay_of_share(0.5) == 0
