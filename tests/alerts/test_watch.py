"""Which alerts are raised, and that one thing raises one. Boats, buoys and places are those of the regatta."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.alerts import episodes, watch
from gateway.alerts.watch import EMERGENCY_AGAIN_MS, MOST_A_MINUTE, SETTLED_MS, AlertWatch
from gateway.feed.heard_object import heard_object
from gateway.feed.reader import ReportReader
from gateway.judge.verdict import Reason
from tests.alerts.alerting import HOUR, MINUTE, PLACE, Watching, written
from tests.answers import figure
from tests.judged_frames import Post

NEAR = "QA1BCD-9>APRS:!5836.00N/00355.00W>"
"""At the post."""

FAR = "QA1BCD-9>APRS:!5900.00N/00355.00W>"
"""24 minutes of latitude to the north, about 44.6 km."""

LAUNCH = "{name: launch-near, when: {source: QA1BCD-9, distance: {within: 5km}}}"
HARBOUR = "{name: harbour, area: {latitude: 58.6, longitude: -3.9167, radius: 2km}}"
GALE = "{name: gale, weather: {gust_ms: {above: 20}}}"


def buoy(gust_mph: int, fahrenheit: int = 50) -> str:
    """A weather report at a position; 20 m/s is 44.7 mph."""
    return f"QA1BUOY>APRS:!5836.00N/00355.00W_220/004g{gust_mph:03d}t{fahrenheit:03d}"


# What a frame must meet


def test_a_station_that_comes_near_is_told_once_with_the_frame_and_in_plain_words() -> None:
    watching = Watching(LAUNCH)
    assert watching.hear(FAR) == []
    judged = watching.post.hear(NEAR.encode())
    assert watching.alerts(judged) == [
        {
            "kind": "match",
            "name": "launch-near",
            "time": "2026-06-06T12:00:00.000Z",
            "since": "2026-06-06T12:00:00.000Z",
            "what": "it is 0.0 km from the station",
            "heard": heard_object(judged, watching.read(judged)),
        }
    ]
    assert watching.names(NEAR, MINUTE) == []


def test_another_station_is_not_meant() -> None:
    assert Watching(LAUNCH).names(NEAR.replace("BCD-9", "BCD-8")) == []


def test_a_text_from_a_boat_in_the_harbour_does_not_say_that_it_left() -> None:
    watching = Watching(LAUNCH)
    watching.hear(NEAR)
    for _ in range(10):
        assert watching.names("QA1BCD-9>APRS:>still moored", 15 * MINUTE) == []
        assert watching.names(NEAR, 15 * MINUTE) == []


def test_who_left_and_comes_back_is_told_again() -> None:
    watching = Watching(LAUNCH)
    watching.hear(NEAR)
    assert watching.names(FAR, MINUTE) == []
    assert watching.names(NEAR, SETTLED_MS) == ["launch-near"]


def test_who_goes_to_and_fro_on_the_line_is_told_once() -> None:
    watching = Watching(LAUNCH)
    told = [name for _ in range(100) for line in (NEAR, FAR) for name in watching.names(line, 2 * MINUTE)]
    assert told == ["launch-near"]


def test_who_stays_is_told_again_where_the_entry_asks_for_it() -> None:
    watching = Watching("{name: launch-near, when: {source: QA1BCD-9, distance: {within: 5km}}, again: 30m}")
    first = watching.hear(NEAR)
    assert [watching.names(NEAR, 10 * MINUTE) for _ in range(7)] == [
        [], [], ["launch-near*"], [], [], ["launch-near*"], [],
    ]  # fmt: skip
    (again,) = watching.hear(NEAR, 20 * MINUTE)
    assert again["since"] == first[0]["since"]
    assert again["repeated"] is True


def test_who_was_not_heard_for_a_day_begins_anew() -> None:
    watching = Watching(LAUNCH)
    watching.hear(NEAR)
    assert watching.names(NEAR, 23 * HOUR) == []
    assert watching.names(NEAR, 24 * HOUR) == ["launch-near"]


def test_every_station_is_told_for_itself() -> None:
    watching = Watching("{name: near, when: {distance: {within: 5km}}}")
    assert watching.names("QA1>APRS:!5836.00N/00355.00W>") == ["near"]
    assert watching.names("QA2>APRS:!5836.00N/00355.00W>") == ["near"]
    assert watching.names("QA1>APRS:!5836.00N/00355.00W>") == []


def test_the_things_that_one_station_places_on_the_map_are_told_apart() -> None:
    watching = Watching(HARBOUR)
    assert watching.names("QA1CTE>APRS:)MARK1!5836.00N/00355.00W>") == ["harbour"]
    assert watching.names("QA1CTE>APRS:)MARK2!5900.00N/00355.00W>") == []
    assert watching.names("QA1CTE>APRS:)MARK3!5836.00N/00355.00W>") == ["harbour"]
    assert watching.names("QA1CTE>APRS:)MARK1!5836.00N/00355.00W>") == []


def test_a_thing_taken_off_the_map_is_no_longer_in_the_area() -> None:
    watching = Watching(HARBOUR)
    assert watching.names("QA1CTE>APRS:)MARK1!5836.00N/00355.00W>") == ["harbour"]
    assert watching.names("QA1CTE>APRS:)MARK1_5836.00N/00355.00W>", MINUTE) == []
    assert watching.names("QA1CTE>APRS:)MARK1!5836.00N/00355.00W>", SETTLED_MS) == ["harbour"]


def test_a_boat_that_leaves_the_course_is_told() -> None:
    corners = (
        "[{latitude: 58.5, longitude: -4.0}, {latitude: 58.7, longitude: -4.0}, {latitude: 58.6, longitude: -3.5}]"
    )
    watching = Watching(f"{{name: off-course, when: {{source: QA1BCD-9}}, outside: {{corners: {corners}}}}}")
    assert watching.hear(NEAR) == []
    assert [alert["what"] for alert in watching.hear(FAR)] == ["it is outside the area"]


def test_wind_beyond_the_threshold_is_told_with_its_value() -> None:
    watching = Watching(GALE)
    assert watching.hear(buoy(44)) == []
    assert [alert["what"] for alert in watching.hear(buoy(46))] == ["gust_ms is 20.6"]
    assert watching.hear(buoy(50), MINUTE) == []


def test_every_threshold_of_an_entry_must_be_passed() -> None:
    watching = Watching("{name: icing, weather: {gust_ms: {above: 20}, temperature_c: {below: 0}}}")
    assert watching.names(buoy(46, 50)) == []
    assert watching.names(buoy(30, 10)) == []
    assert [alert["what"] for alert in watching.hear(buoy(46, 10))] == ["gust_ms is 20.6; temperature_c is -12.2"]


def test_weather_without_the_field_that_is_asked_about_says_nothing_of_it() -> None:
    watching = Watching(GALE)
    watching.hear(buoy(46))
    assert watching.names("QA1BUOY>APRS:!5836.00N/00355.00W_220/004g...t050", MINUTE) == []
    assert watching.names(buoy(46), HOUR) == []


def test_conditions_about_the_frame_say_which_frames_are_looked_at() -> None:
    """A position on another receiver does not say that the boat left; it is only not looked at."""
    watching = Watching("{name: on-hf, when: {source: QA1BCD-9, receiver: hf, distance: {within: 5km}}}")
    assert watching.names(NEAR) == []
    assert watching.names(NEAR, MINUTE, receiver="hf") == ["on-hf"]
    assert watching.names(FAR, MINUTE) == []
    assert watching.names(NEAR, HOUR, receiver="hf") == []


def test_a_distance_that_is_denied_is_asked_of_positions_only() -> None:
    watching = Watching("{name: gone, when: {source: QA1BCD-9, not: {distance: {within: 5km}}}}")
    assert watching.names("QA1BCD-9>APRS:>a text has no place") == []
    assert watching.names(NEAR) == []
    assert [alert["what"] for alert in watching.hear(FAR)] == ["it is 44.6 km from the station"]


# What does not last


def test_a_text_is_told_at_most_every_ten_minutes() -> None:
    watching = Watching('{name: postponed, when: {contains: "postponed"}}')
    line = "QA1CTE>APRS::BLN1     :race postponed"
    assert watching.names(line) == ["postponed"]
    assert [name for number in range(9) for name in watching.names(f"{line} {number}", MINUTE)] == []
    assert watching.names(f"{line} again", MINUTE) == ["postponed"]


def test_a_text_is_told_as_often_as_its_entry_says() -> None:
    watching = Watching('{name: postponed, when: {contains: "postponed"}, again: 1m}')
    assert watching.names("QA1CTE>APRS:>postponed") == ["postponed"]
    assert watching.names("QA1CTE>APRS:>postponed more") == []
    assert watching.names("QA1CTE>APRS:>postponed still", MINUTE) == ["postponed"]


def test_what_does_not_last_has_no_beginning() -> None:
    (alert,) = Watching("{name: heard, when: {source: QA1BCD-9}}").hear(NEAR)
    assert "since" not in alert
    assert alert["what"] == "a frame that this entry asks for was heard"


def test_a_copy_raises_no_second_alert_however_short_again_is() -> None:
    watching = Watching('{name: postponed, when: {contains: "postponed"}, again: 1m}')
    assert watching.names("QA1CTE>APRS:>postponed") == ["postponed"]
    assert watching.names("QA1CTE>APRS,QD1RPT*:>postponed", 2 * MINUTE, reason=Reason.DUPLICATE) == []


def test_a_copy_on_the_receiver_that_is_asked_about_does_raise_one() -> None:
    watching = Watching("{name: on-hf, when: {source: QA1BCD-9, receiver: hf}}")
    assert watching.names(NEAR) == []
    assert watching.names(NEAR, reason=Reason.DUPLICATE, receiver="hf") == ["on-hf"]


def test_via_looks_at_the_radio_path_of_what_was_relayed() -> None:
    watching = Watching("{name: by-relay, when: {source: QB2BCD-7, via: QD1RPT}}")
    assert watching.names("QD2GAT>APZ001,QD1RPT*:}QB2BCD-7>APRS,QD2GAT*:>on the water") == ["by-relay"]
    assert watching.names("QD2GAT>APZ001,QD3RPT*:}QB2BCD-7>APRS,QD2GAT*:>on the water", HOUR) == []


def test_what_is_kept_at_home_raises_alerts_like_anything_heard() -> None:
    watching = Watching(LAUNCH)
    assert watching.names(NEAR, reason=Reason.RULE) == ["launch-near"]


@pytest.mark.parametrize("reason", [Reason.NOT_UI, Reason.WRONG_PID])
def test_a_frame_of_another_kind_holds_no_report_and_raises_none(reason: Reason) -> None:
    assert Watching(LAUNCH).names(NEAR, reason=reason) == []


def test_what_is_damaged_raises_none() -> None:
    assert Watching("{name: any, when: {hops: {at_least: 0}}}").names("no frame at all") == []


def test_one_frame_may_raise_several() -> None:
    assert Watching(f"{LAUNCH}, {HARBOUR}").names(NEAR) == ["launch-near", "harbour"]


# Emergencies


# Ours, after APRS101 chapter 10: 332 are the message bits 000, an emergency, S32 are 100.
EMERGENCY = 'QB2BCD-7>332UVT:`(_fn"Oj/'
CALM = 'QB2BCD-7>S32UVT:`(_fn"Oj/'


def test_an_emergency_needs_no_entry() -> None:
    watching = Watching()
    judged = watching.post.hear(EMERGENCY.encode())
    assert watching.alerts(judged) == [
        {
            "kind": "emergency",
            "name": "emergency",
            "time": "2026-06-06T12:00:00.000Z",
            "what": "a station says that it is in an emergency; this is not a distress watch",
            "heard": heard_object(judged, watching.read(judged)),
        }
    ]


def test_an_emergency_that_goes_on_is_told_again_at_most_so_often() -> None:
    watching = Watching()
    assert watching.names(EMERGENCY) == ["emergency"]
    assert watching.names(EMERGENCY, EMERGENCY_AGAIN_MS - 1) == []
    assert watching.names(EMERGENCY, 1) == ["emergency*"]
    assert watching.names(EMERGENCY, HOUR) == ["emergency"]


def test_a_copy_of_an_emergency_raises_no_second_alert() -> None:
    watching = Watching()
    assert watching.names(EMERGENCY, reason=Reason.DUPLICATE) == []


@pytest.mark.parametrize("reason", [Reason.ASKED_NOT_TO_GATE, Reason.THIRD_PARTY_INTERNET, Reason.RULE])
def test_who_asks_not_to_be_gated_calls_for_help_all_the_same(reason: Reason) -> None:
    assert Watching().names(EMERGENCY, reason=reason) == ["emergency"]


def test_another_station_in_an_emergency_is_told_at_once() -> None:
    watching = Watching()
    watching.hear(EMERGENCY)
    assert watching.names(EMERGENCY.replace("QB2BCD-7", "QB3BCD-7")) == ["emergency"]


def test_forged_emergencies_without_end_shed_no_other_alerts_and_a_true_one_is_told_with_its_next_call() -> None:
    watching = Watching()
    raised = [watching.names(EMERGENCY.replace("QB2BCD-7", f"Q{number}BCD")) for number in range(100, 500)]
    assert sum(map(len, raised)) == MOST_A_MINUTE
    assert watching.names(EMERGENCY) == []
    assert watching.names(EMERGENCY, 60_000) == ["emergency"]


def test_a_position_that_is_no_emergency_raises_nothing() -> None:
    assert Watching().names(CALM) == []


# Silences


def test_a_listed_station_that_falls_silent_is_told_once() -> None:
    watching = Watching("{name: buoy-silent, silent: {source: QA1BUOY, for: 30m}}")
    watching.hear(buoy(10), 5 * MINUTE)
    assert watching.tick(30 * MINUTE - 1) == []
    assert watching.tick(1) == [
        {
            "kind": "silent",
            "name": "buoy-silent",
            "time": "2026-06-06T12:35:00.000Z",
            "since": "2026-06-06T12:05:00.000Z",
            "what": "QA1BUOY was not heard for 30 min",
            "source": "QA1BUOY",
        }
    ]
    assert watching.tick(HOUR) == []
    watching.hear(buoy(10))
    assert watching.tick() == []
    assert [alert["name"] for alert in watching.tick(30 * MINUTE)] == ["buoy-silent"]


def test_a_station_never_heard_is_silent_since_the_start() -> None:
    watching = Watching("{name: x, silent: {source: [QA1BUOY, QA2BUOY], for: 30m}, again: 6h}")
    watching.hear(buoy(10), 10 * MINUTE)
    (alert,) = watching.tick(20 * MINUTE)
    assert alert["what"] == "QA2BUOY was not heard in the 30 min since the start"
    assert [alert["source"] for alert in watching.tick(10 * MINUTE)] == ["QA1BUOY"]
    assert watching.tick(HOUR) == []
    again = watching.tick(5 * HOUR)
    assert [(alert["source"], alert["repeated"]) for alert in again] == [("QA1BUOY", True), ("QA2BUOY", True)]


def test_a_station_heard_through_a_relay_is_not_silent() -> None:
    watching = Watching("{name: x, silent: {source: QA1BUOY, for: 30m}}")
    watching.hear("QD2GAT>APZ001:}QA1BUOY>APRS,QD2GAT*:>here", 10 * MINUTE)
    assert watching.tick(29 * MINUTE) == []


def test_a_deaf_post_is_told() -> None:
    watching = Watching("{name: deaf, deaf: {for: 2h}}")
    watching.hear(NEAR, MINUTE)
    assert watching.tick(2 * HOUR - 1) == []
    (alert,) = watching.tick(1)
    assert (alert["kind"], alert["what"]) == ("deaf", "nothing was heard for 2 h")
    assert alert["since"] == "2026-06-06T12:01:00.000Z"


def test_noise_that_a_decoder_takes_for_something_is_nothing_heard() -> None:
    watching = Watching("{name: deaf, deaf: {for: 2h}}")
    watching.hear("no frame at all", HOUR)
    assert [alert["what"] for alert in watching.tick(HOUR)] == ["nothing was heard in the 2 h since the start"]


def test_one_receiver_may_be_deaf_while_another_hears() -> None:
    watching = Watching("{name: vhf-deaf, deaf: {for: 2h, receiver: vhf}}")
    watching.hear(NEAR, HOUR, receiver="hf")
    (alert,) = watching.tick(HOUR)
    assert (alert["receiver"], alert["what"]) == ("vhf", "vhf heard nothing in the 2 h since the start")


# Bounds


def test_made_up_callsigns_without_end_raise_no_more_than_stated() -> None:
    watching = Watching("{name: near, when: {distance: {within: 5km}}}")
    lines = [f"QA{number}>APRS:!5836.00N/00355.00W>" for number in range(2 * MOST_A_MINUTE)]
    told = [name for line in lines for name in watching.names(line)]
    assert len(told) == MOST_A_MINUTE
    assert figure(watching.watch, "withheld") == MOST_A_MINUTE
    assert watching.names(lines[-1], MINUTE) == ["near"]


def test_what_one_entry_withholds_takes_nothing_from_another() -> None:
    watching = Watching(f"{{name: near, when: {{source: QA*, distance: {{within: 5km}}}}}}, {GALE}")
    for number in range(2 * MOST_A_MINUTE):
        watching.hear(f"QA{number}>APRS:!5836.00N/00355.00W>")
    assert "gale" in watching.names(buoy(46))


def test_memory_is_bounded_whoever_is_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(episodes, "MAXIMUM_EPISODES", 5)
    monkeypatch.setattr(watch, "MAXIMUM_HEADERS", 5)
    watching = Watching("{name: near, when: {distance: {within: 5km}}}")
    for number in range(20):
        assert watching.names(f"QA{number}>APRS:!5836.00N/00355.00W>", MINUTE) == ["near"]
        watching.hear(f'QA{number}>332UVT:`(_fn"Oj/')
    assert len(watching.watch._matches) == len(watching.watch._emergencies) == 5  # noqa: SLF001
    assert len(watching.watch._headers) <= 5  # noqa: SLF001
    assert watching.names("QA19>APRS:!5836.00N/00355.00W>", MINUTE) == []


_EVERYTHING = f"""{LAUNCH}, {HARBOUR}, {GALE},
    {{name: text, when: {{contains: x, report: [message, status]}}}},
    {{name: not-near, when: {{not: {{distance: {{within: 5km}}}}}}}},
    {{name: silent, silent: {{source: QA1BUOY, for: 1m}}}},
    {{name: deaf, deaf: {{for: 1m}}}}"""


@given(st.binary(max_size=80), st.sampled_from([b"QA1BCD-9>APRS:", b"QA1BCD-9>332UVT,QD1RPT*:`", b"", b"Q>A:}"]))
def test_whatever_is_heard_raises_alerts_of_the_schema_or_none(octets: bytes, start: bytes) -> None:
    watching = Watching(_EVERYTHING)
    alerts = watching.alerts(watching.post.hear(start + octets))
    assert all(alert["what"].isascii() for alert in alerts)
    assert watching.tick(2 * MINUTE)


def test_what_an_alert_says_holds_nothing_from_the_air() -> None:
    watching = Watching("{name: near, when: {distance: {within: 5km}}}, {name: any, when: {contains: <b>}}")
    line = "QA1BCD-9>APRS:!5836.00N/00355.00W><b>harmful</b>"
    for alert in watching.hear(line):
        del alert["heard"]
        assert "harmful" not in str(alert)
        assert "QA1BCD" not in str(alert)


def test_the_same_frames_raise_the_same_alerts() -> None:
    def raised() -> list[dict[str, Any]]:
        watching = Watching(_EVERYTHING)
        return [alert for line in (NEAR, FAR, buoy(46), EMERGENCY, NEAR) for alert in watching.hear(line, MINUTE)]

    assert raised() == raised()


def test_a_report_is_read_only_where_an_entry_asks_for_it() -> None:
    read = ReportReader(PLACE)
    asked = []

    def counting(judged: Any) -> Any:  # noqa: ANN401 - a judged frame and its report
        asked.append(judged)
        return read(judged)

    post = Post()
    watch = AlertWatch(written(LAUNCH), PLACE, counting, post.now())
    watch.hear([post.hear(NEAR.replace("BCD-9", "BCD-8").encode())])
    assert asked == []
    watch.hear([post.hear(NEAR.encode())])
    assert len(asked) == 1
