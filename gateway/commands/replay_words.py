"""A replay in words, for a terminal. Text from a capture is escaped and cut."""

from collections.abc import Iterable, Iterator, Sequence

from gateway.commands.answer import counted
from gateway.frames.plain import rfc3339
from gateway.groundwork.printable import printable
from gateway.judge.verdict import Reason
from gateway.replay.comparison import Agreement, Difference, Disagreement, Group, Side, in_words
from gateway.replay.contender import BusiestMinute, Contender
from gateway.replay.effect import NAMED_OTHERS, Effect
from gateway.replay.order import Order
from gateway.replay.record import Reading
from gateway.replay.replay import Replay, Span

LONGEST_TEXT = 64


def escaped(text: str) -> str:
    """Text from a capture as it may be shown."""
    return printable(text, LONGEST_TEXT)


def summary(replay: Replay, reading: Reading, top: int) -> str:
    """All that a replay found, with the `top` greatest groups of frames that differ."""
    parts = [
        [*_heard(replay.span), *_reading(reading), *_order(replay.order)],
        _table(replay.contenders),
        [line for agreement in replay.agreement.values() for line in _agreement(agreement)],
    ]
    if replay.against is not None:
        parts.append(list(_difference(replay.difference, replay.policy, replay.against, top)))
    return "\n\n".join("\n".join(part) for part in parts if part)


def advice(effects: Sequence[Effect]) -> str:
    """What a policy could do better, each with the lines to try and what they would do."""
    if not effects:
        return "Advice: none. Nothing in what was heard calls for it."
    return "\n\n".join("\n".join(_advice(number, effect)) for number, effect in enumerate(effects, 1))


def _heard(span: Span) -> Iterator[str]:
    if span.first_ms is None or span.last_ms is None:
        yield "No frame could be read."
        return
    receivers = ", ".join(f"{escaped(name)} {frames:,}" for name, frames in span.receivers.greatest())
    yield f"{span.heard:,} frames heard from {_second(span.first_ms)} to {_second(span.last_ms)}, by {receivers}"


def _reading(reading: Reading) -> Iterator[str]:
    for trouble in reading.unreadable:
        yield f"could not be read: {trouble}"
    for capture in reading.without_end:
        yield f"{capture} has no end: it is still being written, or was cut off; what stands in it was read"
    if reading.damaged:
        yield f"{counted(reading.damaged, 'line')} passed over:"
        for line in reading.damaged_lines:
            yield f"  {line}"
        if reading.damaged > len(reading.damaged_lines):
            kinds = ", ".join(f"{because}: {count:,}" for because, count in reading.damaged_because.most_common())
            yield f"  and {reading.damaged - len(reading.damaged_lines):,} more; in all {kinds}"
    if reading.other_topics:
        yield f"{counted(reading.other_topics, 'line')} on other topics left out"
    if reading.clock_set_back:
        yield f"the clock went back {counted(reading.clock_set_back, 'time')}: such a frame counts as heard right then"


def _order(order: Order) -> Iterator[str]:
    if order.missing_at_start:
        runs = counted(order.runs_begun_late, "run")
        yield f"incomplete: the first {counted(order.missing_at_start, 'frame')} of {runs} are not in it"
    if order.missing:
        runs = counted(order.runs_with_gaps, "run")
        yield f"incomplete: {counted(order.missing, 'frame')} missing in the midst of {runs}"
    if not order.complete:
        named = ", ".join(map(escaped, order.incomplete_runs))
        yield f"  in {named}: what depends on the missing ones may come out otherwise"
    if order.out_of_order:
        yield f"{counted(order.out_of_order, 'frame')} came out of order, and were put in their place"
    if order.repeated:
        yield f"{counted(order.repeated, 'frame')} came again, or far too late, and were left out"
    if order.side_by_side:
        yield "runs go on side by side: it is of several gateways, whose budgets cannot be told apart"


def _table(contenders: Sequence[Contender]) -> list[str]:
    tallies = [contender.tally for contender in contenders]
    rows: list[tuple[str, list[str]]] = [
        ("", [contender.label for contender in contenders]),
        ("heard", [f"{tally.heard:,}" for tally in tallies]),
        ("forward", [f"{tally.forward:,}" for tally in tallies]),
        ("keep", [f"{tally.kept_by_reason().total():,}" for tally in tallies]),
    ]
    for reason in Reason:
        if any(tally.kept_by_reason()[reason] for tally in tallies):
            rows.append((f"  {reason}", [f"{tally.kept_by_reason()[reason]:,}" for tally in tallies]))
            entries = sorted({name for tally in tallies for kind, name in tally.kept_by_entry() if kind is reason})
            rows += [
                (f"    {name}", [f"{tally.kept_by_entry()[reason, name]:,}" for tally in tallies]) for name in entries
            ]
    rows += [
        ("emergencies", [f"{tally.emergencies:,}" for tally in tallies]),
        ("octets of network lines", [f"{tally.octets:,}" for tally in tallies]),
        ("busiest minute, lines", [_busiest(tally.busiest) for tally in tallies]),
        ("stations forwarded", [f"{len(tally.stations):,}" for tally in tallies]),
    ]
    first = max(len(name) for name, _ in rows)
    widths = [max(len(cells[column]) for _, cells in rows) for column in range(len(contenders))]
    return [
        f"{name:{first}}  " + "  ".join(f"{cell:>{width}}" for cell, width in zip(cells, widths, strict=True))
        for name, cells in rows
    ]


