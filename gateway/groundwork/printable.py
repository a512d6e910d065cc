"""Text from strangers, made fit for a terminal, a log, a table: it stays on its line and moves nothing."""


def printable(text: str, longest: int | None = None) -> str:
    r"""`text` with every character that cannot be printed written as its escape: `\x1b`, `\n`, `\u202e`.

    Controls, line ends, and all that sets directions are such characters. What would be more than `longest` characters
    is cut, and ends with an ellipsis.
    """
    shown = text if longest is None else text[: longest + 1]
    if not shown.isprintable():
        shown = "".join(one if one.isprintable() else escape(one) for one in shown)
    return shown if longest is None or len(shown) <= longest else f"{shown[: longest - 1]}…"


def escape(character: str) -> str:
    """A character as Python writes it in a string of ASCII."""
    return character.encode("unicode_escape").decode("ascii")
