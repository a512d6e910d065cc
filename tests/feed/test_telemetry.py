"""Telemetry with its meaning: the worked example of APRS101 chapter 13, whose callsign it keeps, and what bounds it.

The example's messages and report are as printed there; what they come to is the standard's formula a·v² + b·v + c,
reckoned by hand. The rest is our own.
"""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.feed.heard_object import encode, heard_object
from gateway.feed.reader import ReportReader
from gateway.feed.schemas import Schema
from gateway.feed.telemetry import REMEMBERED_MEANINGS, TelemetryMemory
from gateway.frames.plain import PlainObject
from gateway.judge import conditions
from gateway.reports import load_schema, read
from tests.judged_frames import Post
from tests.payload_schemas import held_to
from tests.remembering import dumped, restore

BALLOON = b"N0QBF-11>APRS:"
NAMES = b":N0QBF-11 :PARM.Battery,Btemp,ATemp,Pres,Alt,Camra,Chut,Sun,10m,ATV"
UNITS = b":N0QBF-11 :UNIT.v/100,deg.F,deg.F,Mbar,Kft,Click,OPEN,on,on,hi"
COEFFICIENTS = b":N0QBF-11 :EQNS.0,5.2,0,0,.53,-32,3,4.39,49,-32,3,18,1,2,3"
SENSES = b":N0QBF-11 :BITS.10110000,N0QBF's Big Balloon"
VALUES = b"T#005,199,000,255,073,123,01101001"

BUOY = "QA1BUOY"


class Listening:
    """A post that hears one station after another, and shows what it heard."""

    def __init__(self, reader: ReportReader | None = None) -> None:
        self.post = Post()
        self.reader = reader or ReportReader(conditions.Post("QX1GAT-10"))

    def channels(self, *lines: bytes) -> list[PlainObject] | None:
        """Of the last of the lines, once all of them were heard."""
        for line in lines:
            judged = self.post.hear(line)
            self.reader.telemetry.hear(judged)
        plain = held_to(Schema.HEARD, encode(heard_object(judged, self.reader(judged))))
        found: list[PlainObject] | None = plain["report"].get("channels")
        return found


def says(text: str, source: str = BUOY) -> bytes:
    """A message from a station to itself."""
    return f"{source}>APRS::{source:<9}:{text}".encode()


def measures(values: str, source: str = BUOY) -> bytes:
    return f"{source}>APRS:T#001,{values}".encode()


def channel(name: str, value: float | None, unit: str | None = None) -> dict[str, Any]:
    return {"name": name, "value": value} | ({} if unit is None else {"unit": unit})


def test_the_standards_example_comes_out_with_its_names_units_and_scaled_values() -> None:
    lines = [BALLOON + information for information in (NAMES, UNITS, COEFFICIENTS, SENSES, VALUES)]
    assert Listening().channels(*lines) == [
        channel("Battery", 1034.8, "v/100"),  # 0·199² + 5.2·199 + 0
        channel("Btemp", -32, "deg.F"),  # 0·0² + .53·0 - 32
        channel("ATemp", 196243.45, "deg.F"),  # 3·255² + 4.39·255 + 49
        channel("Pres", -170291, "Mbar"),  # -32·73² + 3·73 + 18
        channel("Alt", 15378, "Kft"),  # 1·123² + 2·123 + 3
        channel("Camra", False, "Click"),  # the bit is 0, its sense 1
        channel("Chut", False, "OPEN"),  # 1, 0
        channel("Sun", True, "on"),  # 1, 1
        channel("10m", False, "on"),  # 0, 1
        channel("ATV", False, "hi"),  # 1, 0
    ]


def test_telemetry_that_its_sender_has_not_defined_has_no_channels() -> None:
    assert Listening().channels(BALLOON + VALUES) is None


def test_the_largest_value_scaled_by_the_largest_coefficients_is_a_number() -> None:
    huge = ",".join(["999999999e99"] * 3)
    [scaled] = Listening().channels(says(f"EQNS.{huge}"), measures("999999999")) or []
    assert 1e120 < scaled["value"] < 1e130


