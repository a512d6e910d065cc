"""The network's own rules: what must never go up, whatever the policy says (IS-Details, IS-IGating).

Each rule is one row of a table: its reason, the question it asks, and the function that answers. The judge asks them in
the order of `Reason`; `explain` prints the same rows. Rules that look only at headers are asked once per header and
remembered (see `judge`).
"""

import re
from collections.abc import Callable
from dataclasses import dataclass

from gateway.frames.frame import NO_LAYER_3, UI
from gateway.frames.header import PLACEHOLDERS, Header, base_of, is_network_callsign
from gateway.frames.network_line import MAXIMUM_LINE_OCTETS, network_line
from gateway.frames.third_party import Unwrapped
from gateway.frames.tnc2 import first_line
from gateway.judge.verdict import Reason

INTERNET_MARKS = frozenset({"TCPIP", "TCPXX"})
NOT_TO_GATE = frozenset({"NOGATE", "RFONLY"})

_Q_CONSTRUCT = re.compile(r"qA[A-Za-z]\Z")


@dataclass(frozen=True, slots=True)
class NetworkRule:
    """One rule: `broken` says what breaks it, in words of our own and callsigns, or None where it holds."""

    reason: Reason
    question: str
    source: str
    """Where the rule comes from."""

    broken: Callable[[Unwrapped, bytes], str | None]
    """Asked of a frame unwrapped, and of what is added to its header on the way up (see `network_line.route`)."""


def _in_headers(broken: Callable[[Header], str | None]) -> Callable[[Unwrapped, bytes], str | None]:
    """A rule that any header may break: the outermost, or one inside."""

    def in_any(unwrapped: Unwrapped, added: bytes) -> str | None:
        del added
        return next(filter(None, (broken(layer.header) for layer in unwrapped.layers)), None)

    return in_any


def _in_innermost(broken: Callable[[Header], str | None]) -> Callable[[Unwrapped, bytes], str | None]:
    """A rule about the header that goes up, not about those around it: a relay at its default callsign loses nobody.

    Where what a frame carries cannot be read, there is no header that would go up.
    """

    def in_innermost(unwrapped: Unwrapped, added: bytes) -> str | None:
        del added
        return None if unwrapped.malformed else broken(unwrapped.innermost.header)

    return in_innermost


def _in_path(header: Header, marks: frozenset[str]) -> str | None:
    return next((entry.callsign for entry in header.path if base_of(entry.callsign).upper() in marks), None)


def _bad_callsign(header: Header) -> str | None:
    everyone = (header.source, header.destination, *(entry.callsign for entry in header.path))
    bad = next((callsign for callsign in everyone if not is_network_callsign(callsign)), None)
    return None if bad is None else f'"{bad}" is not 1-9 letters and digits with at most one hyphen'


def _placeholder(header: Header) -> str | None:
    return header.source if base_of(header.source).upper() in PLACEHOLDERS else None


def _q_construct(header: Header) -> str | None:
    return next((entry.callsign for entry in header.path if _Q_CONSTRUCT.match(entry.callsign)), None)


def _not_ui(unwrapped: Unwrapped, _: bytes) -> str | None:
    control = unwrapped.layers[0].control
    return None if control == UI else f"control is {control:02X}"


def _wrong_pid(unwrapped: Unwrapped, _: bytes) -> str | None:
    pid = unwrapped.layers[0].pid
    return None if pid == NO_LAYER_3 else "there is none" if pid is None else f"it is {pid:02X}"


def _internet_origin(unwrapped: Unwrapped, _: bytes) -> str | None:
    return _in_path(unwrapped.layers[0].header, INTERNET_MARKS)


def _third_party_internet(unwrapped: Unwrapped, _: bytes) -> str | None:
    inner = (_in_path(layer.header, INTERNET_MARKS) for layer in unwrapped.layers[1:])
    return next(filter(None, inner), None)


def _third_party_malformed(unwrapped: Unwrapped, _: bytes) -> str | None:
    return unwrapped.malformed


def _empty(unwrapped: Unwrapped, _: bytes) -> str | None:
    return None if first_line(unwrapped.innermost.information) else "nothing stands before its end or first line end"


def _generic_query(unwrapped: Unwrapped, _: bytes) -> str | None:
    return "it begins with ?" if unwrapped.innermost.information.startswith(b"?") else None


