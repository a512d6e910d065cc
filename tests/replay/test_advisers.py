"""Each fault is found in a capture that has it, passed over in one that has not, and the lines do what is said."""

from collections.abc import Iterable
from dataclasses import dataclass

import pytest

from gateway.feed.reader import ReportReader
from gateway.judge.conditions import Post
from gateway.replay.advisers import (
    CALM_AT_LEAST,
    LATE_FRAMES,
    NEEDED_FRAMES,
    UNMOVING_POSITIONS,
    Advice,
    Fault,
    advice,
)
from gateway.replay.amendment import amended
from gateway.replay.effect import Effect, try_out
from gateway.replay.observation import Observations
from gateway.replay.record import Record
from gateway.replay.replay import Replay
from tests.judge.listening import POST, source_of
from tests.replay.recording import heard, replayed

HOUR = 3600
Line = tuple[float, bytes]


def records_of(lines: Iterable[Line]) -> list[Record]:
    return [Record(heard(line, at, sequence=number)) for number, (at, line) in enumerate(sorted(lines), 1)]


@dataclass
class Advised:
    """What was advised for a capture, with the effects."""

    lines: list[Line]
    policy: str
    advice: list[Advice]
    effects: list[Effect]

    def only(self, fault: Fault) -> tuple[Advice, Effect]:
        found = [(each, effect) for each, effect in zip(self.advice, self.effects, strict=True) if each.fault is fault]
        assert len(found) == 1, self.advice
        return found[0]

    def faults(self) -> list[Fault]:
        return [each.fault for each in self.advice]


def advised(lines: Iterable[Line], policy: str = "") -> Advised:
    lines = list(lines)
    source = source_of(policy)
    replay, frames = replayed(records_of(lines), source)
    seen = Observations(ReportReader(Post(POST.callsign)))
    for frame in frames:
        seen.add(frame.judged, replay.policy.octets_of(frame.judged))
    found = advice(seen, source)
    effects = try_out(records_of(lines), source, POST, found)
    assert [effect.advice for effect in effects] == found
    result = Advised(lines, policy, found, effects)
    for effect in effects:
        holds_its_word(result, effect)
    return result


def holds_its_word(result: Advised, effect: Effect) -> None:
    """The stated effect is what a replay of the two policies, one against the other, says."""
    changed = amended(source_of(result.policy), effect.advice.lines)
    assert isinstance(replayed([], changed)[0], Replay)
    replay, frames = replayed(records_of(result.lines), changed, result.policy)
    lost = [frame for frame in frames if frame.differs and frame.against and frame.against.forward]
    gained = [frame for frame in frames if frame.differs and frame.judged.forward]
    assert (effect.saved, effect.gained) == (len(lost), len(gained))
    assert effect.saved_octets == sum(replay.policy.octets_of(frame.judged) for frame in lost)
    others = [
        frame
        for frame in lost
        if frame.judged.innermost and frame.judged.innermost.source not in effect.advice.aimed_at
    ]
    assert effect.others.total() == len(others)


def calm_channel(hours: int = 3) -> list[Line]:
    """Six boats under way, three frames an hour each, and nothing wrong."""
    return [
        (
            hour * HOUR + beacon * 1200 + boat * 60,
            b"QA%dBC>APRS,QD1RPT*:!5836.%02dN/00355.%02dW>lap %d" % (boat, boat * 7 + beacon, hour * 11 + boat, hour),
        )
        for hour in range(hours)
        for beacon in range(3)
        for boat in range(6)
    ]


def test_a_calm_channel_calls_for_no_advice() -> None:
    assert advised(calm_channel()).advice == []
    assert advised(calm_channel(), "rates: [{name: one-station, allow: 6 per minute}]").advice == []
    assert advised([]).advice == []


def babbler(hours: int = 3, every: int = 60) -> list[Line]:
    return [(at + 7, b"QZ9BAB>APRS:>net control, call me") for at in range(0, hours * HOUR, every)]


def test_a_loud_station_is_found_with_its_share_and_its_repeats() -> None:
    result = advised([*calm_channel(), *babbler()])
    found, effect = result.only(Fault.LOUD_STATION)
    assert found.about == "QZ9BAB"
    assert found.figures["frames"] == 180
    assert found.figures["frames_an_hour"] == 60
    assert found.figures["median_frames_an_hour"] == 3
    assert found.figures["repeated_share"] == pytest.approx(179 / 180, abs=1e-4)
    assert 0.5 < found.figures["share"] < 0.9
    assert "QZ9BAB takes" in found.finding
    assert "99% of them repeat word for word" in found.finding
    # A burst of three and then `CALM_AT_LEAST` an hour, for three hours less a moment.
    assert effect.saved == 180 - (3 + 3 * CALM_AT_LEAST - 1)
    assert len(effect.others) == 0


