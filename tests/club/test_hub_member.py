"""What a hub says of itself: never that it is well when it could not take over."""

from collections.abc import Sequence
from pathlib import Path

import pytest
from structlog.testing import capture_logs

pytest.importorskip("nats")

from gateway import settings
from gateway.club.follower import StreamMessage
from gateway.club.hub import BEHIND_MS, Hub
from gateway.club.hub_member import HubHost, HubMember
from gateway.club.hubs import SILENT_MS
from gateway.club.membership import MemberStanding
from gateway.club.policy_entry import PolicyEntry, entry_of
from gateway.club.slices import ALL, Slices
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


class Verified:
    """A connection to the network that is logged in."""

    verified = writable = True

    def send_now(self, lines: Sequence[bytes]) -> int:
        return len(lines)


@pytest.fixture
def member(monkeypatch: pytest.MonkeyPatch) -> HubMember:
    """A hub that stands by, to which everything is well."""
    station = settings.read(STATION, Path("station.yaml"), {})
    source = policy_files.load_for(station)
    assert station.club is not None
    host = HubHost(lambda: source, lambda _: [], lambda _: None, print)
    made = HubMember(station.club, Run(), host, policy_files.ready_policies())
    hub = made.hub
    hub.membership.standing = MemberStanding(connected=True, since_ms=0.0)
    hub.login.held.set()
    hub.share.is_ours = True
    hub.network = Verified()
    follow(hub, source)
    made.policy = source
    monkeypatch.setattr(Hub, "holder", "QX2HUB-10")
    monkeypatch.setattr(Hub, "behind_ms", BEHIND_MS - 1)
    return made


def follow(hub: Hub, source: PolicySource, sequence: int = 1, judge: int = JUDGE) -> None:
    """A policy comes, which is for a judge."""
    entry = entry_of(source, judge, policy_files.ready_policies())
    told = PolicyEntry(judge, begins=True, texts=entry.texts)
    hub.follower.take([StreamMessage(sequence, 0, Subjects("wrackholm").policy, told.to_octets())], Run())


def test_a_hub_that_could_take_over_is_well(member: HubMember) -> None:
    assert member.part().state is State.OK
    assert member.hub.able


def test_a_hub_whose_slices_clash_with_others_cannot_take_the_lease_and_says_why(member: HubMember) -> None:
    member.hub.share.is_ours = False
    member.hub.share.refusal = "this hub takes slices 0, and others of the club all slices"
    assert not member.hub.able
    part = member.part()
    assert part.state is State.DEGRADED
    assert part.why == "this hub takes slices 0, and others of the club all slices: it cannot send"


def test_slices_that_no_hub_takes_are_said(member: HubMember) -> None:
    hubs = member.hub.follower.hubs
    some = Slices.of(range(15)).to_octets()
    hubs.spoke("qx1hub-10", some, -SILENT_MS)
    hubs.spoke("qx1hub-10", some, 1 - SILENT_MS)
    hubs.spoke("qx1hub-10", some, 0)  # now, by the stream: its only message was stamped so
    part = member.part()
    assert part.state is State.DEGRADED
    assert "no hub takes slices 15 of the club's frames" in part.why


def test_slices_that_no_hub_takes_are_logged_once_and_that_they_are_taken_again_once(member: HubMember) -> None:
    hub = member.hub

    def hear_beats(seconds: range, slices: Slices) -> list[str]:
        with capture_logs() as logs:
            for second in seconds:
                hub.follower.hubs.spoke("qx1hub-10", slices.to_octets(), second * 1000)
                hub.follower.order.stamp_ms = second * 1000
                hub._on_beat(second)  # noqa: SLF001 - what the engine's answer to its own beat brings about
        return [f"{each['log_level']}: {each['event']} {each.get('untaken', '')}".rstrip() for each in logs]

    begins = "warning: no hub takes some of the club's frames: they are not sent up; start the hubs that take them"
    assert hear_beats(range(1, 40), Slices.of(range(15))) == [f"{begins} slices 15"]
    assert hear_beats(range(40, 80), Slices.of(range(14))) == [f"{begins} slices 14, 15"]
    assert hear_beats(range(200, 209), ALL) == []  # nobody knows yet whether the others speak again
    assert hear_beats(range(209, 250), ALL) == ["info: all of the club's frames are taken by a hub again"]


def test_a_hub_that_is_behind_the_stream_says_that_it_cannot_take_over(
    member: HubMember, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Hub, "behind_ms", BEHIND_MS)
    part = member.part()
    assert part.state is State.DEGRADED
    assert "3 s behind the club's stream: it cannot take over" in part.why


def test_a_hub_of_another_version_of_the_judge_cannot_take_the_lease_and_says_so(member: HubMember) -> None:
    assert member.policy is not None
    follow(member.hub, member.policy, sequence=2, judge=JUDGE + 1)
    assert not member.hub.able
    part = member.part()
    assert part.state is State.DEGRADED
    assert f"the club judges by judge {JUDGE + 1}, this hub is of judge {JUDGE}" in part.why
