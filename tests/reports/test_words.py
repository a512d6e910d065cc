"""Reports in plain words."""

from gateway.reports import describe, load_schema, read
from gateway.reports.words import _LABELS, describe_object


def test_a_position_is_told_as_a_person_would() -> None:
    assert describe(read("APRS", b"@092345z5836.00N/00355.00W>088/036/A=001234Wrack")) == [
        ("kind", "position"),
        ("position", "58.60000° N, 3.91667° W"),
        ("written as", "plain-text"),
        ("symbol", "car (/>)"),
        ("time", "day 9, 23:45 UTC"),
        ("course", "88°"),
        ("speed", "66.7 km/h"),
        ("altitude", "376.1 m"),
        ("takes messages", "yes"),
        ("comment", "Wrack"),
    ]


def test_digits_that_are_left_out_are_told_where_there_are_some_and_a_speed_of_nothing_is_told() -> None:
    # APRS101 chapter 6: blanks stand for the digits left out.
    blurred = dict(describe(read("APRS", b"!5836.  N/00355.  W>088/000")))
    assert (blurred["blanked digits"], blurred["speed"]) == ("2", "0 km/h")
    assert "blanked digits" not in dict(describe(read("APRS", b"!5836.00N/00355.00W>")))


def test_a_call_for_help_is_told_first_and_with_its_caution() -> None:
    label, text = describe(read("332UVT", b'`(_fn"Oj/'))[0]
    assert label == "EMERGENCY"
    assert "no distress watch" in text


def test_times_are_told_as_far_as_they_were_sent() -> None:
    def told(information: bytes) -> str:
        return dict(describe(read("APRS", information)))["time"]

    assert told(b"@092345/5836.00N/00355.00W>") == "day 9, 23:45, the sender's local time"
    assert told(b"@234517h5836.00N/00355.00W>") == "23:45:17 UTC"
    assert told(b"_10090556c220s004") == "month 10, day 9, 05:56 UTC"
    assert told(b"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68") == "1994-11-19, 22:54:46 UTC"


def test_lists_and_capabilities_are_told_in_a_row() -> None:
    assert dict(describe(read("APRS", b"T#101,12.5,-3,,")))["analogue values"] == "12.5, -3, -"
    assert dict(describe(read("APRS", b"<IGATE,MSG_CNT=43")))["capabilities"] == "IGATE, MSG_CNT 43"
    told = dict(describe(read("APRS", b":QA1BCD-9 :EQNS.0,5.2,0,0,.53,-32")))
    assert told["telemetry coefficients"] == "(0, 5.2, 0), (0, 0.53, -32)"


def test_what_others_add_is_told_too() -> None:
    told = describe_object({"kind": "position", "distance_km": 4.25, "bearing_deg": 88.0, "relayed_by": "QD1DIG-1"})
    assert told[1:] == [("distance", "4.25 km"), ("bearing from here", "88°"), ("relayed by", "QD1DIG-1")]


def test_every_field_of_the_schema_has_a_label() -> None:
    told_with_another = {"longitude"}
    told_by_memory = {"channels"}
    assert set(_LABELS) | told_with_another | told_by_memory == set(load_schema()["properties"])
