from dataclasses import replace

import pytest

from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import encode
from gateway.feed.schemas import Schema
from gateway.groundwork.part import Part, PartKind, State, counter, gauge, shed
from gateway.judge.verdict import Reason
from gateway.watches.activity import Activity
from gateway.watches.reach import Farthest, Reach
from tests.judged_frames import NOON_MS
from tests.payload_schemas import held_to

RECEIVER = Part(PartKind.RECEIVER, "vhf", State.OK, NOON_MS)
UPLINK = Part(PartKind.UPLINK, "uplink", State.DEGRADED, NOON_MS, "the login is not verified", "check the passcode")
COUNTS = Counts(
    heard=10,
    forward=6,
    keep_by_reason={Reason.DUPLICATE: 3, Reason.DAMAGED: 1, Reason.RULE: 0},
    outcomes={"sent": 4, "late": 1, "dropped": 0, "stopped": 0, "refused": 0},
    waiting=1,
    emergencies=1,
)


def _health(*parts: Part, counts: Counts = COUNTS) -> Health:
    taken, none = {"frames": 1, "octets": 41}, {"frames": 0, "octets": 0}
    watched = {"past_rates": {**taken, "by_source": {"QA1BCD-9": taken}, "others": none}}
    return Health("0f1e2d3c4b5a", NOON_MS + 60_000, parts, counts, watched=watched)


def test_health_tells_each_part_since_when_why_and_what_to_do() -> None:
    plain = held_to(Schema.HEALTH, encode(_health(RECEIVER, UPLINK).to_object()))
    assert plain == {
        "run": "0f1e2d3c4b5a",
        "time": "2026-06-06T12:01:00.000Z",
        "state": "degraded",
        "parts": [
            {"kind": "receiver", "name": "vhf", "state": "ok", "since": "2026-06-06T12:00:00.000Z"},
            {
                "kind": "uplink",
                "name": "uplink",
                "state": "degraded",
                "since": "2026-06-06T12:00:00.000Z",
                "why": "the login is not verified",
                "do": "check the passcode",
            },
        ],
        "counts": {
            "heard": 10,
            "forward": 6,
            "keep": 4,
            "keep_by_reason": {"damaged": 1, "duplicate": 3},
            "emergencies": 1,
            "outcomes": {"sent": 4, "late": 1, "dropped": 0, "stopped": 0, "refused": 0},
            "waiting": 1,
        },
        "past_rates": {
            "frames": 1,
            "octets": 41,
            "by_source": {"QA1BCD-9": {"frames": 1, "octets": 41}},
            "others": {"frames": 0, "octets": 0},
        },
        "shed": {},
    }


def test_figures_stand_with_their_part_by_name_also_while_they_are_0() -> None:
    bus = Part(PartKind.BUS, "bus", State.OK, NOON_MS)
    figures = {
        bus: [*shed({"heard": 7, "alerts": 0}), counter("connections", 2, "Connections that came about.")],
        RECEIVER: [gauge("last_frame_age_seconds", 1.5, "How long ago the last good frame came.")],
    }
    plain = held_to(Schema.HEALTH, encode(replace(_health(RECEIVER, bus), figures=figures).to_object()))
    assert [part["figures"] for part in plain["parts"]] == [
        {"last_frame_age_seconds": 1.5},
        {"shed": {"heard": 7, "alerts": 0}, "connections": 2},
    ]
    assert plain["shed"] == {"bus": {"heard": 7, "alerts": 0}}


def test_a_post_that_only_listens_has_no_outcomes() -> None:
    counts = Counts(heard=2, forward=1, keep_by_reason={Reason.EMPTY: 1})
    plain = held_to(Schema.HEALTH, encode(_health(RECEIVER, counts=counts).to_object()))
    assert plain["counts"] == {"heard": 2, "forward": 1, "keep": 1, "keep_by_reason": {"empty": 1}, "emergencies": 0}
    assert counts.adds_up


@pytest.mark.parametrize(
    ("states", "whole"),
    [
        ([], State.OK),
        ([State.OK, State.OK], State.OK),
        ([State.OK, State.WAITING], State.WAITING),
        ([State.WAITING, State.QUIET], State.QUIET),
        ([State.DEGRADED, State.QUIET], State.DEGRADED),
        ([State.DOWN, State.DEGRADED, State.OK], State.DOWN),
    ],
)
def test_the_post_is_as_well_as_its_worst_part(states: list[State], whole: State) -> None:
    parts = [Part(PartKind.RECEIVER, f"r{place}", state, NOON_MS) for place, state in enumerate(states)]
    assert _health(*parts).state is whole


@pytest.mark.parametrize(
    ("counts", "adds_up"),
    [
        (COUNTS, True),
        (Counts(heard=11, forward=6, keep_by_reason=COUNTS.keep_by_reason, outcomes=COUNTS.outcomes, waiting=1), False),
        (Counts(heard=10, forward=6, keep_by_reason=COUNTS.keep_by_reason, outcomes=COUNTS.outcomes, waiting=0), False),
        (Counts(heard=0, forward=0, keep_by_reason={}), True),
    ],
)
def test_counts_add_up_or_say_that_they_do_not(counts: Counts, *, adds_up: bool) -> None:
    assert counts.adds_up is adds_up


def test_how_busy_the_post_is_and_how_far_it_reaches_stand_in_its_health_where_they_are_watched() -> None:
    watched = {
        "activity": Activity(12, 5, NOON_MS).to_object(),
        "reach": Reach(3, 41.235, Farthest(0, 50.5, NOON_MS, "QA1BCD")).to_object(),
    }
    health = replace(_health(RECEIVER), watched=watched)
    plain = held_to(Schema.HEALTH, encode(health.to_object()))
    assert plain["activity"] == {
        "frames_per_minute": 12,
        "stations_last_hour": 5,
        "last_heard": "2026-06-06T12:00:00.000Z",
    }
    today = {"farthest_km": 50.5, "station": "QA1BCD", "time": "2026-06-06T12:00:00.000Z"}
    assert plain["reach"] == {"direct_last_hour": 3, "farthest_km": 41.235, "today": today}


@pytest.mark.parametrize("kind", PartKind)
def test_every_kind_of_part_is_of_the_schema(kind: PartKind) -> None:
    held_to(Schema.HEALTH, encode(_health(Part(kind, kind, State.OK, NOON_MS)).to_object()))
