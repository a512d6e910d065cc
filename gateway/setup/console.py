"""A terminal: lines, and what is read without an echo. Who leaves it, by Ctrl-C or Ctrl-D, has had enough."""

import getpass
import signal

from gateway.groundwork.printable import printable


class LeftError(Exception):
    """The operator left before the last answer."""


class Console:
    """The terminal that the command was started in."""

    def say(self, text: str) -> None:
        """Every line made printable: some of it is from the air, or from a stranger's socket."""
        for line in text.splitlines() or [""]:
            print(printable(line))  # noqa: T201 - talking is what it is for

    def ask(self, prompt: str) -> str:
        """One line. Raises `LeftError`."""
        try:
            return input(prompt)
        except (EOFError, KeyboardInterrupt):
            raise LeftError from None

    def ask_secretly(self, prompt: str) -> str:
        """One line, whose echo is switched off, and on again however it ends. Raises `LeftError`."""
        before = signal.signal(signal.SIGTERM, _leave)
        try:
            return getpass.getpass(prompt)
        except (EOFError, KeyboardInterrupt):
            raise LeftError from None
        finally:
            signal.signal(signal.SIGTERM, before)


def _leave(_number: int, _frame: object) -> None:
    raise LeftError
