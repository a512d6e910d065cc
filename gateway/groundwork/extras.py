"""The extras of the package, which only some need: how one is added to what is installed."""

import shlex
import sys


def adding(extra: str) -> str:
    """The command that adds an extra to this very program's environment, whatever `pip` means in a terminal."""
    return f"{shlex.quote(f'{sys.prefix}/bin/pip')} install 'stile[{extra}]'"