def test_messages_of_a_loud_station_are_left_alone() -> None:
    messages = [(at + 20, b"QZ9BAB>APRS::QA1BC    :hello{%d" % at) for at in range(0, 3 * HOUR, 600)]
    result = advised([*calm_channel(), *babbler(), *messages])
    found, effect = result.only(Fault.LOUD_STATION)
    _, frames = replayed(records_of(result.lines), amended(source_of(""), found.lines))
    forwarded = [frame for frame in frames if frame.judged.forward and b"hello" in frame.judged.innermost.information]  # type: ignore[union-attr]
    assert len(forwarded) == len(messages)
    assert effect.saved > 100


@pytest.mark.parametrize(
    "lines",
    [
        babbler(),  # nobody to compare it with
        [*calm_channel(), *babbler(every=1200)],  # as calm as the others
        [*calm_channel(1), *babbler(hours=1, every=80)],  # loud, but for 45 frames only
        [*calm_channel(), *((at, b"QZ9BAB>APRS,TCPIP*:>%d" % at) for at in range(0, 3 * HOUR, 60))],  # goes nowhere
    ],
)
def test_a_station_that_is_not_loud_is_passed_over(lines: list[Line]) -> None:
    assert Fault.LOUD_STATION not in advised(lines).faults()


def test_a_rate_for_a_station_gets_a_name_that_is_free() -> None:
    result = advised([*calm_channel(), *babbler()], "rates: [{name: calm-qz9bab, allow: 1000 per hour}]")
    found, _ = result.only(Fault.LOUD_STATION)
    assert "name: calm-qz9bab-2\n" in found.lines


def fixed_beacon(metres: float = 0, every: int = 300, count: int = UNMOVING_POSITIONS + 16) -> list[Line]:
    """Its receiver strays by so many metres of latitude: a hundredth of a minute is 18.5 m."""
    strays = int(metres / 18.5)
    return [
        (
            at * every + 13,
            b"QB2FIX>APRS:!5836.%02dN/00355.00W-T %d" % (50 + (strays if at % 2 else 0), at),
        )
        for at in range(count)
    ]


