"""A program for tests to kill: keeps a journal and captures, and prints how many frames are on disk in both.

Usage: python endless_gateway.py JOURNAL CAPTURE-FOLDER
"""

import asyncio
import sys
from pathlib import Path

from gateway.feed.heard_object import HeardPayload
from gateway.frames.heard import Run
from gateway.journal.capture import CaptureKeeper
from gateway.journal.journal import Journal
from gateway.journal.options import CaptureOptions, DiskPace
from tests.journal.keeping import RUN, frames
from tests.judged_frames import POLICY, Post
from tests.options import journal_options

AT_ONCE = DiskPace(gather=0)


async def main(journal_path: Path, capture_folder: Path) -> None:
    run = Run(RUN)
    journal = Journal(journal_options(journal_path, pace=AT_ONCE), run, callsign="QX1GAT-10", policy=POLICY)
    captures = CaptureKeeper(CaptureOptions(capture_folder, pace=AT_ONCE), run)
    post = Post(RUN)
    said = 0
    async with asyncio.TaskGroup() as tasks:
        tasks.create_task(journal.run())
        tasks.create_task(captures.run())
        while True:
            for judged in frames(7, post):
                payload = HeardPayload(judged)
                journal.offer([payload])
                captures.offer([payload])
            await asyncio.sleep(0.001)
            on_disk = min(journal.state().written, captures.state().written)
            if on_disk > said:
                said = on_disk
                print(said, flush=True)  # noqa: T201 - the test reads it


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1]), Path(sys.argv[2])))