def test_a_message_from_another_station_defines_nothing() -> None:
    assert Listening().channels(b"QB2BCD>APRS::QA1BUOY  :PARM.Battery", measures("1")) is None


def test_a_message_to_another_station_defines_nothing() -> None:
    assert Listening().channels(b"QA1BUOY>APRS::QB2BCD   :PARM.Battery", measures("1")) is None


def test_without_names_the_channels_have_those_of_the_standard() -> None:
    """APRS101 chapter 13 calls the values A1 to A5 and the bits B1 to B8."""
    assert Listening().channels(says("UNIT.V,,C"), measures("1,2,3,4,5,01")) == [
        channel("A1", 1, "V"),
        channel("A2", 2),
        channel("A3", 3, "C"),
        channel("A4", 4),
        channel("A5", 5),
        channel("B1", False),
        channel("B2", True),
    ]


def test_where_names_are_known_a_channel_without_one_is_not_in_use() -> None:
    heard = Listening().channels(says("PARM.Battery,,Water,,,Hatch"), measures("125,0,171,0,0,10000000"))
    assert heard == [channel("Battery", 125), channel("Water", 171), channel("Hatch", True)]


def test_names_for_none_of_the_values_sent_leave_no_channels() -> None:
    assert Listening().channels(says("PARM.,,Water"), measures("1,2")) is None


def test_a_value_that_was_left_out_is_null() -> None:
    assert Listening().channels(says("PARM.Battery,Water"), measures(",171")) == [
        channel("Battery", None),
        channel("Water", 171),
    ]


def test_a_value_beyond_the_coefficients_is_as_it_was_sent() -> None:
    assert Listening().channels(says("EQNS.0,.1,0"), measures("125,171")) == [channel("A1", 12.5), channel("A2", 171)]


def test_a_scaled_value_does_not_show_how_a_computer_rounds() -> None:
    assert 0.1 * 3 != 0.3
    assert Listening().channels(says("EQNS.0,.1,0"), measures("3")) == [channel("A1", 0.3)]


def test_telemetry_in_a_comment_has_channels_too() -> None:
    """`|ss1122334455!"|`: the example of the note "Base91 Comment Telemetry"; 1472 is its first value."""
    heard = Listening().channels(
        says("PARM.Battery"), says("EQNS.0,.01,0"), b'QA1BUOY>APRS:!5836.00N/00355.00W-Hello|ss1122334455!"|'
    )
    assert heard == [channel("Battery", 14.72)]


def test_what_a_thing_on_the_map_carries_is_no_channel_of_the_station_that_placed_it() -> None:
    assert (
        Listening().channels(says("PARM.Battery"), b"QA1BUOY>APRS:;MARK     *092345z5836.00N/00355.00W>|!#!!|") is None
    )


def test_a_new_definition_holds_for_what_is_heard_after_it() -> None:
    listening = Listening()
    listening.channels(says("PARM.Battery"))
    before = listening.post.hear(measures("125"))
    listening.reader.telemetry.hear(before)
    after = listening.channels(says("PARM.Fuel"), measures("125"))
    assert after == [channel("Fuel", 125)]
    shown = listening.reader(before)
    assert shown is not None
    assert shown["channels"] == [channel("Battery", 125)]


def test_a_frame_heard_before_the_first_definition_has_no_channels_whenever_it_is_shown() -> None:
    listening = Listening()
    before = listening.post.hear(measures("125"))
    listening.reader.telemetry.hear(before)
    listening.channels(says("PARM.Battery"))
    shown = listening.reader(before)
    assert shown is not None
    assert "channels" not in shown


def test_a_relayed_station_defines_and_measures_as_itself() -> None:
    relay = b"QD2GAT>APZ001:}QA1BUOY>APRS,QD2GAT*:"
    assert Listening().channels(relay + b":QA1BUOY  :PARM.Battery", measures("125")) == [channel("Battery", 125)]


