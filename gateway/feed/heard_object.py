"""The heard object: one judged frame as the house sees it, the same on the bus, the event stream and in captures."""

import base64
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

from pydantic_core import to_json

from gateway.frames import tnc2
from gateway.frames.frame import NO_LAYER_3, UI, Damaged, Frame
from gateway.frames.header import REMEMBERED_HEADERS, Header
from gateway.frames.plain import PlainFormError, PlainObject, from_object, header_to_object, rfc3339, to_object
from gateway.frames.third_party import unwrap
from gateway.judge.emergency import is_emergency
from gateway.judge.verdict import Decision, Judged, Reason, Verdict

Reader = Callable[[Judged], PlainObject | None]
"""Reads the report of a judged frame as a plain object; None where there is none to show."""

_LINE_END = b"\r\n"


def no_report(_judged: Judged) -> None:
    """The `Reader` of a feed that shows no reports."""


def heard_object(judged: Judged, report: PlainObject | None = None) -> PlainObject:
    """The plain object of `judged`: what was heard, what was decided and why, and what it reports.

    A report that came inside a third-party frame says who relayed it: the outermost source, the one on the air.
    """
    plain = to_object(judged.heard, judged.innermost) | _verdict_to_object(judged.verdict)
    if report is not None:
        relay = relayed_by(judged)
        plain["report"] = report if relay is None else {**report, "relayed_by": relay}
    return plain


def _verdict_to_object(verdict: Verdict) -> PlainObject:
    plain: PlainObject = {"verdict": verdict.decision}
    if verdict.reason is not None:
        plain["reason"] = verdict.reason
    if verdict.rule is not None:
        plain["rule"] = verdict.rule
    plain["policy"] = verdict.policy
    return plain


def judged_from(plain: Mapping[str, Any]) -> Judged:
    """Read what `heard_object` made, with the verdict that was given then. Raises `PlainFormError`."""
    heard = from_object(plain)
    verdict = verdict_in(plain)
    if verdict is None:
        raise PlainFormError("verdict: it says none that this version knows")
    if isinstance(heard.frame, Damaged):
        return Judged(heard, verdict, None)
    innermost = unwrap(heard.frame).innermost
    information = tnc2.first_line(innermost.information)
    return Judged(heard, verdict, innermost, information, is_emergency(innermost, information))


def verdict_in(plain: Mapping[str, Any]) -> Verdict | None:
    """The verdict in a heard object; None where it says none, or one in words of a later version."""
    try:
        return _verdict(plain.get("verdict"), plain.get("policy"), plain.get("reason"), plain.get("rule"))
    except (TypeError, ValueError):
        return None


@lru_cache(maxsize=1024)
def _verdict(decision: object, policy: object, reason: object, rule: object) -> Verdict:
    """Raises `TypeError` (a list or object is no key either) or `ValueError` where one of them is none."""
    if not (isinstance(decision, str) and isinstance(policy, str)):
        raise TypeError
    if not (isinstance(reason, str | None) and isinstance(rule, str | None)):
        raise TypeError
    return Verdict(Decision(decision), policy, None if reason is None else Reason(reason), rule)


def relayed_by(judged: Judged) -> str | None:
    """Who put a third-party frame on the air; None where its sender did so itself."""
    frame = judged.heard.frame
    if isinstance(frame, Frame) and judged.innermost is not None and judged.innermost is not frame:
        return frame.source
    return None


def encode(plain: Mapping[str, Any]) -> bytes:
    """Compact JSON, UTF-8 (RFC 8259). A number that JSON has no word for becomes null."""
    return to_json(plain, inf_nan_mode="null")


