"""What refers to each other in circles, as an ended connection and its tasks do, does not stay for a year."""

import gc
import weakref
from pathlib import Path

import pytest

from gateway.running import collector
from tests.waiting import until
from tests.whole_gateway import Decoder, running, station_file


class Circle:
    """Refers to itself: only the collector can tell that nobody needs it."""

    def __init__(self) -> None:
        self.itself = self


async def test_garbage_in_circles_that_has_lived_for_long_is_collected(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(collector, "COLLECT_SECONDS", 0.01)
    gc.disable()  # what would come by chance
    try:
        async with Decoder() as decoder:
            text = f"station: {{callsign: QX1GAT}}\nreceivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n"
            async with running(station_file(tmp_path, text)):
                circle = Circle()
                gc.collect()  # it is among what has lived for long
                left = weakref.ref(circle)
                del circle
                await until(lambda: left() is None)
    finally:
        gc.enable()