def test_the_station_that_was_heard_least_lately_makes_room_for_a_new_one() -> None:
    memory = TelemetryMemory(limit=2)
    listening = Listening(ReportReader(conditions.Post("QX1GAT-10"), memory))
    listening.channels(
        says("PARM.One", "QA1"), says("PARM.Two", "QA2"), b"QA1>APRS:>still here", says("PARM.Three", "QA3")
    )
    assert len(memory) == 2
    assert listening.channels(measures("1", "QA2")) is None
    assert listening.channels(measures("1", "QA1")) == [channel("One", 1)]
    assert listening.channels(measures("1", "QA3")) == [channel("Three", 1)]


def test_a_station_that_keeps_changing_its_mind_is_remembered_within_bounds() -> None:
    listening = Listening()
    numbers = range(3 * REMEMBERED_MEANINGS)
    for number in numbers:
        listening.channels(says(f"PARM.Name {number}"))
    assert listening.channels(measures("1")) == [channel(f"Name {numbers[-1]}", 1)]
    assert len(listening.reader.telemetry._stations[BUOY].meanings) == REMEMBERED_MEANINGS  # noqa: SLF001


@pytest.mark.parametrize("source", ["QA1+BCD", "TOOLONGCALL", "QA1BCD-9XY"])
def test_a_source_that_is_no_callsign_of_the_network_is_not_remembered(source: str) -> None:
    memory = TelemetryMemory()
    memory.take(source, read("APRS", f":{source[:9]:<9}:PARM.x".encode()), 1)
    assert len(memory) == 0


def test_what_is_known_survives_a_restart() -> None:
    listening = Listening()
    listening.channels(says("PARM.Battery"), says("UNIT.V"), says("EQNS.0,.1,0"), says("BITS.0"))
    pieces = dumped(listening.reader.telemetry)
    after = TelemetryMemory()
    restore(after, pieces)
    assert Listening(ReportReader(conditions.Post("QX1GAT-10"), after)).channels(measures("125")) == [
        channel("Battery", 12.5, "V")
    ]
    assert list(after.dump()) == pieces


@pytest.mark.parametrize(
    "state",
    [
        {},
        {"stations": ["x"]},
        {"stations": {BUOY: {"names": "x"}}},
        {"stations": {BUOY: {"names": ["x"] * 14}}},
        {"stations": {BUOY: {"coefficients": [[0, math.inf, 0]]}}},
        {"stations": {5: {"names": ["x"]}}},
    ],
)
def test_a_state_of_another_shape_is_left_out(state: dict[str, Any]) -> None:
    memory = TelemetryMemory()
    restore(memory, [state])
    assert len(memory) == 0


def test_what_is_damaged_in_a_state_takes_nothing_else_with_it() -> None:
    memory = TelemetryMemory()
    restore(memory, [{"stations": {"QA1": 5, BUOY: {"names": ["Battery"]}}}])
    assert len(memory) == 1


_TEXT = st.binary(max_size=60).map(lambda text: text.replace(b"\r", b"").replace(b"\n", b""))


@given(
    st.lists(st.tuples(st.sampled_from([b"PARM.", b"UNIT.", b"EQNS.", b"BITS.", b""]), _TEXT), max_size=8),
    st.lists(st.sampled_from(["0", "255", "-1.5", "", "999999999"]), min_size=1, max_size=5),
    st.text("01", max_size=8),
)
def test_whatever_a_station_says_its_channels_are_of_the_schema(
    said: list[tuple[bytes, bytes]], values: list[str], bits: str
) -> None:
    listening = Listening()
    lines = [b"QA1BUOY>APRS::QA1BUOY  :" + keyword + text for keyword, text in said]
    heard = listening.channels(*lines, measures(",".join([*values, bits])))
    for one in heard or []:
        assert one["name"]
        assert one["value"] is None or math.isfinite(one["value"])


def test_the_field_is_one_that_the_reports_schema_knows() -> None:
    assert "channels" in load_schema()["properties"]
