"""Signals that end a command that goes on until then."""

import asyncio
import signal


def end_on_signals() -> None:
    """Let every signal that ends a command end this one in an orderly way."""
    task = asyncio.current_task()
    if task is not None:
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            loop.add_signal_handler(number, task.cancel)
