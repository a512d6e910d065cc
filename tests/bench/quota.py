"""The house under a quota of a tenth of a core: frames a second from socket to socket, beside a bare relay under one.

The relay and each gateway have a control group of their own (version 2, or the processor controller of version 1). That
needs the rights to make one: without them the bench is skipped.
"""

import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path

from tests.bench.ends import Readers
from tests.bench.figures import Effort, Figure, Skipped, in_turn, per_second, ratio
from tests.bench.house import HOUSES, RELAY, open_house
from tests.bench.processes import a_broker
from tests.bench.throughput import Numbered, rate

GROUPS = Path("/sys/fs/cgroup")
PERIOD_MICROSECONDS, QUOTA_MICROSECONDS = 100_000, 10_000
FRAMES, RELAY_FRAMES = 3000, 30_000
"""Enough for many periods of each: what fits into the quota of one or two is done at full speed."""


@contextmanager
def group_with_a_tenth() -> Iterator[Path]:
    """A control group whose processes together have a tenth of a core. Raises `Skipped`."""
    is_second_version = (GROUPS / "cgroup.controllers").exists()
    try:
        group = Path(tempfile.mkdtemp(prefix="stile-bench-", dir=GROUPS if is_second_version else GROUPS / "cpu"))
    except OSError:
        raise Skipped("no control group can be made here") from None
    try:
        if is_second_version:
            (group / "cpu.max").write_text(f"{QUOTA_MICROSECONDS} {PERIOD_MICROSECONDS}")
        else:
            (group / "cpu.cfs_period_us").write_text(str(PERIOD_MICROSECONDS))
            (group / "cpu.cfs_quota_us").write_text(str(QUOTA_MICROSECONDS))
        yield group
    except OSError:
        raise Skipped("a control group here takes no quota of the processor") from None
    finally:
        group.rmdir()  # its processes have ended


def measure(effort: Effort) -> Iterator[Figure]:
    """A figure for each row of the house."""
    with ExitStack() as stack:
        broker = stack.enter_context(a_broker())
        readers = stack.enter_context(Readers())
        sides = {}
        for name in (RELAY, *HOUSES):
            group = stack.enter_context(group_with_a_tenth())
            house = open_house(stack, readers, broker.port, name)
            (group / "cgroup.procs").write_text(str(house.measured.number))
            frames = RELAY_FRAMES if name == RELAY else FRAMES
            sides[name] = partial(rate, house.ends, frames, Numbered().take)
        in_turn(1, sides)  # warms up
        rates = in_turn(effort.turns, sides)
    for name in rates:
        if name != RELAY:
            yield ratio(name, rates[name], rates[RELAY], per_second("frames"), RELAY)
