"""Runs a station of a club as `stile run` does, and writes down what becomes of each frame, for the county's books."""

import asyncio
import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path

from gateway import settings
from gateway.club.dispatch import DispatchOutcome, Due
from gateway.club.hand_over import End, Parcel
from gateway.running.service import Service
from gateway.settings import policy_files


async def main(station_file: Path, books: Path) -> None:
    """One line for each frame that came to an end: what became of it, and what it says."""
    station = settings.load(station_file)
    service = Service(station, policy_files.load_for(station))
    book = os.open(books, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def note(end: str, said: bytes) -> None:
        os.write(book, b"%b %b\n" % (end.encode(), said.rpartition(b">")[2].strip()))

    def note_sending(outcome: DispatchOutcome, dues: Sequence[Due]) -> None:
        for due in dues:
            note(outcome, due.line)

    def note_handing_over(end: End, parcel: Parcel) -> None:
        note(end, getattr(parcel.offer.frame, "information", b""))

    assert service.club is not None
    if service.club.hub is not None:
        service.club.hub.report = note_sending
    else:
        service.club.post.hand_over.report = note_handing_over
    stop = asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stop.set)
    await service.run(stop)


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1]), Path(sys.argv[2])))
