"""What a hub says of itself: never that it is well when it could not take over."""

from pathlib import Path

import pytest

pytest.importorskip("nats")

from gateway import settings
from gateway.club.follower import StreamMessage
from gateway.club.hub import BEHIND_MS, Hub
from gateway.club.hub_member import HubMember
from gateway.club.membership import MemberStanding
from gateway.club.policy_entry import PolicyEntry, entry_of
from gateway.club.subjects import Subjects
from gateway.frames.heard import Run
from gateway.groundwork.part import State
from gateway.judge.source import PolicySource
from gateway.judge.state import JUDGE
from gateway.settings import policy_files

STATION = """station: {callsign: QX1HUB-10}
uplink: {servers: ["tcp://127.0.0.1:14580"]}
club: {name: wrackholm, servers: ["nats://127.0.0.1:4222"], role: hub}
"""


@pytest.fixture
def member(monkeypatch: pytest.MonkeyPatch) -> HubMember:
    """A hub that stands by, to which everything is well."""
    station = settings.read(STATION, Path("station.yaml"), {})
    source = policy_files.load_for(station)
    assert station.club is not None
    ready = policy_files.ready_policies()
    made = HubMember(station.club.hub, Run(), lambda: source, lambda _: [], lambda _: None, ready_policies=ready)
    hub = made.hub
    hub.membership.standing = MemberStanding(connected=True, since_ms=0.0)
    hub.login.held.set()
    follow(hub, source)
    made.policy = source
    monkeypatch.setattr(Hub, "holder", "QX2HUB-10")
    monkeypatch.setattr(Hub, "behind_ms", BEHIND_MS - 1)
    return made


def follow(hub: Hub, source: PolicySource) -> None:
    entry = entry_of(source, JUDGE, policy_files.ready_policies())
    told = PolicyEntry(JUDGE, begins=True, texts=entry.texts)
    hub.follower.take([StreamMessage(1, 0, Subjects("wrackholm").policy, told.to_octets())], Run())


def test_a_hub_that_could_take_over_is_well(member: HubMember) -> None:
    assert member.part().state is State.OK


def test_a_hub_that_is_behind_the_stream_says_that_it_cannot_take_over(
    member: HubMember, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Hub, "behind_ms", BEHIND_MS)
    part = member.part()
    assert part.state is State.DEGRADED
    assert "3 s behind the club's stream: it cannot take over" in part.why
