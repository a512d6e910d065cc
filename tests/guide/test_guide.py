"""The pages for operators say what the program does: their commands, their quotations and their links.

`from_nothing.py` follows the first two of them on a bare Debian, which takes minutes; this takes none.
"""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway import cli
from tests.guide.pages import GUIDE, TREE, blocks

DOCUMENTS = sorted(
    path for path in TREE.rglob("*.md") if not {part[:1] for part in path.relative_to(TREE).parts} & {"."}
)
_CALLED = re.compile(r"(?:^|&& |\|\| |=\S+ |sudo |gateway )(?:\S*/)?stile (.*?)(?: &&| \|| >|$)")
"""What follows the program's name, up to the next command."""

WORDS_OF_OTHERS = {"cannot be read: Permission denied", "ensurepip is not available", "status=216/GROUP"}
"""What Python and systemd say, seen on the way from nothing to a service."""

TROUBLE = (GUIDE / "when-something-is-wrong.md").read_text("utf-8")


def commands() -> Iterator[tuple[str, list[str]]]:
    """Every `stile COMMAND …` in a block of shell of any document, as its words."""
    for document in DOCUMENTS:
        text = document.read_text("utf-8")
        for block in re.findall(r"^```sh[^\n]*\n(.*?)^```", text, re.MULTILINE | re.DOTALL):
            for line in block.replace("\\\n", " ").splitlines():
                for called in _CALLED.findall(line):
                    yield f"{document.relative_to(TREE)}: {called.strip()}", shlex.split(called, comments=True)


PARSER, COMMANDS = cli.parsers()


@pytest.mark.parametrize(("place", "words"), [pytest.param(*each, id=each[0]) for each in commands()])
def test_every_command_in_the_documents_is_one_that_the_program_takes(place: str, words: list[str]) -> None:
    assert place
    assert words[0] in COMMANDS
    assert PARSER.parse_args(words)


def test_the_documents_show_commands() -> None:
    assert len({words[0] for _, words in commands()} & set(COMMANDS)) >= 4


@pytest.mark.parametrize("quoted", sorted(set(re.findall(r"^\| `([^`]+)`", TROUBLE, re.MULTILINE))))
def test_what_the_page_of_troubles_quotes_is_what_the_program_says(quoted: str) -> None:
    sources = [*(TREE / "gateway").rglob("*.py"), TREE / "demo/environment.sh"]
    text = "".join(path.read_text("utf-8") for path in sources)
    joined = re.sub(r'"\s*\n\s*f?"', "", text)  # a long text is written in pieces
    assert quoted in joined or quoted in WORDS_OF_OTHERS


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(TREE)))
def test_every_link_between_documents_leads_somewhere(document: Path) -> None:
    text = re.sub(r"^```.*?^```", "", document.read_text("utf-8"), flags=re.MULTILINE | re.DOTALL)
    for link in re.findall(r"\]\(([^)\s]+)\)", text) + re.findall(r'src="([^"]+)"', text):
        path, _, anchor = link.partition("#")
        if "://" in link:
            continue
        target = (document.parent / path).resolve() if path else document
        assert target.exists(), link
        if anchor:
            titles = re.findall(r"^#+ (.+)$", target.read_text("utf-8"), re.MULTILINE)
            assert anchor in {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}, link


def test_every_page_of_the_guide_is_reached_from_the_readme() -> None:
    readme = (TREE / "README.md").read_text("utf-8")
    assert [page.name for page in GUIDE.glob("*.md") if f"gateway/guide/{page.name}" not in readme] == []


def test_every_block_on_a_page_says_how_it_is_tried() -> None:
    known = {"", "stays", "soon", "look", "asks", "backup", "restore", "upgrade", "downgrade", "remove"}
    for page in ("first-post.md", "alone-for-a-year.md", TREE / "docker/README.md"):
        assert {block.how for block in blocks(page) if block.language == "sh"} <= known


def test_the_reference_has_every_command_with_options_that_it_takes() -> None:
    rows = re.findall(r"^\| (`stile [^|]+) \|([^|]+)\|$", (GUIDE / "reference.md").read_text("utf-8"), re.MULTILINE)
    shown = {name: named + does for named, does in rows for name in re.findall(r"`stile (\w+)", named)}
    assert set(shown) == set(COMMANDS)
    for name, text in shown.items():
        taken = COMMANDS[name].format_help()
        assert [option for option in re.findall(r"--[a-z-]+", text) if option not in taken] == [], name
