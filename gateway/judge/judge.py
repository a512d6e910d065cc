"""The judge: takes each `Heard` in turn and gives its verdict.

What it remembers is bounded: `MAXIMUM_STANDINGS` headers, `duplicates.MAXIMUM_REMEMBERED` keys,
`rates.MAXIMUM_BUCKETS` buckets of each rate. Nothing else outlives a call.
"""

from dataclasses import dataclass

from gateway.frames.frame import NO_LAYER_3, UI, Damaged, Frame
from gateway.frames.header import REMEMBERED_HEADERS
from gateway.frames.heard import Heard, Moment
from gateway.frames.network_line import LINE_END, MAXIMUM_LINE_OCTETS, route
from gateway.frames.third_party import MARK, Unwrapped, unwrap
from gateway.frames.tnc2 import first_line
from gateway.judge.compiled import CompiledPolicy, Concerns
from gateway.judge.conditions import Subject, Traits, origin_of
from gateway.judge.duplicates import RecentForwards
from gateway.judge.emergency import is_emergency
from gateway.judge.network_rules import broken_by_headers
from gateway.judge.policy import Per
from gateway.judge.rates import RateLimit, continue_rates
from gateway.judge.state import JudgeState
from gateway.judge.verdict import Decision, Judged, Reason, Verdict

MAXIMUM_STANDINGS = 2 * REMEMBERED_HEADERS
"""Headers about which the answers are remembered, about 0.3 kB each. Past it the half asked longest ago is forgotten.

To answer anew takes a few microseconds: it pays for those that the readers remember, and for few others."""


@dataclass(frozen=True, slots=True)
class HeaderStanding:
    """All that the headers and the receiver of a frame decide of it, remembered for the next frame like it."""

    reason: Reason | None
    """The first of the network's rules about headers, those that are carried too, that is broken."""

    duplicate_prefix: bytes
    octets_beside: int
    """Octets of the network line beside the information, its end included."""

    concerns: Concerns
    """What the policy asks of such frames."""