def encoded_heard_object(judged: Judged, report: PlainObject | None = None) -> bytes:
    """`encode(heard_object(…))`, octet for octet, at a third of the cost: what frames have in common is written once.

    A frame with anything out of the common goes that way itself.
    """
    heard, frame = judged.heard, judged.heard.frame
    if (
        judged.innermost is not frame
        or isinstance(frame, Damaged)
        or (frame.control, frame.pid, heard.port, heard.place) != (UI, NO_LAYER_3, 0, None)
    ):
        return encode(heard_object(judged, report))
    try:
        information = to_json(frame.information)
    except ValueError:  # it is no UTF-8
        return encode(heard_object(judged, report))
    return b'{"run":%b,"sequence":%d,"elapsed_ms":%d,"time":"%b","receiver":%b,%b,"information":%b,%b%b}' % (
        _encoded_name(heard.run),
        heard.sequence,
        heard.moment.elapsed_ms,
        rfc3339(heard.moment.time_ms).encode("ascii"),
        _encoded_name(heard.receiver),
        _encoded_header(frame.header),
        information,
        _encoded_verdict(judged.verdict),
        b"" if report is None else b',"report":%b' % encode(report),
    )


@lru_cache(maxsize=256)
def _encoded_name(name: str) -> bytes:
    return to_json(name)


@lru_cache(maxsize=REMEMBERED_HEADERS)
def _encoded_header(header: Header) -> bytes:
    """The fields of a header, without the braces around them."""
    return encode(header_to_object(header))[1:-1]


@lru_cache(maxsize=256)
def _encoded_verdict(verdict: Verdict) -> bytes:
    """The fields of a verdict, without the braces around them."""
    return encode(_verdict_to_object(verdict))[1:-1]


class HeardPayload:
    """One judged frame on its way to the network and the house: its line, its heard object, its monitor text.

    Several topics and streams carry the same octets: they are made once, when they are first asked for. What is shed
    before anyone asks is never encoded.
    """

    __slots__ = ("_encoded", "_judged_by", "_monitor_text", "_reader", "judged", "line", "since_ms")

    def __init__(
        self,
        judged: Judged,
        reader: Reader = no_report,
        line: bytes = b"",
        *,
        encoded: bytes | None = None,
        judged_by: str = "",
    ) -> None:
        """`encoded` is the heard object of a frame that was published before, as it was then.

        `judged_by`: in a club, whose verdict it is; empty elsewhere.
        """
        self.judged = judged
        self.line = line
        """As the network gets it, CR LF included; empty where it should not go up."""

        self.since_ms = judged.heard.moment.elapsed_ms
        """The elapsed time at which it was heard."""

        self._reader = reader
        self._encoded = encoded
        self._judged_by = judged_by
        self._monitor_text: bytes | None = None

    def monitor_text(self) -> bytes:
        """The frame as a line of monitor text, without a line end; empty where it is damaged."""
        if self._monitor_text is None:
            frame = self.judged.heard.frame
            self._monitor_text = tnc2.write(frame) if isinstance(frame, Frame) else b""
        return self._monitor_text

    def report(self) -> PlainObject | None:
        """What the frame reports, read anew."""
        return self._reader(self.judged)

    def encoded(self) -> bytes:
        """The heard object as JSON."""
        if self._encoded is None:
            self._encoded = encoded_heard_object(self.judged, self._reader(self.judged))
            if self._judged_by:
                self._encoded = self.encoded_with({"judged_by": self._judged_by})
        return self._encoded

    def forwarded(self, sent_at_ms: int) -> bytes:
        """The forwarded object as JSON: the heard object, the line as it went up, and when (Unix milliseconds)."""
        return self.encoded_with(_forwarded_fields(self.line, sent_at_ms))

    def encoded_with(self, more: PlainObject) -> bytes:
        """The heard object and the fields of `more`, which it must not have itself, as one JSON object."""
        return b"%b,%b" % (self.encoded()[:-1], encode(more)[1:])


def _forwarded_fields(line: bytes, sent_at_ms: int) -> PlainObject:
    """What the forwarded object has beside the heard object: the line as it went up, and when (Unix milliseconds).

    As with `information`, octets that are no UTF-8 are replaced, and then the exact ones stand in `line_base64`.
    """
    line = line.removesuffix(_LINE_END)
    fields: PlainObject = {"line": line.decode("utf-8", "replace"), "sent_at": rfc3339(sent_at_ms)}
    if fields["line"].encode("utf-8") != line:
        fields["line_base64"] = base64.b64encode(line).decode("ascii")
    return fields