def _busiest(minute: BusiestMinute) -> str:
    return f"{minute.lines:,} at {rfc3339(minute.began_ms)[:16]}Z" if minute.lines else "none"


def _agreement(agreement: Agreement) -> Iterator[str]:
    if agreement.compared:
        yield (
            f"as it was live: {agreement.agreed:,} of {counted(agreement.compared, 'frame')} "
            f"that {agreement.label} judged came out the same"
        )
    if agreement.unsure:
        yield (
            f"  {agreement.unsure:,} came out otherwise where the capture does not hold all that was known then: "
            "frames are missing, the policy was changed within the run, or it is not said what the run began with"
        )
    if agreement.otherwise:
        yield (
            f"  {agreement.otherwise:,} came out otherwise: this must not be; "
            "was the station another, or its position, or is --station missing?"
        )
    for frame in agreement.named:
        yield f"    {_disagreement(frame)}"
    others = agreement.by_others.greatest()
    if others:
        judged = ", ".join(f"{escaped(label)} {frames:,}" for label, frames in others)
        yield f"judged live by policies other than {agreement.label}: {judged}"


def _disagreement(frame: Disagreement) -> str:
    live, replayed = escaped(in_words(frame.live)), in_words(frame.replayed)
    return f"{_second(frame.time_ms)}, {escaped(frame.run)} number {frame.sequence}: live {live}; now {replayed}"


def _difference(difference: Difference, policy: Contender, against: Contender, top: int) -> Iterator[str]:
    ours, theirs = difference.frames[Side.POLICY], difference.frames[Side.AGAINST]
    if not ours + theirs:
        yield "The two forward the same frames."
    else:
        for side, mine, other in ((Side.POLICY, policy, against), (Side.AGAINST, against, policy)):
            yield (
                f"{counted(difference.frames[side], 'frame')} of "
                f"{counted(len(difference.stations[side]), 'station')} ({difference.octets[side]:,} octets) "
                f"forwarded by {mine.label}, kept by {other.label}"
            )
    if difference.other_reason:
        yield f"{counted(difference.other_reason, 'frame')} kept by both, but for another reason"
    groups = difference.groups.greatest(top)
    yield from _groups(groups, {Side.POLICY: policy.label, Side.AGAINST: against.label})
    rest = difference.groups.total() - sum(frames for _, frames in groups)
    if rest:
        yield f"  and {counted(rest, 'frame')} in smaller groups; --csv and --json list every one"


def _groups(groups: Iterable[tuple[Group, int]], labels: dict[Side, str]) -> Iterator[str]:
    for group, frames in groups:
        keeps = labels[Side.AGAINST if group.side is Side.POLICY else Side.POLICY]
        because = group.reason if group.rule is None else f"{group.reason}, {group.rule}"
        yield f"  {frames:>9,}  {escaped(group.station):9}  kept by {keeps}: {because}"


def _advice(number: int, effect: Effect) -> Iterator[str]:
    yield f"Advice {number}: {effect.advice.finding}."
    yield "  Lines to try; an entry takes the place of the one with its name, a new rule stands before all others:"
    yield ""
    yield from (f"    {line}" for line in effect.advice.lines.splitlines())
    yield ""
    yield f"  Then {counted(effect.saved, 'frame')} fewer would have gone up, {effect.saved_octets:,} octets."
    if effect.gained:
        yield f"  {counted(effect.gained, 'frame')} more would have, {effect.gained_octets:,} octets."
    others = effect.others
    if len(others):
        who = "Other stations" if effect.advice.aimed_at else "Stations"
        named = ", ".join(f"{station} {frames:,}" for station, frames in others.greatest(NAMED_OTHERS))
        yield f"  {who} that it hits: {len(others):,}, with {counted(others.total(), 'frame')}: {named}"
    elif effect.saved:
        yield "  No other station is hit."
    for example in effect.examples:
        yield f"  An example of the policy expects otherwise, to be changed too: {example}"


def _second(time_ms: int) -> str:
    return f"{rfc3339(time_ms)[:19]}Z"
