"""Random sequences of faults in counties of real processes: nothing twice, nothing late, everything accounted for.

    python -m tests.bench.club_faults --sequences 200 --draw 1

Every sequence is one to three faults, each for a random time, while frames are heard; after each of them all is well
again. A county lives for some sequences, then its books are closed and another one begins; every other one is divided
between two sets of hubs. It ends with 1 where books do not add up, where another hub sends too late, where one sends a
frame of a slice that is not its own, or where a hub that came back sends at once instead of standing by.
"""

import argparse
import asyncio
import random
import signal
import statistics
import sys
import time
from collections import Counter
from dataclasses import dataclass, field

from tests.club.county import FAULTS, FRESHNESS_SECONDS, LEASE_SECONDS, TAKE_OVER_SECONDS, County, county

MOST_FAULTS = 3
SEQUENCES_A_LIFE = 10
SHORTEST_SECONDS = 0.5
LONGEST_SECONDS = 8.0
PAST_FRESHNESS_SECONDS = FRESHNESS_SECONDS + 2.0
LONG_ONES = 0.1
"""So many of the faults last for longer than a frame stays fresh."""


@dataclass(slots=True)
class Tally:
    """What all counties came to."""

    sequences: int = 0
    faults: Counter[str] = field(default_factory=Counter)
    take_overs: list[float] = field(default_factory=list)
    unconfirmed: list[int] = field(default_factory=list)
    """Frames of which nobody knows whether they went, for each take-over."""

    offered: int = 0
    arrived: int = 0
    missing: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    """What does not hold; empty: all held."""

    def close(self, place: County) -> None:
        """Take the closed books of a county in."""
        account = place.account()
        self.offered += account.offered
        self.arrived += account.arrived
        self.missing += account.missing
        self.take_overs += place.take_overs
        for fault in account.faults:
            self.note(fault)

    def note(self, wrong: str) -> None:
        """Something does not hold."""
        self.wrong.append(wrong)
        print(f"does not hold: {wrong}", flush=True)

    def say(self) -> None:
        """All of it in some lines."""
        missing = ", ".join(f"{count} {why}" for why, count in sorted(self.missing.items()))
        print(f"{self.sequences} sequences, {self.faults.total()} faults: {dict(sorted(self.faults.items()))}")
        print(f"{self.offered} frames heard = {self.arrived} arrived once + {self.missing.total()} not ({missing})")
        if self.take_overs:
            print(
                f"{len(self.take_overs)} take-overs by a lease of {LEASE_SECONDS:g} s: "
                f"median {statistics.median(self.take_overs):.1f} s, worst {max(self.take_overs):.1f} s"
            )
            print(
                f"frames unconfirmed for each: median {statistics.median(self.unconfirmed):g}, "
                f"mean {statistics.mean(self.unconfirmed):.1f}, most {max(self.unconfirmed)}"
            )
        for what in self.wrong:
            print(f"does not hold: {what}")


async def one_fault(place: County, chance: random.Random, tally: Tally) -> None:
    """A fault with frames all the while, until all is well again."""
    harm, part = chance.choice(FAULTS)
    is_long = chance.random() < LONG_ONES
    seconds = PAST_FRESHNESS_SECONDS if is_long else chance.uniform(SHORTEST_SECONDS, LONGEST_SECONDS)
    tally.faults[f"{harm} {part}"] += 1
    before, take_overs = place.account().unconfirmed, len(place.take_overs)
    hearing = asyncio.create_task(place.hear(3600.0))
    await asyncio.sleep(chance.uniform(0.2, 1.0))
    lost = await place.suffer(harm, part, seconds)
    await place.until_all_is_well()
    place.hearing = False
    await hearing
    if lost is None:
        return
    tally.unconfirmed.append(place.account().unconfirmed - before)
    if lost in place.holders:
        tally.note(f"{harm} {part}: {lost.name} came back and sends")
    slow = [seconds for seconds in place.take_overs[take_overs:] if seconds > TAKE_OVER_SECONDS]
    if slow:
        tally.note(f"{harm} {part}: another hub sent after {slow[0]:.1f} s")
        print("\n".join(hub.last_words() for hub in place.hubs), flush=True)


async def one_life(sequences: int, draw: int, tally: Tally, *, divided: bool) -> None:
    """A county from its beginning to its end."""
    chance = random.Random(draw)
    begun = time.monotonic()
    async with county(draw, divided=divided) as place:
        for _ in range(sequences):
            try:
                for _ in range(chance.randint(1, MOST_FAULTS)):
                    await one_fault(place, chance, tally)
            except TimeoutError as error:  # what hangs in one county says nothing of the next
                tally.note(f"not all is well again: {error}")
                return
            tally.sequences += 1
            account = place.account()
            print(
                f"{tally.sequences:4} {time.monotonic() - begun:6.0f} s  {account.arrived}/{account.offered}, "
                f"{len(tally.wrong)} wrong, take-overs {[round(seconds, 1) for seconds in place.take_overs]}",
                flush=True,
            )
        await asyncio.sleep(FRESHNESS_SECONDS + 1)  # what waits has come to its end
        tally.close(place)


def _say_tasks() -> None:
    """On SIGUSR1: what everything waits for."""
    for task in asyncio.all_tasks():
        task.print_stack(limit=4)


async def main(sequences: int, draw: int, *, divided: bool) -> bool:
    """Whether everything held."""
    asyncio.get_running_loop().add_signal_handler(signal.SIGUSR1, _say_tasks)
    tally = Tally()
    for life, first in enumerate(range(0, sequences, SEQUENCES_A_LIFE)):
        is_divided = divided or bool(life % 2)
        print(f"county {life + 1}, draw {draw + life}{', divided' if is_divided else ''}", flush=True)
        await one_life(min(SEQUENCES_A_LIFE, sequences - first), draw + life, tally, divided=is_divided)
        tally.say()  # so far: whoever ends it early has something
    return not tally.wrong


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sequences", type=int, default=200)
    parser.add_argument("--draw", type=int, default=1)
    parser.add_argument("--divided", action="store_true", help="every county, and not every other one")
    chosen = parser.parse_args()
    sys.exit(0 if asyncio.run(main(chosen.sequences, chosen.draw, divided=chosen.divided)) else 1)
