"""What a station last said, kind by kind, and what may be made of the names that it gives to its telemetry."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.feed.latest import LONGEST_NAME, MOST_CHANNELS, Channel, Latest, channels_by_key, key_of, safe_name
from gateway.feed.reader import ReportReader
from gateway.judge.conditions import Post as PostSettings
from gateway.judge.verdict import Judged, Reason
from tests.judged_frames import Post

READER = ReportReader(PostSettings("QX1GAT-10", 58.6, -3.9167))
AT_SEA = b"QA1BCD-9>APRS:!5836.00N/00355.00W>088/036/A=000033"
WEATHER = b"QA1BCD-9>APRS:_06061200c220s004g005t077r000p000P000h50b09900wRSW"


def hear(latest: Latest, *frames: Judged) -> Latest:
    for judged in frames:
        report = READER(judged)
        assert report is not None
        latest.hear(judged, report)
    return latest


def test_the_last_of_each_kind_is_kept_whatever_came_after() -> None:
    post = Post()
    latest = hear(Latest(), post.hear(AT_SEA), post.hear(WEATHER), post.hear(b"QA1BCD-9>APRS:>all is well"))
    plain = latest.to_object()
    assert plain["position"] == {
        "time": "2026-06-06T12:00:00.000Z",
        "latitude": 58.6,
        "longitude": -3.916667,
        "distance_km": 0.002,
        "bearing_deg": 90.0,
        "course_deg": 88,
        "speed_kmh": 66.7,
        "altitude_m": 10.1,
    }
    assert plain["weather"]["temperature_c"] == 25.0
    assert plain["weather"]["pressure_hpa"] == 990.0
    assert "telemetry" not in plain


def test_a_newer_report_takes_the_place_of_the_older_one_as_a_whole() -> None:
    post = Post()
    latest = hear(Latest(), post.hear(AT_SEA), post.hear(b"QA1BCD-9>APRS:!5837.00N/00355.00W-"))
    assert latest.position is not None
    assert latest.position["latitude"] == 58.616667
    assert "speed_kmh" not in latest.position


def test_a_copy_says_nothing_new() -> None:
    post = Post()
    first, second = post.hear(AT_SEA), post.hear(b"QA1BCD-9>APRS:!5837.00N/00355.00W-")
    latest = hear(Latest(), first, second, post.hear(AT_SEA, reason=Reason.DUPLICATE))
    assert latest.position is not None
    assert latest.position["latitude"] == 58.616667


@pytest.mark.parametrize(
    "line",
    [
        # The information is that of published examples, the callsign ours.
        b"QA1BCD-9>APRS:;LEADER   *092345z4903.50N/07201.75W>088/036",  # APRS101 chapter 11: an object is elsewhere
        b"QA1BCD-9>APRS:)AID #2!4903.50N/07201.75WA",  # APRS101 chapter 11: so is an item
        b"QA1BCD-9>APRS:$GPWPL,4903.50,N,07201.75,W,CLIFF*6D",  # a waypoint that it gives
        b"QA1BCD-9>APRS:>IO91SX/G",  # APRS101 chapter 16: a locator in a status is where its sender once was
        b"QA1BCD-9>APRS::QB2BCD-7 :hello{003",
    ],
)
def test_a_place_that_is_not_the_senders_moves_nobody(line: bytes) -> None:
    post = Post()
    assert hear(Latest(), post.hear(line)).position is None


def test_telemetry_has_its_channels_by_key_with_the_names_that_were_sent() -> None:
    post = Post()
    reader = ReportReader(PostSettings("QX1GAT-10"))
    for line in (
        b"QC3BCD>APRS::QC3BCD   :PARM.Battery,Bilge,Mast {{ x }},,,Hatch",
        b"QC3BCD>APRS::QC3BCD   :UNIT.volts,cm,,,,open",
        b"QC3BCD>APRS::QC3BCD   :EQNS.0,0.1,0,0,1,0",
    ):
        reader.telemetry.hear(post.hear(line))
    latest, judged = Latest(), post.hear(b"QC3BCD>APRS:T#005,127,003,255,073,123,10000000")
    report = reader(judged)
    assert report is not None
    latest.hear(judged, report)
    assert latest.telemetry == {
        "time": "2026-06-06T12:00:00.000Z",
        "channels": {"battery": 12.7, "bilge": 3, "mast_x": 255, "hatch": True},
    }
    assert latest.channels == (
        Channel("battery", "Battery", "volts", is_bit=False),
        Channel("bilge", "Bilge", "cm", is_bit=False),
        Channel("mast_x", "Mast x", "", is_bit=False),
        Channel("hatch", "Hatch", "open", is_bit=True),
    )


def test_names_that_are_alike_or_empty_still_have_keys_of_their_own() -> None:
    named = channels_by_key(
        [{"name": name, "value": 1} for name in ("Temp", "temp", "TEMP!", "{{}}", "Ωμέγα", "items")]
    )
    assert [channel.key for channel, _ in named] == ["temp", "temp_2", "temp_3", "channel_4", "channel_5", "items"]
    assert [channel.name for channel, _ in named] == ["Temp", "temp", "TEMP", "Channel 4", "Ωμέγα", "items"]


@given(st.text())
def test_no_text_from_the_air_can_mean_anything_in_a_template_a_topic_or_a_page(text: str) -> None:
    name = safe_name(text)
    assert len(name) <= LONGEST_NAME
    assert not set(name) & set("{}%#<>&\"'`\\$|=;:\n\r\t\0*?!@~^[],")
    assert name.isprintable()
    assert safe_name(name) == name
    key = key_of(name)
    assert not set(key) - set("abcdefghijklmnopqrstuvwxyz0123456789_")
    assert key_of(key) == key


_channel: st.SearchStrategy[dict[str, Any]] = st.fixed_dictionaries(
    {"name": st.text(max_size=40), "value": st.none() | st.booleans() | st.floats(allow_nan=False)},
    optional={"unit": st.text(max_size=10)},
)


@given(st.lists(_channel, max_size=30))
def test_every_channel_has_a_key_of_its_own_and_there_are_no_more_than_a_report_can_hold(
    published: list[dict[str, Any]],
) -> None:
    named = channels_by_key(published)
    assert len(named) == min(len(published), MOST_CHANNELS)
    assert len({channel.key for channel, _ in named}) == len(named)
    assert [value for _, value in named] == [entry["value"] for entry in published[:MOST_CHANNELS]]