@pytest.mark.parametrize("metres", [0, 80])
def test_a_beacon_that_never_moves_is_found(metres: float) -> None:
    found, effect = advised([*calm_channel(), *fixed_beacon(metres)]).only(Fault.UNMOVING_BEACON)
    assert (found.about, found.figures["positions"]) == ("QB2FIX", 36)
    assert found.figures["minutes_between"] == pytest.approx(5)
    assert found.figures["metres"] == pytest.approx(metres // 18.5 * 18.5, abs=1)
    # Four an hour for three hours: the first at once, then one each quarter of an hour.
    assert effect.saved == 36 - 12
    assert len(effect.others) == 0


@pytest.mark.parametrize(
    "lines",
    [
        fixed_beacon(metres=200),
        fixed_beacon(every=1200),
        fixed_beacon(count=UNMOVING_POSITIONS - 1),
    ],
    ids=["it moves", "it is patient", "it was heard for a moment only"],
)
def test_a_beacon_that_does_no_harm_is_passed_over(lines: list[Line]) -> None:
    assert Fault.UNMOVING_BEACON not in advised([*calm_channel(), *lines]).faults()


def late_copy(
    delay: float, *, path: bytes = b",QD1RPT,QD2SLOW*", first_path: bytes = b",QD1RPT*", each: int = 12
) -> list[Line]:
    lines: list[Line] = []
    for number in range(each):
        frame = b":!5836.00N/00355.00W>frame %d" % number
        source = b"QA%dBC>APRS" % (number % 4)
        lines += [(number * 400 + 3, source + first_path + frame), (number * 400 + 3 + delay, source + path + frame)]
    return lines


def test_copies_that_slip_past_the_window_are_found_with_their_delay() -> None:
    result = advised([*late_copy(41), *late_copy(45, each=3)])
    found, effect = result.only(Fault.LATE_COPIES)
    assert found.figures["copies"] == 12
    assert found.figures["stations"] == 4
    assert (found.figures["half_within_s"], found.figures["most_within_s"]) == (50, 50)
    assert found.lines == "duplicates: {window: 50s}\n"
    assert effect.saved == 12
    assert found.figures["octets"] == effect.saved_octets


def test_the_delay_that_covers_nearly_all_is_told() -> None:
    lines = late_copy(34, each=19)
    slow = (1 * 400 + 3 + 4.0, b"QA1BC>APRS,QD1RPT,QD2SLOW*:>slow once")
    found, _ = advised([*lines, slow, (slow[0] + 130, slow[1].replace(b"QD2SLOW", b"QD3SLOW"))]).only(Fault.LATE_COPIES)
    assert (found.figures["copies"], found.figures["half_within_s"], found.figures["most_within_s"]) == (20, 40, 40)


@pytest.mark.parametrize(
    "lines",
    [
        late_copy(20),
        late_copy(41, path=b",QD1RPT*"),
        late_copy(41, path=b""),
        late_copy(320),
        late_copy(41, each=LATE_FRAMES - 1),
    ],
    ids=["within the window", "by the same way", "heard direct", "sent again", "a few"],
)
def test_copies_that_are_none_or_come_in_time_are_passed_over(lines: list[Line]) -> None:
    assert Fault.LATE_COPIES not in advised(lines).faults()


def test_one_station_that_repeats_itself_is_no_late_copy() -> None:
    lines = [(at, line.replace(b"QA1BC", b"QA0BC").replace(b"QA2BC", b"QA0BC")) for at, line in late_copy(41)]
    lines = [(at, line.replace(b"QA3BC", b"QA0BC")) for at, line in lines]
    assert Fault.LATE_COPIES not in advised(lines).faults()


def test_a_longer_window_says_which_examples_of_the_policy_it_breaks() -> None:
    policy = (
        'examples:\n  - {frame: "QA1BCD>APRS:>x", after: [{frame: "QA1BCD>APRS:>x", before: 31s}], expect: forward}\n'
    )
    _, effect = advised(late_copy(41), policy).only(Fault.LATE_COPIES)
    assert len(effect.examples) == 1
    assert "expects forward" in effect.examples[0]


def chatter(count: int = 30) -> list[Line]:
    """A station that says much, messages among it."""
    texts = (b">status %d", b":QA2BC    :hello %d", b"_10090556c220s004g005t0%02dr000p000P000h50b09900wRSW")
    return [(number * 20, b"QC3CHT>APRS:" + texts[number % 3] % number) for number in range(count)]


def test_a_rate_per_source_that_keeps_messages_is_found() -> None:
    policy = "rates: [{name: one-station, allow: 1 per minute, burst: 1}]"
    found, effect = advised(chatter(), policy).only(Fault.NEEDED_REPORTS_KEPT)
    assert found.about == "one-station"
    assert found.figures["message"] + found.figures["weather"] >= NEEDED_FRAMES
    assert "not: {report: [message, weather]}" in found.lines
    assert effect.gained >= found.figures["message"] + found.figures["weather"]


def test_a_rate_of_everything_that_keeps_messages_gets_a_reserve() -> None:
    policy = "rates: [{name: all, per: everything, allow: 30 per hour, burst: 8}]"
    found, _ = advised([*chatter(120), *calm_channel()], policy).only(Fault.NEEDED_REPORTS_KEPT)
    assert 'reserve: {for: [message, weather], share: "25%"}' in found.lines
    assert "burst: 8" in found.lines


@pytest.mark.parametrize(
    "policy",
    [
        "rates: [{name: one-station, allow: 10 per minute}]",
        "rates: [{name: one-station, allow: 1 per minute, burst: 1, when: {not: {report: [message, weather]}}}]",
        "rates: [{name: one-station, allow: 1 per minute, burst: 1, when: {report: status}}]",
        "rates: [{name: all, per: everything, allow: 1 per minute, burst: 4, reserve: {for: message, share: 50%}}]",
    ],
)
def test_a_rate_that_leaves_messages_alone_or_keeps_room_for_them_is_passed_over(policy: str) -> None:
    assert Fault.NEEDED_REPORTS_KEPT not in advised(chatter(), policy).faults()


def test_a_rate_that_bites_most_stations_is_found_and_doubled() -> None:
    policy = "rates: [{name: one-station, allow: 1 per hour, burst: 2}]"
    found, effect = advised(calm_channel(), policy).only(Fault.TIGHT_RATE)
    assert (found.figures["stations"], found.figures["stations_heard"]) == (6, 6)
    assert "allow: 2 per hour" in found.lines
    assert "burst: 4" in found.lines
    assert effect.gained > 0
    assert effect.saved == 0


def test_a_rate_that_bites_one_babbler_is_passed_over() -> None:
    policy = "rates: [{name: one-station, allow: 10 per hour}]"
    result = advised([*calm_channel(), *babbler()], policy)
    assert result.faults() == []


def test_advice_is_the_same_every_time() -> None:
    lines = [*calm_channel(), *babbler(), *fixed_beacon(), *late_copy(41)]
    once, again = advised(lines), advised(lines)
    assert once.advice == again.advice
    assert [effect.to_object() for effect in once.effects] == [effect.to_object() for effect in again.effects]
    assert once.faults() == [Fault.LOUD_STATION, Fault.UNMOVING_BEACON, Fault.LATE_COPIES]
