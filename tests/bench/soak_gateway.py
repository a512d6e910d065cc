"""A gateway as `stile` runs it, which also tells how many tasks it has: SIGUSR1 writes that into the file that
`SOAK_TASKS` names. For the soak alone."""

import asyncio
import os
import signal
import sys
from pathlib import Path


def _tell_tasks(*_: object) -> None:
    """A handler runs between two steps of the main thread, where the event loop is."""
    try:
        count = len(asyncio.all_tasks())
    except RuntimeError:  # it does not run yet, or no longer
        return
    Path(os.environ["SOAK_TASKS"]).write_text(str(count), "ascii")


if __name__ == "__main__":
    signal.signal(signal.SIGUSR1, _tell_tasks)  # before all that takes its time to load

    from gateway.cli import main

    sys.exit(main())