class Judge:
    """Gives verdicts by the network's rules and one policy. Pure: the same stream of `Heard`, the same verdicts."""

    def __init__(self, policy: CompiledPolicy) -> None:
        self._standings: dict[bytes, HeaderStanding] = {}
        self._older_standings: dict[bytes, HeaderStanding] = {}
        self._take(policy)
        self.recent = RecentForwards(policy.window_ms)
        """What went up lately."""

        self.limits = tuple(RateLimit(rate.rate) for rate in policy.rates)
        """The policy's rates and budgets at work, in its order."""

    @property
    def policy(self) -> CompiledPolicy:
        """The policy in force."""
        return self._policy

    def replace(self, policy: CompiledPolicy, elapsed_ms: int) -> None:
        """Judge by another policy from now on. What went up lately is still known, rates keep their levels."""
        limits = tuple(RateLimit(rate.rate) for rate in policy.rates)
        continue_rates(limits, self.limits, elapsed_ms)
        self.limits = limits
        self.recent.window_ms = policy.window_ms
        self._take(policy)

    def judge(self, heard: Heard, moment: Moment | None = None) -> Judged:
        """The verdict on `heard`, by its moment, or by another: in a club all hubs judge by the stream's."""
        frame = heard.frame
        if isinstance(frame, Damaged):
            return Judged(heard, self._policy.kept[Reason.DAMAGED], None)
        innermost = frame
        if frame.information.startswith(MARK):
            unwrapped = unwrap(frame)
            innermost, standing = unwrapped.innermost, self.standing(heard.receiver, unwrapped)
        else:
            # A club has hundreds of receivers: those that the policy does not tell apart have their answers together.
            receiver = self._policy.receiver_asked(heard.receiver)
            header = frame.header.network
            key = b"%b\n%b" % (receiver.encode(), header) if receiver else header
            remembered = self._standings.get(key)
            standing = self._remember(key, receiver, frame) if remembered is None else remembered
        if frame.control != UI:
            return self._keep(heard, Reason.NOT_UI, innermost)
        if frame.pid != NO_LAYER_3:
            return self._keep(heard, Reason.WRONG_PID, innermost)
        if standing.reason is not None:
            return self._keep(heard, standing.reason, innermost)
        return self._judge_information(heard, innermost, standing, moment or heard.moment)

    def standing(self, receiver: str, unwrapped: Unwrapped) -> HeaderStanding:
        """What the headers and the receiver decide of a frame."""
        outermost, innermost = unwrapped.layers[0].header, unwrapped.innermost.header
        return HeaderStanding(
            broken_by_headers(unwrapped, self._added),
            f"{innermost.source}>{innermost.destination}:".encode("ascii"),
            len(innermost.network) + len(self._added) + len(LINE_END),
            self._policy.concerns(Traits.of(receiver, outermost, innermost, self._policy.labels)),
        )

    def copy_since(self, standing: HeaderStanding, information: bytes, elapsed_ms: int) -> int | None:
        """How long ago a copy was judged `forward`, in milliseconds; None where none was in the window.

        `information` ends before its first line end.
        """
        return self.recent.since(_duplicate_key(standing, information), elapsed_ms)

    def subject(
        self, standing: HeaderStanding, frame: Frame, information: bytes, heard: Heard, moment: Moment | None = None
    ) -> Subject:
        """What the policy's conditions are asked about; `information` is that of `frame` up to its first line end."""
        origin = origin_of(heard, self._policy.origin)
        return Subject(frame, information, standing.concerns.traits, (moment or heard.moment).time_ms, origin)

    def recall(self, judged: Judged) -> None:
        """Remember a frame as it was judged before a restart; its moment is in this run's time, before its start.

        Rates start full: of them, budgets alone are told.
        """
        heard, frame = judged.heard, judged.innermost
        if frame is None or not judged.forward or isinstance(heard.frame, Damaged):
            return
        standing = self.standing(heard.receiver, unwrap(heard.frame))
        information = judged.information
        self.recent.remember(_duplicate_key(standing, information), heard.moment.elapsed_ms)
        if judged.emergency or not standing.concerns.rates:
            return
        subject = self.subject(standing, frame, information, heard)
        octets = standing.octets_beside + len(information)
        for place, rate in standing.concerns.rates:
            budget = self.limits[place].budget
            if budget is not None and (rate.when.of_subject is None or rate.when.of_subject(subject)):
                budget.take(_key(self.limits[place].per, subject), heard.moment.time_ms, octets)

    def state(self) -> JudgeState:
        """All that it knows but its policy: another of the same policy that takes it in judges alike for ever."""
        return JudgeState.model_construct(
            duplicates=self.recent.state(), limits=[limit.state() for limit in self.limits]
        )

    def resume(self, state: JudgeState) -> None:
        """Take in what `state` gave out, in place of what was known. Both judges have the same policy."""
        self.recent.resume(state.duplicates)
        states = {(limit.name, limit.per): limit for limit in state.limits}
        for limit in self.limits:
            if (limit_state := states.get((limit.name, limit.per))) is not None:
                limit.resume(limit_state)

    def _take(self, policy: CompiledPolicy) -> None:
        self._policy = policy
        self._added = route(policy.post.callsign)
        self._standings, self._older_standings = {}, {}

    def _remember(self, key: bytes, receiver: str, frame: Frame) -> HeaderStanding:
        """The standing of a plain frame, by its receiver and header, remembered as the one asked for last."""
        standing = self._older_standings.get(key) or self.standing(receiver, Unwrapped((frame,)))
        if len(self._standings) >= MAXIMUM_STANDINGS // 2:
            self._older_standings, self._standings = self._standings, {}
        self._standings[key] = standing
        return standing

    def _keep(self, heard: Heard, reason: Reason, innermost: Frame) -> Judged:
        information = first_line(innermost.information)
        emergency = is_emergency(innermost, information)
        return Judged(heard, self._policy.kept[reason], innermost, information, emergency)

    def _judge_information(self, heard: Heard, frame: Frame, standing: HeaderStanding, moment: Moment) -> Judged:
        """The rules that look at the information, then duplicates, then the policy.

        The first three are `network_rules.INFORMATION_RULES`, asked without their words; a test holds them together.
        """
        information = first_line(frame.information)
        if not information:
            return self._keep(heard, Reason.EMPTY, frame)
        if information.startswith(b"?"):
            return self._keep(heard, Reason.GENERIC_QUERY, frame)
        if standing.octets_beside + len(information) > MAXIMUM_LINE_OCTETS:
            return self._keep(heard, Reason.TOO_LONG, frame)
        elapsed_ms = moment.elapsed_ms
        key = _duplicate_key(standing, information)
        if self.recent.since(key, elapsed_ms) is not None:
            return self._keep(heard, Reason.DUPLICATE, frame)
        emergency = is_emergency(frame, information)
        verdict = self._policy.forward
        concerns = standing.concerns
        if not emergency and (concerns.rules or concerns.rates):
            subject = self.subject(standing, frame, information, heard, moment)
            verdict = self._ask_policy(standing, subject, moment)
        if verdict.decision is Decision.FORWARD:
            self.recent.remember(key, elapsed_ms)
        return Judged(heard, verdict, frame, information, emergency)

    def _ask_policy(self, standing: HeaderStanding, subject: Subject, moment: Moment) -> Verdict:
        verdict = self._policy.forward
        for rule in standing.concerns.rules:
            if rule.asks is None or rule.asks(subject):
                verdict = rule.verdict
                break
        if verdict.decision is Decision.KEEP or not standing.concerns.rates:
            return verdict
        return self._take_tokens(standing, subject, moment) or verdict

    def _take_tokens(self, standing: HeaderStanding, subject: Subject, moment: Moment) -> Verdict | None:
        """Take a token of every rate that matches, or of none; what is returned says which had none."""
        octets = standing.octets_beside + len(subject.information)
        matching: list[int] = []
        for place, rate in standing.concerns.rates:
            if rate.when.of_subject is not None and not rate.when.of_subject(subject):
                continue
            if not self._has_room(place, subject, moment, octets):
                return rate.verdict
            matching.append(place)
        for place in matching:
            limit = self.limits[place]
            limit.take(_key(limit.per, subject), subject.frame.source, moment, octets)
        return None

    def _has_room(self, place: int, subject: Subject, moment: Moment, octets: int) -> bool:
        """Whether the rate at `place` of the policy has room for a line of so many octets."""
        limit = self.limits[place]
        key = _key(limit.per, subject)
        return limit.admits(key, subject.frame.source, moment, octets, kind=lambda: subject.kind)


def _duplicate_key(standing: HeaderStanding, information: bytes) -> bytes:
    """Spaces at the end may have been lost on one of the routes: they make no new frame."""
    return standing.duplicate_prefix + information.rstrip(b" ")


def _key(per: Per, subject: Subject) -> str:
    """Which bucket of a rate a frame takes from."""
    if per is Per.SOURCE:
        return subject.frame.header.source
    if per is Per.RECEIVER:
        return subject.traits.receiver
    if per is Per.REPORT:
        return subject.kind.value
    return per.value
