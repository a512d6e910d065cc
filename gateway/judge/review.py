"""What a policy's author may not have meant: warnings about a policy that is valid, each with its place."""

from collections.abc import Iterator, Sequence

from gateway.documents import Problem
from gateway.judge.conditions import Post
from gateway.judge.coverage import MOST_STEPS, Coverage, TooMuchToCompareError
from gateway.judge.examples import judge_example
from gateway.judge.first_cover import FirstCover
from gateway.judge.policy import Per, Rate, Rule, asks_distance
from gateway.judge.source import Entry, PolicySource
from gateway.judge.verdict import Decision

CHANNEL_FRAMES_PER_SECOND = 60
"""More than any channel of this network carries: at 9600 bit/s about 57 of the shortest frames (common practice)."""

_EMERGENCY_WORDS = ("emergency", "mayday", "distress", "sos")


def review(source: PolicySource, post: Post, *, most_steps: int = MOST_STEPS) -> list[Problem]:
    """All warnings, in the order of the file; `most_steps` bounds how much of the policy is compared with itself."""
    rules = [*zip(source.policy.rules, source.rules, strict=True)]
    rates = [*zip(source.policy.rates, source.rates, strict=True)]
    coverage = Coverage(source.policy.groups, most_steps)
    first_cover = FirstCover(source.policy.rules, coverage, source.policy.groups)
    what = "this does not count here: the window is that of the policy's own file"
    warnings = [entry.problem(what) for entry in source.overlooked]
    warnings += _as_far_as_it_can_be_told(_rules_that_never_match(rules, coverage, first_cover), "rules", rules)
    warnings += _keeps_everything(rules)
    warnings += _rules_without_example(rules, source, post)
    warnings += _as_far_as_it_can_be_told(_rates_that_never_bite(rates, rules, coverage, first_cover), "rates", rates)
    warnings += _mean_emergencies(rules, rates)
    if post.origin is None:
        warnings += _need_a_position(rules, rates)
    return warnings


def _as_far_as_it_can_be_told(
    warnings: Iterator[Problem], kind: str, entries: Sequence[tuple[object, Entry]]
) -> Iterator[Problem]:
    """The warnings; where finding them would take too long, those that were found, and that there may be more."""
    try:
        yield from warnings
    except TooMuchToCompareError:
        what = f"too many patterns to compare: not all of the {kind} were looked at for some that can have no effect"
        yield entries[0][1].problem(what)


def _rules_that_never_match(
    rules: list[tuple[Rule, Entry]], coverage: Coverage, first_cover: FirstCover
) -> Iterator[Problem]:
    for place, (rule, entry) in enumerate(rules):
        if coverage.contradicts_itself(rule.when):
            yield entry.problem(f"the rule {rule.name} can never match: its `not` takes away all that it asks for")
        elif (earlier := first_cover.find(rule.when, place)) is not None:
            name = rules[earlier][0].name
            what = f"the rule {rule.name} can never match: {name}, which stands before it, takes all of it"
            yield entry.problem(what)


def _keeps_everything(rules: list[tuple[Rule, Entry]]) -> Iterator[Problem]:
    for rule, entry in rules:
        if rule.then is Decision.FORWARD:
            return
        if rule.when is None:
            yield entry.problem(
                f"the policy keeps everything: {rule.name} asks for nothing, and no rule before it forwards;"
                " only emergencies go up"
            )
            return


def _rules_without_example(rules: list[tuple[Rule, Entry]], source: PolicySource, post: Post) -> Iterator[Problem]:
    policy = source.compiled(post)
    shown = {judge_example(policy, example).verdict.rule for example in source.policy.examples}
    for rule, entry in rules:
        if rule.name not in shown:
            yield entry.problem(f"no example shows the rule {rule.name}: add a frame that it decides, under examples:")


def _rates_that_never_bite(
    rates: list[tuple[Rate, Entry]], rules: list[tuple[Rule, Entry]], coverage: Coverage, first_cover: FirstCover
) -> Iterator[Problem]:
    forwards = (place for place, (rule, _) in enumerate(rules) if rule.then is Decision.FORWARD)
    first_forward = next(forwards, len(rules))
    for place, (rate, entry) in enumerate(rates):
        kept = first_cover.find(rate.when, first_forward)
        if kept is not None:
            name = rules[kept][0].name
            yield entry.problem(f"the rate {rate.name} can never bite: the rule {name} keeps all that it is about")
            continue
        coverage.spend(len(rates))
        tighter = next((other for at, (other, _) in enumerate(rates) if _is_tighter(other, at, rate, place)), None)
        if tighter is not None and coverage.covers(tighter.when, rate.when):
            yield entry.problem(
                f"the rate {rate.name} can never bite: {tighter.name} is about all of the same frames, and allows less"
            )
        elif _is_beyond_the_channel(rate):
            yield entry.problem(f"the rate {rate.name} can never bite: no channel brings so many frames")


def _is_tighter(other: Rate, at: int, rate: Rate, place: int) -> bool:
    """Whether `other`, which stands `at`, lets no more of anything through than `rate` at `place`.

    Of two that are alike, the first counts.
    """
    if at == place or rate.allow.octets or other.allow.octets:
        return False
    if other.per is not rate.per and other.per is not Per.EVERYTHING:
        return False
    ours = (rate.allow.amount * other.allow.period_ms, rate.burst or rate.allow.amount)
    theirs = (other.allow.amount * rate.allow.period_ms, other.burst or other.allow.amount)
    if theirs == ours and other.per is rate.per:
        return at < place
    return theirs[0] <= ours[0] and theirs[1] <= ours[1]


def _is_beyond_the_channel(rate: Rate) -> bool:
    if rate.allow.octets or rate.per not in {Per.SOURCE, Per.RECEIVER}:
        return False
    return rate.allow.amount * 1000 > CHANNEL_FRAMES_PER_SECOND * rate.allow.period_ms


def _mean_emergencies(rules: list[tuple[Rule, Entry]], rates: list[tuple[Rate, Entry]]) -> Iterator[Problem]:
    named: list[tuple[str, Rule | Rate, Entry]] = [("rule", *each) for each in rules]
    named += [("rate", *each) for each in rates]
    for kind, written, entry in named:
        texts = [written.name, *((written.when and written.when.contains) or ())]
        if any(word in text.casefold() for text in texts for word in _EMERGENCY_WORDS):
            yield entry.problem(
                f"the {kind} {written.name} has no effect on emergencies: one passes every rule and rate, and is"
                " told by Mic-E message bits or by !EMERGENCY! in a position's comment, by no other word"
            )


def _need_a_position(rules: list[tuple[Rule, Entry]], rates: list[tuple[Rate, Entry]]) -> Iterator[Problem]:
    named = [(rule.name, rule.when, entry) for rule, entry in rules]
    named += [(rate.name, rate.when, entry) for rate, entry in rates]
    for name, when, entry in named:
        if asks_distance(when):
            yield entry.problem(f"{name} asks for a distance, but the station file gives no position: it never holds")
