"""Which discovery messages are written, when, and what becomes of those that are not ours any more."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.bus.discovery import Announcer
from gateway.bus.discovery_topics import MOST_STRAYS, SETTLED_MS, DiscoveryTopics
from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.judge.conditions import Post as PostSettings
from tests.judged_frames import Post
from tests.options import discovery_options

NODE = "stile-QX1GAT-10-1a2b"
START = f"homeassistant/device/{NODE}"
GATEWAY = f"{START}/gateway/config"
BOAT = f"{START}/QA1BCD-9/config"
BUOY = f"{START}/QC3BCD/config"
PARTS = [("receiver", "vhf"), ("bus", "bus")]
LISTED = ("QA1BCD-9", "QC3BCD")


class Afloat:
    """A post with its memory, and the topics that a hub is told by."""

    def __init__(self) -> None:
        self.post = Post()
        self.topics = topics()
        self._stations = Stations(followed=LISTED)
        self._reader = ReportReader(PostSettings("QX1GAT-10", 58.6, -3.9167))

    def hear(self, line: bytes) -> None:
        judged = self.post.hear(line)
        self._reader.telemetry.hear(judged)
        self._stations.hear(HeardPayload(judged, self._reader))
        station = self._stations.get(line.partition(b">")[0].decode())
        if station is not None:
            self.topics.heard(station)


def topics(*callsigns: str) -> DiscoveryTopics:
    options = discovery_options(*(callsigns or LISTED))
    return DiscoveryTopics(options, Announcer(NODE, "QX1GAT-10", "stile/QX1GAT-10"))


def connect(told: DiscoveryTopics, held: dict[str, bytes] | None = None) -> None:
    told.begin()
    for topic, payload in (held or {}).items():
        told.read(topic, payload, retained=True)
    told.settle()


def take(told: DiscoveryTopics) -> list[tuple[str, bytes]]:
    taken = []
    while told:
        change = told.next()
        if change is not None:
            taken.append(change)
    return taken


def held_after(told: DiscoveryTopics, held: dict[str, bytes] | None = None) -> dict[str, bytes]:
    """What a broker holds once everything was written."""
    now = dict(held or {})
    for topic, payload in take(told):
        now[topic] = payload
        if not payload:
            del now[topic]
    return now


def components(payload: bytes) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(payload)["components"]
    return found


def test_the_gateway_is_told_first_then_every_station_of_the_list() -> None:
    told = topics()
    told.has_parts(PARTS)
    connect(told)
    assert [topic for topic, _ in take(told)] == [GATEWAY, BOAT, BUOY]


def test_nothing_is_written_before_the_broker_has_told_what_it_holds() -> None:
    told = topics()
    told.has_parts(PARTS)
    told.begin()
    assert (len(told), told.next()) == (0, None)


def test_the_gateway_is_told_once_it_is_known_what_it_has() -> None:
    told = topics()
    connect(told)
    assert [topic for topic, _ in take(told)] == [BOAT, BUOY]
    told.has_parts(PARTS)
    told.has_parts(PARTS)
    assert [topic for topic, _ in take(told)] == [GATEWAY]


def test_what_the_broker_holds_already_is_not_written_again() -> None:
    told = topics()
    told.has_parts(PARTS)
    connect(told)
    held = held_after(told)
    told.end()
    connect(told, held)
    assert take(told) == []


def test_who_is_on_the_list_no_longer_is_taken_from_the_hub() -> None:
    told = topics()
    told.has_parts(PARTS)
    connect(told)
    held = held_after(told)
    shorter = topics("QA1BCD-9")
    shorter.has_parts(PARTS)
    connect(shorter, held)
    assert take(shorter) == [(BUOY, b"")]


def test_only_what_stands_under_our_own_name_is_ever_touched() -> None:
    told = topics()
    for topic in ("homeassistant/device/kettle/config", f"{START}/QA9/state", f"{START}/a/b/config", f"{START}/config"):
        told.read(topic, b"{}", retained=True)
    told.settle()
    assert [topic for topic, payload in take(told) if not payload] == []


def test_entities_come_when_a_station_first_sends_what_they_show() -> None:
    afloat = Afloat()
    connect(afloat.topics)
    assert set(components(held_after(afloat.topics)[BOAT])) == {"tracker", "last_heard"}
    afloat.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>088/036")
    ((topic, payload),) = take(afloat.topics)
    assert topic == BOAT
    assert set(components(payload)) == {"tracker", "last_heard", "distance_km", "speed_kmh"}
    afloat.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>088/036")
    afloat.hear(b"QA1BCD-9>APRS:>a status says nothing new of it")
    assert take(afloat.topics) == []


def test_who_is_not_on_the_list_changes_nothing_whatever_they_send() -> None:
    afloat = Afloat()
    connect(afloat.topics)
    take(afloat.topics)
    for line in (b"QA1BCD>APRS:!5836.00N/00355.00W>", b"QZ9BCD>APRS::QZ9BCD   :PARM.A,B,C", b"gateway>APRS:>x"):
        afloat.hear(line)
    assert take(afloat.topics) == []


def _telemetry(afloat: Afloat, names: bytes) -> None:
    afloat.hear(b"QC3BCD>APRS::QC3BCD   :PARM." + names)
    afloat.hear(b"QC3BCD>APRS:T#005,1,2,3,4,5,00000000")


def test_channels_that_are_named_anew_replace_the_old_ones() -> None:
    afloat = Afloat()
    connect(afloat.topics)
    take(afloat.topics)
    _telemetry(afloat, b"Battery,Bilge")
    ((_, payload),) = take(afloat.topics)
    assert set(components(payload)) == {"tracker", "last_heard", "telemetry_battery", "telemetry_bilge"}
    afloat.post.wait(SETTLED_MS)
    _telemetry(afloat, b"Battery,Depth")
    (_, parting), (_, after) = take(afloat.topics)
    assert components(parting)["telemetry_bilge"] == {"platform": "sensor"}
    assert set(components(after)) == {"tracker", "last_heard", "telemetry_battery", "telemetry_depth"}


def test_a_station_that_renames_its_channels_all_the_time_keeps_no_hub_busy() -> None:
    afloat = Afloat()
    connect(afloat.topics)
    take(afloat.topics)
    written = 0
    for number in range(600):
        _telemetry(afloat, b"Name%d" % number)
        afloat.post.wait(1_000)
        written += len(take(afloat.topics))
    assert written <= 2 * 10  # with what is gone, then without


@pytest.mark.parametrize("name", [b"{{ 1/0 }}", b"{% x %}", b"../../config", b'"}],', b"<b>", b"a/+/#", b"\xff\xfe"])
def test_no_name_from_the_air_leaves_the_place_that_it_has(name: bytes) -> None:
    afloat = Afloat()
    connect(afloat.topics)
    take(afloat.topics)
    _telemetry(afloat, name)
    for topic, payload in take(afloat.topics):
        assert topic == BUOY
        for key, component in components(payload).items():
            assert not set(key) - set("abcdefghijklmnopqrstuvwxyz0123456789_")
            assert not set(component["name"] or "") & set("{}%<>\"'#\\")
            assert component.get("state_topic", "stile/QX1GAT-10/stations/QC3BCD") == "stile/QX1GAT-10/stations/QC3BCD"


def test_after_a_restart_nothing_is_taken_away_that_will_come_again() -> None:
    afloat = Afloat()
    afloat.topics.has_parts(PARTS)
    connect(afloat.topics)
    held = held_after(afloat.topics)
    afloat.hear(b"QA1BCD-9>APRS:_06061200c220s004g005t077r000p000P000h50b09900wRSW")
    _telemetry(afloat, b"Battery,,,,,Hatch")
    held = held_after(afloat.topics, held)
    again = topics()
    again.has_parts(PARTS)
    connect(again, held)
    assert set(components(held_after(again, held)[BOAT])) == set(components(held[BOAT])) >= {"temperature_c"}
    assert set(components(held_after(again, held)[BUOY])) >= {"telemetry_battery", "bit_hatch"}


def test_a_part_that_the_station_file_has_no_longer_is_taken_from_the_hub() -> None:
    told = topics()
    told.has_parts([*PARTS, ("receiver", "hf")])
    connect(told)
    held = held_after(told)
    fewer = topics()
    fewer.has_parts(PARTS)
    connect(fewer, held)
    (_, parting), (_, after) = take(fewer)
    assert components(parting)["part_receiver_hf"] == {"platform": "sensor"}
    assert "part_receiver_hf" not in components(after)


def test_a_connection_that_broke_before_the_second_of_the_two_is_made_good() -> None:
    told = topics()
    told.has_parts([*PARTS, ("receiver", "hf")])
    connect(told)
    held = held_after(told)
    fewer = topics()
    fewer.has_parts(PARTS)
    connect(fewer, held)
    parting = fewer.next()
    assert parting is not None
    fewer.end()
    connect(fewer, {**held, GATEWAY: parting[1]})
    ((topic, after),) = take(fewer)
    assert topic == GATEWAY
    assert "part_receiver_hf" not in components(after)


def test_a_hub_that_comes_is_told_everything_anew_but_not_for_what_it_once_said() -> None:
    told = topics()
    told.has_parts(PARTS)
    connect(told)
    take(told)
    told.read("homeassistant/status", b"online", retained=True)
    told.read("homeassistant/status", b"offline", retained=False)
    assert take(told) == []
    for _ in range(100):
        told.read("homeassistant/status", b"online", retained=False)
    assert [topic for topic, _ in take(told)] == [GATEWAY, BOAT, BUOY]


def test_strays_without_end_are_not_all_remembered() -> None:
    told = topics()
    told.begin()
    for number in range(2 * MOST_STRAYS):
        told.read(f"{START}/stray{number}/config", b"{}", retained=True)
    told.settle()
    assert len(take(told)) == MOST_STRAYS + len(LISTED)


@given(st.lists(st.tuples(st.sampled_from([GATEWAY, BOAT, f"{START}/x/config"]), st.binary(max_size=60))))
def test_whatever_stands_at_the_broker_it_ends_as_it_should(found: list[tuple[str, bytes]]) -> None:
    told = topics()
    told.has_parts(PARTS)
    held = {topic: payload for topic, payload in found if payload}
    connect(told, held)
    after = held_after(told, held)
    fresh = topics()
    fresh.has_parts(PARTS)
    connect(fresh)
    assert after == held_after(fresh)
