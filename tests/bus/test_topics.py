import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.bus.topics import TopicGroup, Topics, why_no_base

TOPICS = Topics("stile", "QX1GAT-10")


def test_topics_stand_under_base_and_callsign() -> None:
    assert TOPICS.of(TopicGroup.HEARD) == "stile/QX1GAT-10/heard"
    assert TOPICS.status == "stile/QX1GAT-10/status"
    assert TOPICS.stations == "stile/QX1GAT-10/stations/+"
    assert TOPICS.station("QA1BCD-9") == "stile/QX1GAT-10/stations/QA1BCD-9"


def test_a_base_may_have_several_levels() -> None:
    assert Topics("home/radio", "QX1GAT").of(TopicGroup.ALERTS) == "home/radio/QX1GAT/alerts"


@pytest.mark.parametrize("base", ["", "/", "stile/", "/stile", "a//b", "a+b", "#", "$SYS", "a\0b", "a\nb", "x" * 129])
def test_a_base_that_would_break_the_topics_is_refused(base: str) -> None:
    assert why_no_base(base)


@pytest.mark.parametrize("source", ["", "a/b", "+", "#", "QA1\0", "QA1\n", "QA1BCD 9", "QA1BCD-999", "QA1-2-3", "ÄA1"])
def test_a_source_that_is_no_callsign_gets_no_topic(source: str) -> None:
    with pytest.raises(ValueError, match="has no topic"):
        TOPICS.station(source)


@given(st.text(max_size=12))
def test_whatever_gets_a_topic_is_one_level_of_it(source: str) -> None:
    try:
        topic = TOPICS.station(source)
    except ValueError:
        return
    assert topic.split("/") == ["stile", "QX1GAT-10", "stations", source]
    assert source.replace("-", "").isalnum()
    assert len(source) <= 9
    assert TOPICS.station_name(topic) == source


def test_only_a_station_topic_names_a_station() -> None:
    assert TOPICS.station_name("stile/QX1GAT-10/stations/QA1") == "QA1"
    assert TOPICS.station_name("stile/QX1GAT-10/stations/") == ""
    assert TOPICS.station_name("stile/QX1GAT-10/stations/QA1/x") is None
    assert TOPICS.station_name("stile/QX1GAT-10/status") is None
    assert TOPICS.station_name("elsewhere/QX1GAT-10/stations/QA1") is None
