"""The session of a page: a signed date in a cookie, made from the token and nothing else. No I/O, no clock.

The browser's own way to open an event stream cannot send a token, so a page that was signed in to carries a cookie in
its place. It holds until when it is good, signed with the token: nothing need be remembered here, a restart ends no
session, and another token ends them all. From the cookie nobody learns the token, and scripts cannot read either.
"""

import hashlib
import hmac

COOKIE = "stile_session"
SECURE_COOKIE = "__Host-stile_session"
"""Over TLS: a browser takes a name that begins so from this host alone, and sends it over TLS alone (RFC 6265bis)."""

SESSION_SECONDS = 30 * 86_400

_LONGEST_DATE = 12


def issue(token: str, now_ms: int) -> str:
    """A session that begins now, which is in Unix milliseconds."""
    until = str(now_ms // 1000 + SESSION_SECONDS)
    return f"{until}.{_signature(token, until)}"


def holds(token: str, session: str, now_ms: int) -> bool:
    """Whether `session` was issued with this token and is still good."""
    until, _, signature = session.partition(".")
    if not (until.isascii() and until.isdecimal() and len(until) <= _LONGEST_DATE):
        return False
    is_ours = hmac.compare_digest(signature.encode("utf-8", "replace"), _signature(token, until).encode("ascii"))
    return is_ours and now_ms < int(until) * 1000


def is_token(token: str, shown: str) -> bool:
    """Whether what was shown is the token, in a time that does not tell how nearly."""
    return hmac.compare_digest(shown.encode("utf-8", "replace"), token.encode("utf-8"))


def _signature(token: str, until: str) -> str:
    return hmac.new(token.encode("utf-8"), f"stile session until {until}".encode("ascii"), hashlib.sha256).hexdigest()
