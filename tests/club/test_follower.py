"""Two hubs that read the same stream come to the same verdicts, bit for bit, wherever the second begins."""

import random

import pytest

from gateway.club import message
from gateway.club.follower import Follower, StreamMessage
from gateway.club.message import Handed
from gateway.club.order import GapError
from gateway.club.policy_entry import PolicyEntry, PolicyEntryError, read_entry
from gateway.club.slices import Slices, slice_of
from gateway.club.snapshot import SnapshotError, read_snapshot
from gateway.club.subjects import Subjects, Word
from gateway.frames import tnc2
from gateway.frames.frame import Frame
from gateway.frames.heard import Heard, Moment, Place, Run
from gateway.judge.judge import Judge
from gateway.judge.source import PolicyText
from gateway.judge.state import JUDGE
from gateway.judge.verdict import Judged

CLUB = Subjects("wrackholm")
FRESHNESS_MS = 10_000
FIRST_STAMP_MS = 1_780_747_200_000
POLICY = """
version: 1
name: club
include: [more.yaml]
rates:
  - {name: one-station, per: source, allow: 6 per minute, burst: 3}
  - {name: everyone, per: everything, allow: 40 per minute, reserve: {for: [message], share: 25%}}
"""
MORE = "version: 1\nname: more\nrules:\n  - {name: far, when: {distance: {beyond: 60km}}, then: keep}\n"
OTHER = "version: 1\nname: other\nrates:\n  - {name: one-station, per: source, allow: 2 per minute}\n"


def entry(text: str = POLICY, *, begins: bool = False, judge: int = JUDGE) -> PolicyEntry:
    return PolicyEntry(judge, begins, (PolicyText("club.yaml", text), PolicyText("more.yaml", MORE)))


def follower() -> Follower:
    return Follower(CLUB, FRESHNESS_MS, lambda source: None)  # noqa: ARG005 - nobody wants to know


def heard_by(post: str, handed: Handed, sequence: int, stamp_ms: int = FIRST_STAMP_MS) -> StreamMessage:
    subject = CLUB.heard(post, slice_of(handed.frame))
    return StreamMessage(sequence, stamp_ms, subject, message.write(handed))


