"""The invented race: all that it must hold for the demo to show everything."""

import math
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import islice, pairwise, takewhile

import pytest

from demo.regatta import FIRST_GUN, OnAir, frames
from demo.regatta import information as write
from demo.regatta.information import Fix
from demo.regatta.sailing import METRES_PER_DEGREE, Yacht
from gateway.frames import ax25, third_party
from gateway.frames.frame import Damaged, Frame
from gateway.frames.header import is_network_callsign
from gateway.frames.heard import Run
from gateway.frames.kiss import KissDecoder
from gateway.judge.verdict import Decision, Judged, Reason
from gateway.reports import Kind, Movement, PositionReport, Written, read
from tests.judge.listening import judge_of

SHORT = 20.0
"""Seconds of the shortest demo that must show everything."""

DRAWS = [1, 2, 3]

POLICY = """
# Room for the weather buoy with its many reports, and none for the tracker that talks every second.
rules:
  - {name: bench-beacon, when: {source: QZ9*}, then: keep}
rates:
  - {name: one-station, per: source, allow: 30 per minute, burst: 6}
"""


def beginning(draw: int = 1, until: float = SHORT) -> list[OnAir]:
    return list(takewhile(lambda on_air: on_air.seconds < until, frames(draw)))


def read_by_a_modem(transmissions: list[OnAir]) -> Iterator[tuple[OnAir, Frame | Damaged]]:
    decoder = KissDecoder()
    for on_air in transmissions:
        ((_, octets),) = decoder.feed(on_air.stream)
        yield on_air, octets if isinstance(octets, Damaged) else ax25.read(octets)


def judged(draw: int) -> list[Judged]:
    judge = judge_of(POLICY)
    clock = 0.0
    run = Run("test", monotonic=lambda: clock, wall=lambda: FIRST_GUN.timestamp() + clock)
    verdicts = []
    for on_air, frame in read_by_a_modem(beginning(draw)):
        clock = on_air.seconds
        verdicts.append(judge.judge(run.hear(run.now(), "vhf", on_air.port, frame)))
    return verdicts


def test_the_same_draw_gives_the_same_race_and_another_one_another() -> None:
    assert beginning(1) == beginning(1)
    assert beginning(1) != beginning(2)


@pytest.mark.parametrize("draw", DRAWS)
def test_time_never_goes_back(draw: int) -> None:
    seconds = [on_air.seconds for on_air in islice(frames(draw), 2000)]
    assert seconds == sorted(seconds)


@pytest.mark.parametrize("draw", DRAWS)
def test_a_short_demo_shows_life_and_no_flood(draw: int) -> None:
    assert 5 <= len(beginning(draw)) / SHORT <= 8


@pytest.mark.parametrize("draw", DRAWS)
def test_every_reason_for_keeping_occurs_in_a_short_demo(draw: int) -> None:
    assert {each.verdict.reason for each in judged(draw) if not each.forward} == set(Reason)


@pytest.mark.parametrize("draw", DRAWS)
def test_a_call_for_help_occurs_passes_and_says_that_it_is_a_drill(draw: int) -> None:
    calls = [each for each in judged(draw) if each.emergency]
    assert any(call.verdict.decision is Decision.FORWARD for call in calls)
    assert all(call.innermost is not None and b"DRILL" in call.innermost.information for call in calls)


@pytest.mark.parametrize("draw", DRAWS)
def test_every_kind_of_report_and_every_format_of_position_occurs_in_a_short_demo(draw: int) -> None:
    reports = [
        read(each.innermost.destination, each.innermost.information)
        for each in judged(draw)
        if each.forward and each.innermost is not None
    ]
    assert {report.kind for report in reports} == set(Kind)
    written = {
        report.located.position.written
        for report in reports
        if isinstance(report, PositionReport) and report.located.position is not None
    }
    assert written == set(Written)


@pytest.mark.parametrize(
    "marker",
    # Written out here, not taken from the demo: chapters 8 to 18 of APRS101, by their first octets.
    [
        *(b"!", b"=", b"/", b"@", b"`", b"_", b";", b")", b":", b"T#", b">", b"?", b"<", b"$GPRMC", b"{{", b"}"),
        *(b":BLN1", b":BLNQ", b":QC2CBT-8 :ack", b":QC2CBT-8 :rej", b":QA1BCD-9 :?"),
        *(b":QE9BUY-13:PARM.", b":QE9BUY-13:UNIT.", b":QE9BUY-13:EQNS.", b":QE9BUY-13:BITS."),
    ],
)
def test_every_form_of_information_occurs_in_a_short_demo(marker: bytes) -> None:
    heard = [frame for _, frame in read_by_a_modem(beginning()) if isinstance(frame, Frame)]
    assert any(frame.information.startswith(marker) for frame in heard)


def test_frames_are_heard_direct_through_one_repeater_and_through_two_and_on_both_ports() -> None:
    heard = list(read_by_a_modem(beginning()))
    assert {frame.header.hops for _, frame in heard if isinstance(frame, Frame)} >= {0, 1, 2}
    assert {on_air.port for on_air, _ in heard} == {0, 1}


