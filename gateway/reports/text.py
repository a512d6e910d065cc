"""Text from the air, made fit to be shown: printable, on one line, in the direction it is written."""

import re

_HARMFUL = re.compile(
    "["
    "\x00-\x1f\x7f-\x9f"  # control characters
    "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # Unicode's Bidi_Control: they reorder what stands beside them
    "\u2028\u2029"  # line and paragraph separators: they end a line in JavaScript and in many a log
    "\ud800-\udfff"  # surrogates: no UTF-8 says them, and JSON cannot
    "\ufeff\ufff9-\ufffb\ufffe\uffff"  # byte order mark, annotations, noncharacters
    "]"
)


def clean(octets: bytes) -> str:
    """The text in `octets`: UTF-8, else Latin-1, without what could harm whoever shows it, nor spaces at its ends.

    Control characters, direction overrides, line separators and noncharacters are out; a tab becomes a space. `<`, `&`
    and quotes stay: they are honest text, and whatever writes HTML must escape them.
    """
    try:
        text = octets.decode()
    except UnicodeDecodeError:
        text = octets.decode("latin-1")
    if not text.isprintable():
        text = _HARMFUL.sub("", text.replace("\t", " "))
    return text.strip()
