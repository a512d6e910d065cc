"""How the commands are asked for: what is said to a wrong one, and what a shell and `man` read about them all.

Completion and the manual page are made from the parser by libraries, which the extra `shell` brings.
"""

import argparse
from collections.abc import Collection, Sequence
from pathlib import Path

from gateway import __version__
from gateway.groundwork.extras import adding
from gateway.groundwork.printable import printable

SHELLS = ("bash", "zsh", "fish")

_MISSING = f"this needs what the extra `shell` brings: {adding('shell')}"
_EXIT_STATUS = """\
.SH EXIT STATUS
0: fine. 1: it found something wrong. 2: used wrongly. Of
.BR run :
0: stopped. 70: failed. 75: another gateway runs with the same files. 78: wrong configuration or passcode; after this
alone it should not be started again by itself.
"""


class PolicyName(str):
    """What names a policy: a ready one's name, or the path of a policy file."""

    __slots__ = ()


class CommandError(Exception):
    """A command found something wrong and goes no further. The words say what it is, and what to do."""


class AskedWronglyError(CommandError):
    """What stands on the command line is not how it is asked for. The words say how."""


def what_is_wrong(arguments: Sequence[str], commands: Collection[str]) -> str | None:
    """What to say to arguments that name no command there is; None where they do, or ask for help or the version."""
    wanted = next((word for word in arguments if not word.startswith("-")), None)
    if wanted is None or wanted in commands:
        return None
    from gateway.documents.problem import LONGEST_WORD, nearest  # noqa: PLC0415 - only a slip needs it

    hint = nearest(wanted, commands) or ": `stile` alone lists them"
    return f'there is no command "{printable(wanted[:LONGEST_WORD])}"{hint}'


def completion(parser: argparse.ArgumentParser, shell: str) -> str:
    """What a shell reads to complete the commands, their options, files and policies. Raises `CommandError`."""
    try:
        import shtab  # noqa: PLC0415 - an extra
    except ImportError:
        raise CommandError(_MISSING) from None
    for action in _all_actions(parser):
        if action.type is Path:
            action.complete = shtab.FILE  # type: ignore[attr-defined]  # it is how shtab is told
        elif action.type is PolicyName:
            action.complete = _policies()  # type: ignore[attr-defined]  # see above
    text: str = shtab.complete(parser, shell)
    return text


def _policies() -> dict[str, str | dict[str, str]]:
    """How each shell offers the ready policies, and files; `preamble` is what it must read first."""
    from gateway.settings.policy_files import ready_names  # noqa: PLC0415 - loaded by the command that needs it

    ready = " ".join(ready_names())
    bash = f'_stile_policies() {{ compgen -W \'{ready}\' -- "$1"; _shtab_compgen_files "$1"; }}'
    zsh = f"_stile_policies() {{ _alternative 'ready:ready policy:({ready})' 'files:policy file:_files' }}"
    return {
        "bash": "_stile_policies",
        "zsh": "_stile_policies",
        "fish": f"{ready} (__fish_complete_path (commandline -ct))",
        "preamble": {"bash": bash, "zsh": zsh},
    }


def manual(parser: argparse.ArgumentParser) -> str:
    """The manual page, in the language of `man` (man(7)). Raises `CommandError`."""
    try:
        from argparse_manpage.manpage import Manpage  # noqa: PLC0415 - an extra
    except ImportError:
        raise CommandError(_MISSING) from None
    page = Manpage(parser, format="single-commands-section")
    page.manual = "Stile"
    page.source = f"Stile {__version__}"
    page.description = "takes what a radio decoder hears to the position-reporting network and the house"
    return f"{page}{_EXIT_STATUS}"


def _all_actions(parser: argparse.ArgumentParser) -> list[argparse.Action]:
    """Every argument and option, those of the commands too."""
    actions = list(parser._actions)  # noqa: SLF001 - argparse has no public way to them
    for action in parser._actions:  # noqa: SLF001 - see above
        if isinstance(action.choices, dict):
            for command in action.choices.values():
                actions += _all_actions(command)
    return actions