def _too_long(unwrapped: Unwrapped, added: bytes) -> str | None:
    octets = len(network_line(unwrapped.innermost, added))
    return None if octets <= MAXIMUM_LINE_OCTETS else f"the line would have {octets} octets"


HEADER_RULES = (
    NetworkRule(
        Reason.BAD_CALLSIGN,
        "Would the network refuse a callsign of its header?",
        "IS-Connect, IS-Server",
        _in_innermost(_bad_callsign),
    ),
    NetworkRule(
        Reason.PLACEHOLDER_CALLSIGN,
        "Is the sender a placeholder that no one owns?",
        "common practice",
        _in_innermost(_placeholder),
    ),
    NetworkRule(
        Reason.Q_CONSTRUCT_ON_AIR,
        "Does a q construct stand in the path? It never appears on the air.",
        "IS-Details",
        _in_headers(_q_construct),
    ),
    NetworkRule(
        Reason.INTERNET_ORIGIN, "Did it come from the internet (TCPIP, TCPXX)?", "IS-Details", _internet_origin
    ),
    NetworkRule(
        Reason.ASKED_NOT_TO_GATE,
        "Does its sender ask not to be gated (NOGATE, RFONLY)?",
        "IS-Details",
        _in_headers(lambda header: _in_path(header, NOT_TO_GATE)),
    ),
)
"""The first two are about callsigns that go up, so they are asked of the innermost header alone; the others of every
one, as each is judged before it is stripped."""

THIRD_PARTY_RULES = (
    NetworkRule(
        Reason.THIRD_PARTY_MALFORMED,
        "Is the frame that it carries unreadable?",
        "IS-Details",
        _third_party_malformed,
    ),
    NetworkRule(
        Reason.THIRD_PARTY_INTERNET,
        "Did the frame that it carries come from the internet?",
        "IS-Details",
        _third_party_internet,
    ),
)

INFORMATION_RULES = (
    NetworkRule(Reason.EMPTY, "Is there no information to pass on?", "common practice", _empty),
    NetworkRule(
        Reason.GENERIC_QUERY, "Is it a query to everyone? Thousands would answer.", "IS-Details", _generic_query
    ),
    NetworkRule(Reason.TOO_LONG, "Would its line have more than 512 octets?", "IS-Connect", _too_long),
)

KIND_RULES = (
    NetworkRule(
        Reason.NOT_UI, "Is it of another type than unnumbered information (control 03)?", "IS-Details", _not_ui
    ),
    NetworkRule(Reason.WRONG_PID, "Does it carry another protocol than F0?", "IS-Details", _wrong_pid),
)

RULES_OF_HEADERS = (*HEADER_RULES, *THIRD_PARTY_RULES)
"""Whatever the information is, they have the same answer for the same headers."""

NETWORK_RULES = (*KIND_RULES, *RULES_OF_HEADERS, *INFORMATION_RULES)
"""All of them, in the order in which they are asked."""


def first_broken(rules: tuple[NetworkRule, ...], unwrapped: Unwrapped, added: bytes) -> Reason | None:
    """The reason of the first of `rules` that is broken."""
    return next((rule.reason for rule in rules if rule.broken(unwrapped, added) is not None), None)


_GOOD_CALLSIGN = "[A-Z0-9]{1,6}(?:-[A-Z0-9]{1,2})?"
_GOOD_HEADER = (
    rf"(?!{'|'.join(PLACEHOLDERS)}){_GOOD_CALLSIGN}>{_GOOD_CALLSIGN}"
    rf"(?:,(?!{'|'.join(INTERNET_MARKS | NOT_TO_GATE)}|(?-i:qA)){_GOOD_CALLSIGN}\*?)*"
)
"""A header that surely breaks no rule, as nearly all do not. Of what it does not match, the rules are asked."""
_is_good_header = re.compile(_GOOD_HEADER.encode("ascii"), re.IGNORECASE).fullmatch


def broken_by_headers(unwrapped: Unwrapped, added: bytes) -> Reason | None:
    """The reason of the first of `RULES_OF_HEADERS` that is broken."""
    if unwrapped.malformed is None and all(_is_good_header(layer.header.network) for layer in unwrapped.layers):
        return None
    return first_broken(RULES_OF_HEADERS, unwrapped, added)