def test_every_callsign_begins_with_q_but_for_the_placeholder() -> None:
    for _, frame in read_by_a_modem(beginning(until=120)):
        if isinstance(frame, Frame):
            senders = {layer.source for layer in third_party.unwrap(frame).layers}
            assert all(sender.startswith("Q") or sender == "NOCALL" for sender in senders)
            assert all(is_network_callsign(sender) or sender == "QB?CDE-8" for sender in senders)


def metres_between(one: Fix, other: Fix) -> float:
    north = (other.latitude - one.latitude) * METRES_PER_DEGREE
    east = (other.longitude - one.longitude) * METRES_PER_DEGREE * math.cos(math.radians(one.latitude))
    return math.hypot(north, east)


def test_yachts_sail_at_about_their_speed_and_stay_in_their_waters() -> None:
    yacht = Yacht(speed_knots=6.0, behind_m=40)
    fixes = [yacht.fix(float(second)) for second in range(0, 7200, 10)]
    at_six_knots = 6 * 1852 / 3600 * 10
    ways = [metres_between(one, other) for one, other in pairwise(fixes)]
    assert sum(way < 2 * at_six_knots for way in ways) >= len(ways) - 10  # the rest: rounding a mark
    assert all(abs(way - at_six_knots) < at_six_knots for way in ways if way < 2 * at_six_knots)
    assert all(58.59 < fix.latitude < 58.63 and -3.95 < fix.longitude < -3.87 for fix in fixes)


def test_reports_tell_the_time_of_the_race_that_is_asked_for() -> None:
    gun = datetime(2027, 1, 2, 3, 4, tzinfo=UTC)
    times = [
        on_air.octets for on_air in takewhile(lambda on_air: on_air.seconds < SHORT, frames(start=gun)) if on_air.octets
    ]
    assert any(b"/020304z" in octets for octets in times)


FIXES = [
    Fix(58.60301, -3.93002, 36, 6.2),
    Fix(-33.4273, -112.129, 251, 20),
    Fix(0.0, 0.0, 360, 0),
    Fix(49.5, 9.99999, 88, 36),
    Fix(-89.99, 179.99, 1, 99),
    Fix(12.3456, 104.5, 180, 7),
]


@pytest.mark.parametrize("fix", FIXES)
def test_what_is_written_as_mic_e_is_read_as_the_same_fix(fix: Fix) -> None:
    destination, information = write.mic_e(fix, "/Y", "101", "x")
    assert_is_read_as(fix, destination, information, within_degrees=1 / 6000)


@pytest.mark.parametrize("fix", FIXES)
def test_what_is_written_in_plain_text_is_read_as_the_same_fix(fix: Fix) -> None:
    assert_is_read_as(fix, "APRS", f"!{write.place(fix, '/Y')}{write.movement(fix)}", within_degrees=1 / 6000)


@pytest.mark.parametrize("fix", FIXES)
def test_what_is_written_compressed_is_read_as_the_same_fix(fix: Fix) -> None:
    assert_is_read_as(fix, "APRS", f"!{write.compressed(fix, '/Y')}", within_degrees=1e-5, coarse=True)


def assert_is_read_as(
    fix: Fix, destination: str, information: str, *, within_degrees: float, coarse: bool = False
) -> None:
    report = read(destination, information.encode("latin-1"))
    assert isinstance(report, PositionReport)
    assert report.located.position is not None
    assert report.located.position.latitude == pytest.approx(fix.latitude, abs=within_degrees)
    assert report.located.position.longitude == pytest.approx(fix.longitude, abs=within_degrees)
    movement = report.located.extension
    assert isinstance(movement, Movement)
    assert movement.speed_kmh == pytest.approx(fix.speed_knots * 1.852, rel=0.05 if coarse else 0, abs=1.0)
    if fix.course_deg != 360:
        assert movement.course_deg == pytest.approx(fix.course_deg, abs=4 if coarse else 0)


def test_the_published_examples_are_written_as_they_are_printed() -> None:
    # APRS101 chapters 6, 8, 9, 10, 13 and 14.
    assert write.place(Fix(49 + 3.5 / 60, -(72 + 1.75 / 60)), "/-") == "4903.50N/07201.75W-"
    assert write.compressed(Fix(49.5, -72.75, 88, 36.2), "/>")[:12] == "/5L!!<*e7>7P"
    destination, information = write.mic_e(Fix(33 + 25.64 / 60, -(112 + 7.74 / 60), 251, 20), "/j", "100")
    assert (destination, information) == ("S32UVT", '`(_fn"Oj/')
    assert write.mic_e_altitude(61) == '"4T}'
    assert write.telemetry(5, (199, 0, 255, 73, 123), "01101001") == "T#005,199,000,255,073,123,01101001"
    assert write.message("WU2Z", "Testing", "003") == ":WU2Z     :Testing{003"
    moment = datetime(2000, 10, 9, 23, 45, 17, tzinfo=UTC)
    assert (write.day_hours_minutes(moment), write.hours_minutes_seconds(moment)) == ("092345z", "234517h")


def test_ambiguity_blanks_the_last_digits() -> None:
    fix = Fix(49 + 3.5 / 60, -(72 + 1.75 / 60))
    assert write.place(fix, "/-", blanked=2) == "4903.  N/07201.  W-"
    assert write.place(fix, "/-", blanked=4) == "49  .  N/072  .  W-"
