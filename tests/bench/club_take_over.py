"""How soon another hub sends, and what the time goes to: the sending hub's connection to the engine alone is cut.

    python -m tests.bench.club_take_over --count 30
    python -m tests.bench.club_take_over --count 30 --shaken

With `--shaken` the server that leads the store of the lease is cut off for a moment right before, and nobody waits
until all is well again: requests of the hubs are lost with their answers. A row for each take-over: until the hub that
took the lease last saw it change; how long it then saw it unchanged; from the taking to its first line.
"""

import argparse
import asyncio
import random
import re
import statistics
import sys
import time

from nats.aio.client import Client
from nats.aio.msg import Msg

from gateway.club.lease import read_record
from gateway.club.subjects import Subjects
from tests.club.county import LEASE_SECONDS, TAKE_OVER_SECONDS, County, Harm, Part, county

LEASE_KEY = f"$KV.{Subjects('wrackholm').keys}.lease"
LEASE_STREAM = f"KV_{Subjects('wrackholm').keys}"
SHAKEN_SECONDS = (0.3, 3.0)
_TOOK = re.compile(r"this hub sends for the club now.*lease_unchanged_ms=(\d+)")


class Witness:
    """Sees at every server of the engine who asks to write the lease, and when."""

    def __init__(self) -> None:
        self.first_by_epoch: dict[int, float] = {}
        """When an epoch was first asked for."""

        self._clients: list[Client] = []

    async def watch(self, place: County) -> None:
        """See everything from now on."""
        for url in place.engine.urls:
            client = Client()
            await client.connect([url])
            await client.subscribe(LEASE_KEY, cb=self._saw)
            self._clients.append(client)

    async def close(self) -> None:
        """See nothing more."""
        for client in self._clients:
            await client.close()

    async def _saw(self, message: Msg) -> None:
        record = read_record(message.data)
        self.first_by_epoch.setdefault(record.epoch, time.monotonic())


async def one_take_over(place: County, witness: Witness, chance: random.Random, *, shaken: bool) -> str:
    """Cut, wait for the other hub's first line, and mend; gives back the row."""
    hearing = asyncio.create_task(place.hear(3600.0))
    await asyncio.sleep(chance.uniform(0.2, 1.0))
    if shaken:
        await place.suffer(Harm.CUT, Part.LEADER, chance.uniform(*SHAKEN_SECONDS), LEASE_STREAM)
    begun = time.monotonic()
    lost = await place.suffer(Harm.CUT, Part.ENGINE_ALONE, 0.0)
    seconds = place.take_overs[-1]
    asked = [when for when in witness.first_by_epoch.values() if when >= begun]
    await place.until_all_is_well()
    place.hearing = False
    await hearing
    taker = next(hub for hub in place.hubs if hub is not lost)
    unchanged = _TOOK.findall(taker.file.with_suffix(".log").read_text("utf-8", "replace"))
    if not asked or not unchanged:
        return f"{seconds:6.2f}  the lease was another's before the cut"
    taken, stood = asked[0] - begun, int(unchanged[-1]) / 1000
    return f"{seconds:6.2f} = {taken - stood:5.2f} + {stood:5.2f} + {seconds - taken:5.2f}"


async def main(count: int, draw: int, *, shaken: bool) -> bool:
    """Whether every take-over was soon enough."""
    chance, witness = random.Random(draw), Witness()
    async with county(draw) as place:
        await witness.watch(place)
        try:
            print(f"lease {LEASE_SECONDS:g} s: seconds until another hub sends = last change + unchanged + to the line")
            for number in range(1, count + 1):
                print(f"{number:3} {await one_take_over(place, witness, chance, shaken=shaken)}", flush=True)
        finally:
            await witness.close()
    found = place.take_overs
    print(f"{len(found)} take-overs: median {statistics.median(found):.1f} s, worst {max(found):.1f} s")
    return max(found) <= TAKE_OVER_SECONDS


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--draw", type=int, default=1)
    parser.add_argument("--shaken", action="store_true", help="cut the lease's leader off for a moment before each")
    chosen = parser.parse_args()
    sys.exit(0 if asyncio.run(main(chosen.count, chosen.draw, shaken=chosen.shaken)) else 1)
