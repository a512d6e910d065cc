"""The pages for operators: the commands and the files on them, in their order."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

TREE = Path(__file__).parents[2]
GUIDE = TREE / "gateway" / "guide"

_BLOCK = re.compile(r"^```(?P<language>sh|yaml)(?: (?P<how>[^\n]+))?\n(?P<text>.*?)^```", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True, slots=True)
class Block:
    """What stands between two fences, and what its first line says of it."""

    place: str
    language: str
    how: str
    """Of commands: "" to run them, `stays` where they go on running, `soon` where they end well before long, `look`
    where they may find something wrong, `asks` where they ask somebody, or a name; of a file:
    its path."""

    text: str


def blocks(page: str | Path) -> Iterator[Block]:
    """Those of a page of the guide, or of any other by its path."""
    text = (GUIDE / page).read_text("utf-8")
    for match in _BLOCK.finditer(text):
        line = text.count("\n", 0, match.start()) + 1
        yield Block(f"{Path(page).name}:{line}", match["language"], match["how"] or "", match["text"])