def stream(messages: int, draw: int = 1) -> list[StreamMessage]:
    """Posts that come and go, hear the same stations, and now and then another policy."""
    chance = random.Random(draw)
    found = [StreamMessage(1, FIRST_STAMP_MS, CLUB.policy, entry(begins=True).to_octets())]
    stamp_ms = FIRST_STAMP_MS
    posts = [f"post-{number}" for number in range(8)]
    for sequence in range(2, messages + 2):
        stamp_ms += chance.choice((0, 1, 20, 400, 3000)) if chance.random() < 0.99 else chance.randint(-90_000, 90_000)
        post = chance.choice(posts[: 2 + sequence * 6 // messages])
        if chance.random() < 0.001:
            octets = entry(chance.choice((POLICY, OTHER))).to_octets()
            found.append(StreamMessage(sequence, stamp_ms, CLUB.policy, octets))
        elif chance.random() < 0.05:
            found.append(StreamMessage(sequence, stamp_ms, CLUB.post_beat(post), b""))
        elif chance.random() < 0.01:
            found.append(StreamMessage(sequence, stamp_ms, CLUB.heard(post, 0), chance.randbytes(40)))
        else:
            line = b"QA%dBC>APRS:%b" % (
                chance.randint(0, 30),
                chance.choice((b">x%d", b"!5836.%02dN/00355.00W-", b":QB1CDE   :hello %d")) % chance.randint(10, 60),
            )
            handed = Handed("vhf", 0, stamp_ms, Place(58 + chance.randint(0, 2), -4.0), tnc2.read(line))
            found.append(heard_by(post, handed, sequence, stamp_ms))
    return found


def test_a_hub_that_starts_from_a_snapshot_judges_on_bit_for_bit_as_the_other_does() -> None:
    messages = stream(4000)
    for cut in (500, 1700, 3100):
        first = follower()
        first.take(messages[:cut], Run())
        kept = first.snapshot()
        assert kept is not None
        second = follower()
        second.resume(read_snapshot(kept.to_octets()))
        on = [(one.sequence, one.judged.verdict) for one in first.take(messages[cut:], Run())]
        assert on == [(one.sequence, one.judged.verdict) for one in second.take(messages[cut:], Run())]
        assert len({verdict for _, verdict in on}) >= 3
        assert first.snapshot() == second.snapshot()


def test_any_split_into_batches_gives_the_same() -> None:
    messages = stream(1500, draw=2)
    whole, pieces = follower(), follower()
    run, other = Run(), Run()
    at_once = [one.judged.verdict for one in whole.take(messages, run)]
    chance = random.Random(3)
    bit_by_bit = []
    while messages:
        size = chance.randint(1, 200)
        bit_by_bit += [one.judged.verdict for one in pieces.take(messages[:size], other)]
        messages = messages[size:]
    assert at_once == bit_by_bit


def test_the_policy_changes_at_its_place_in_the_stream() -> None:
    hub = follower()
    heard = stream(5)[1:4]
    messages = [
        StreamMessage(1, FIRST_STAMP_MS, CLUB.policy, entry(begins=True).to_octets()),
        StreamMessage(2, FIRST_STAMP_MS, heard[0].subject, heard[0].octets),
        StreamMessage(3, FIRST_STAMP_MS, CLUB.policy, entry(OTHER).to_octets()),
        StreamMessage(4, FIRST_STAMP_MS, heard[1].subject, heard[1].octets),
    ]
    labels = [one.judged.verdict.policy.partition("@")[0] for one in hub.take(messages, Run())]
    assert labels == ["club", "other"]


def test_nothing_is_judged_before_a_policy_begins_and_a_policy_that_cannot_be_used_changes_nothing() -> None:
    hub = follower()
    heard = stream(3)[1]
    messages = [
        StreamMessage(1, FIRST_STAMP_MS, heard.subject, heard.octets),
        StreamMessage(2, FIRST_STAMP_MS, CLUB.policy, entry(begins=True).to_octets()),
        StreamMessage(3, FIRST_STAMP_MS, CLUB.policy, b'{"judge": 1, "begins": false, "files": []}'),
        StreamMessage(4, FIRST_STAMP_MS, heard.subject, heard.octets),
    ]
    assert [one.sequence for one in hub.take(messages, Run())] == [4]
    assert hub.counts.before_policy == 1
    assert hub.refused_policy


def test_a_hub_of_another_judge_says_so() -> None:
    hub = follower()
    hub.take([StreamMessage(1, FIRST_STAMP_MS, CLUB.policy, entry(begins=True, judge=JUDGE + 1).to_octets())], Run())
    assert not hub.judges_alike


def test_a_moment_out_of_bounds_is_held_to_its_stamp() -> None:
    hub = follower()
    frame = tnc2.read(b"QA1BCD>APRS:>text")
    messages = [StreamMessage(1, FIRST_STAMP_MS, CLUB.policy, entry(begins=True).to_octets())]
    for sequence, told_ms in enumerate((0, FIRST_STAMP_MS - 500, FIRST_STAMP_MS + 90_000), 2):
        messages.append(heard_by("headland", Handed("vhf", 0, told_ms, None, frame), sequence))
    moments = [one.moment_ms - FIRST_STAMP_MS for one in hub.take(messages, Run())]
    assert moments == [-FRESHNESS_MS, -500, 0]


def test_a_gap_is_noticed_and_what_came_before_it_is_told() -> None:
    hub = follower()
    messages = stream(30)
    assert hub.take([*messages[:10], *messages[11:]], Run())
    with pytest.raises(GapError):
        hub.take(messages[11:], Run())


def test_a_frame_in_a_slice_that_is_not_its_own_is_not_judged_since_another_hub_might_send_it_too() -> None:
    hub = follower()
    own = heard_by("headland", Handed("vhf", 0, FIRST_STAMP_MS, None, tnc2.read(b"QA1BCD>APRS:>text")), 3)
    number = int(own.subject.rpartition(".")[2])
    elsewhere = StreamMessage(2, FIRST_STAMP_MS, CLUB.heard("headland", number ^ 1), own.octets)
    begins = StreamMessage(1, FIRST_STAMP_MS, CLUB.policy, entry(begins=True).to_octets())
    assert [one.sequence for one in hub.take([begins, elsewhere, own], Run())] == [3]
    assert hub.counts.unreadable == 1
    assert hub.posts.records()["headland"].unreadable == 1


def reason_of(policy: str, line: bytes) -> str | None:
    """Why a hub keeps a frame that came at noon in stream time."""
    hub = follower()
    begins = StreamMessage(1, FIRST_STAMP_MS, CLUB.policy, entry(policy, begins=True).to_octets())
    heard = heard_by("headland", Handed("vhf", 0, FIRST_STAMP_MS, None, tnc2.read(line)), 2)
    return hub.take([begins, heard], Run())[0].judged.verdict.reason


def test_hours_and_days_go_by_the_stamp_and_not_by_the_hubs_clock() -> None:
    policy = "version: 1\nname: club\nrules: [{{name: noon, when: {{hours: '{}', days: [{}]}}, then: keep}}]\n"
    assert reason_of(policy.format("11:00-13:00", "sat"), b"QA1BCD>APRS:>text") == "rule"  # 6 June 2026
    assert reason_of(policy.format("13:00-11:00", "sat"), b"QA1BCD>APRS:>text") is None
    assert reason_of(policy.format("11:00-13:00", "sun"), b"QA1BCD>APRS:>text") is None


def test_room_in_the_line_is_counted_for_the_longest_login() -> None:
    added = len(",qAO,QX9LOGI-9")  # nine characters, whatever the hub's own login
    policy = "version: 1\nname: club\n"
    for over, reason in ((0, None), (1, "too-long")):
        line = b"QA1BCD>APRS:>" + b"x" * (512 - len("QA1BCD>APRS:>\r\n") - added + over)  # 512 octets (IS-Connect)
        assert reason_of(policy, line) == reason


def test_a_post_of_an_older_version_is_heard() -> None:
    hub = follower()
    begins = StreamMessage(1, FIRST_STAMP_MS, CLUB.policy, entry(begins=True).to_octets())
    handed = message.write(Handed("vhf", 0, FIRST_STAMP_MS, None, tnc2.read(b"QA1BCD>APRS:>text")))
    older = StreamMessage(2, FIRST_STAMP_MS, "stile.wrackholm.post.headland.heard", handed)
    assert [one.judged.heard.receiver for one in hub.take([begins, older], Run())] == ["headland/vhf"]


def some_of(messages: list[StreamMessage], slices: Slices) -> list[StreamMessage]:
    """What the engine gives to a hub that takes some slices."""
    return [one for one in messages if (spoken := CLUB.read(one.subject)) is None or spoken.word is not Word.HEARD
            or spoken.slice in slices.numbers]  # fmt: skip


def test_hubs_that_share_a_club_judge_every_frame_once_and_each_sees_no_gap() -> None:
    messages = stream(2000)
    taken: list[int] = []
    for slices in (Slices.of(range(5)), Slices.of(range(5, 16))):
        hub = Follower(CLUB, FRESHNESS_MS, lambda source: None, slices)  # noqa: ARG005 - nobody wants to know
        taken += [one.sequence for one in hub.take(some_of(messages, slices), Run())]
    assert sorted(taken) == [one.sequence for one in follower().take(messages, Run())]


def test_a_policy_that_begins_for_others_goes_on_for_those_who_know() -> None:
    low, high = Slices.of(range(8)), Slices.of(range(8, 16))
    hub = Follower(CLUB, FRESHNESS_MS, lambda source: None, low)  # noqa: ARG005 - nobody wants to know
    text = entry().texts
    for sequence, slices in enumerate((low, high), 1):
        told = PolicyEntry(JUDGE, begins=True, texts=text, slices=slices)
        assert read_entry(told.to_octets()) == told
        hub.take([StreamMessage(sequence, FIRST_STAMP_MS + sequence * 1000, CLUB.policy, told.to_octets())], Run())
    assert hub.order.elapsed_ms == 1000, "it began with its own, and only there"


def test_a_frame_that_is_judged_again_after_a_lost_place_is_not_told_again() -> None:
    hub, messages = follower(), stream(60)
    hub.take(messages[:20], Run())
    kept = hub.snapshot()
    told = [one.sequence for one in hub.take(messages[20:40], Run())]
    assert kept is not None
    hub.resume(kept)
    again = [one.sequence for one in hub.take(messages[20:], Run())]
    assert told
    assert again
    assert again[0] > told[-1]


@pytest.mark.parametrize("octets", [b"", b"{}", b"[" * 10_000, b'{"judge": "1", "begins": true, "files": [{}]}'])
def test_what_is_no_policy_entry_is_refused(octets: bytes) -> None:
    with pytest.raises(PolicyEntryError):
        read_entry(octets)


@pytest.mark.parametrize("octets", [b"", b"no zlib", b"x\x9c\x03\x00\x00\x00\x00\x01"])
def test_what_is_no_snapshot_is_refused(octets: bytes) -> None:
    with pytest.raises(SnapshotError):
        read_snapshot(octets)


def test_a_frame_that_no_verdict_can_be_given_on_is_told_and_ends_no_hub(monkeypatch: pytest.MonkeyPatch) -> None:
    faults: list[Exception] = []
    hub = Follower(CLUB, FRESHNESS_MS, lambda source: None, on_fault=faults.append)  # noqa: ARG005 - nobody wants to know
    judge = Judge.judge

    def stumble(self: Judge, heard: Heard, moment: Moment | None = None) -> Judged:
        if isinstance(heard.frame, Frame) and heard.frame.information == b">stone":
            raise KeyError("stone")
        return judge(self, heard, moment)

    monkeypatch.setattr(Judge, "judge", stumble)
    frames = [tnc2.read(b"QA1BC>APRS:>%b" % text) for text in (b"before", b"stone", b"after")]
    handed = [Handed("vhf", 0, FIRST_STAMP_MS, None, frame) for frame in frames]
    messages = [heard_by("post-1", each, sequence) for sequence, each in enumerate(handed, 2)]
    policy = StreamMessage(1, FIRST_STAMP_MS, CLUB.policy, entry(begins=True).to_octets())
    assert [one.sequence for one in hub.take([policy, *messages], Run())] == [2, 4]
    assert (hub.counts.judged, hub.counts.unreadable, [repr(fault) for fault in faults]) == (
        2,
        1,
        ["KeyError('stone')"],
    )
