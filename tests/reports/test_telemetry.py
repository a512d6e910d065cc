"""Telemetry and its definitions: how many, of what form, and what is left to words."""

from typing import Any

import pytest

from gateway.reports import read, to_object


@pytest.mark.parametrize(
    ("sent", "expected"),
    # APRS101 chapter 13; values left out or left away, signs and points: common practice.
    [
        ("T#0,1", {"telemetry_sequence": 0, "analogue": [1]}),
        ("T#99999,1", {"telemetry_sequence": 99999, "analogue": [1]}),
        ("T#100000,1", None),
        ("T#-1,1", None),
        ("T#1;1", None),
        ("T#MIC1", {"analogue": [1]}),
        ("T#1,1,2,3,4,5", {"telemetry_sequence": 1, "analogue": [1, 2, 3, 4, 5]}),
        ("T#1,1,2,3,4,5,", {"telemetry_sequence": 1, "analogue": [1, 2, 3, 4, 5]}),
        ("T#1,1,2,3,4,5,1", {"telemetry_sequence": 1, "analogue": [1, 2, 3, 4, 5], "digital": "1"}),
        ("T#1,1,2,3,4,5,101010101", {"telemetry_sequence": 1, "analogue": [1, 2, 3, 4, 5], "digital": "10101010"}
         | {"comment": "1"}),
        ("T#1,1,2,3,4,5,2", {"telemetry_sequence": 1, "analogue": [1, 2, 3, 4, 5], "comment": "2"}),
        ("T#1,1,2,3,4,5,1,Hi,there", {"telemetry_sequence": 1, "analogue": [1, 2, 3, 4, 5], "digital": "1"}
         | {"comment": "Hi,there"}),
        ("T#1,,,,,5", {"telemetry_sequence": 1, "analogue": [None, None, None, None, 5]}),
        ("T#1,,,,,", None),
        ("T#1, 7 ,8", {"telemetry_sequence": 1, "analogue": [7, 8]}),
        ("T#1,999999999", {"telemetry_sequence": 1, "analogue": [999999999]}),
        ("T#1,1234567890", None),
        ("T#1,0.123456789", {"telemetry_sequence": 1, "analogue": [0.123456789]}),
        ("T#1,0.1234567891", None),
        ("T#1,.", None),
        ("T#1,+", None),
        ("T#1,--1", None),
        ("T#1,0x1", None),
        ("T#1,nan", None),
        ("T#1,1_0", None),
    ],
)  # fmt: skip
def test_values_are_numbers_and_five_at_most(sent: str, expected: dict[str, Any] | None) -> None:
    published = to_object(read("APRS", sent.encode()))
    if expected is None:
        assert published["kind"] == "unknown"
    else:
        assert published == {"kind": "telemetry"} | expected


@pytest.mark.parametrize(
    ("sent", "coefficients"),
    [
        ("1,2,3", [[1, 2, 3]]),
        (" 1 , 2 , 3 ", [[1, 2, 3]]),
        ("1,2", None),
        ("1,2,3,4,5", [[1, 2, 3]]),
        ("1,2,x,4,5,6", None),
        ("1,2,3,x,5,6,7,8,9", [[1, 2, 3]]),
        (",".join(["1"] * 15), [[1, 1, 1]] * 5),
        (",".join(["1"] * 18), [[1, 1, 1]] * 5),
        ("1e3,1E+3,1e-03", [[1000, 1000, 0.001]]),
        ("1e,2,3", None),
        ("1e999,2,3", None),
        ("1.5e-3,.5e1,5.e1", [[0.0015, 5, 50]]),
        ("inf,2,3", None),
        ("1_0,2,3", None),
    ],
)
def test_coefficients_come_by_threes_and_five_times_at_most(sent: str, coefficients: list[list[float]] | None) -> None:
    published = to_object(read("APRS", f":QA1BCD   :EQNS.{sent}".encode()))
    assert published.get("telemetry_coefficients") == coefficients


def test_names_and_units_keep_their_places_and_are_thirteen_at_most() -> None:
    names = to_object(read("APRS", b":QA1BCD   :PARM.A,,C," + b"D," * 20))["telemetry_names"]
    assert names == ["A", "", "C", *["D"] * 10]
    assert to_object(read("APRS", b":QA1BCD   :UNIT.V,,C"))["telemetry_units"] == ["V", "", "C"]


@pytest.mark.parametrize(
    ("sent", "senses", "title"),
    [
        ("10110000,Balloon", "10110000", "Balloon"), ("1", "1", None), ("101100001,x", "10110000", "1,x"),
        ("1,a,b", "1", "a,b"), ("1Balloon", "1", "Balloon"), ("2,x", None, None), ("", None, None),
    ],
)  # fmt: skip
def test_senses_are_eight_at_most_and_a_title_follows(sent: str, senses: str | None, title: str | None) -> None:
    published = to_object(read("APRS", f":QA1BCD   :BITS.{sent}".encode()))
    assert (published.get("telemetry_senses"), published.get("telemetry_title")) == (senses, title)


@pytest.mark.parametrize("text", ["PARM", "parm.A", "PARMS.A", " PARM.A", "EQN.1,2,3", "PARM A.B"])
def test_other_words_define_nothing(text: str) -> None:
    published = to_object(read("APRS", f":QA1BCD   :{text}".encode()))
    assert set(published) == {"kind", "addressee", "text"}
