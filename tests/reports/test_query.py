"""Queries and capabilities: what is one, and the circle that may be asked about."""

import pytest

from gateway.reports import read, to_object


@pytest.mark.parametrize(
    ("asked", "circle", "text"),
    # APRS101 chapter 15: degrees, degrees, miles.
    [
        ("34.02,-117.15,0200", (34.02, -117.15, 321.87), None),
        (" 34.02,-117.15,0200", (34.02, -117.15, 321.87), None),
        ("34 , -117 , 1 and on", (34.0, -117.0, 1.61), "and on"),
        ("90,180,0", (90.0, 180.0, 0.0), None),
        ("-90,-180,99999", (-90.0, -180.0, 160932.79), None),
        ("90.1,180,1", None, "90.1,180,1"),
        ("90,-180.1,1", None, "90,-180.1,1"),
        ("900,18,1", None, "900,18,1"),
        ("90,1800,1", None, "90,1800,1"),
        ("34.,-117.,1", None, "34.,-117.,1"),
        ("34,-117", None, "34,-117"),
        ("+34,-117,1", None, "+34,-117,1"),
    ],
)
def test_a_circle_has_a_centre_on_the_globe_and_a_radius(
    asked: str, circle: tuple[float, float, float] | None, text: str | None
) -> None:
    report = to_object(read("APRS", f"?APRS?{asked}".encode()))
    assert report["query"] == "APRS"
    assert report.get("text") == text
    found = (report.get("area_latitude"), report.get("area_longitude"), report.get("area_radius_km"))
    assert found == (circle or (None, None, None))


@pytest.mark.parametrize(
    ("written", "query"),
    [
        ("?A?", "A"), ("?ABCDEFGHI?", "ABCDEFGHI"), ("?ABCDEFGHIJ?", None), ("??", None), ("?A", None), ("?A B?", None),
        ("?igate?", "igate"), ("?A-B?", None),
    ],
)  # fmt: skip
def test_a_query_to_all_is_a_word_between_question_marks(written: str, query: str | None) -> None:
    assert to_object(read("APRS", written.encode())).get("query") == query


@pytest.mark.parametrize(
    ("text", "query", "rest"),
    # APRS101 chapter 15.
    [
        ("?APRSD", "APRSD", None), ("?APRSD?", "APRSD", None), ("?APRSH QB2BCD", "APRSH", "QB2BCD"),
        ("?PING?", "PING", None),
        ("?PING", "PING", None), ("?APRS", None, "?APRS"), ("?APRSDX", None, "?APRSDX"), ("?PINGS", None, "?PINGS"),
        ("?aprsd", None, "?aprsd"), ("x?APRSD", None, "x?APRSD"), ("?APRSD1", None, "?APRSD1"),
    ],
)  # fmt: skip
def test_a_query_to_one_is_a_word_that_the_standard_knows(text: str, query: str | None, rest: str | None) -> None:
    report = to_object(read("APRS", f":QA1BCD   :{text}".encode()))
    assert (report.get("query"), report.get("text")) == (query, rest)
    assert report["addressee"] == "QA1BCD"


def test_capabilities_are_names_some_with_a_value_and_no_more_than_a_line_holds() -> None:
    report = to_object(read("APRS", b"<IGATE, MSG_CNT = 43 ,,=5,A=B=C"))
    assert report["capabilities"] == {"IGATE": "", "MSG_CNT": "43", "A": "B=C"}
    assert to_object(read("APRS", b"<,,"))["kind"] == "unknown"
    assert len(to_object(read("APRS", b"<" + b",".join(b"%d" % number for number in range(100))))["capabilities"]) == 64
