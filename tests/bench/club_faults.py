"""Random sequences of faults in a county of real processes: nothing twice, nothing late, everything accounted for.

    python -m tests.bench.club_faults --sequences 200 --draw 1

Every sequence is one to three faults, each for a random time, in one county that goes on; at the end of each, every
hub and post is well again. It ends with 1 at the first sequence whose books do not add up.
"""

import argparse
import asyncio
import random
import signal
import statistics
import sys
import time

from tests.club.county import FAULTS, TAKE_OVER_SECONDS, County, Harm, Part, county

MOST_FAULTS = 3


async def sequence(place: County, chance: random.Random) -> list[tuple[Harm, Part]]:
    """One sequence, with frames all the while."""
    done = []
    for _ in range(chance.randint(1, MOST_FAULTS)):
        harm, part = chance.choice(FAULTS)
        print(f"      {harm} {part}", flush=True)
        hearing = asyncio.create_task(place.hear(3600.0))
        await asyncio.sleep(chance.uniform(0.2, 1.0))
        await place.suffer(harm, part, chance.uniform(0.5, 8.0))
        await place.until_all_is_well()
        place.hearing = False
        await hearing
        done.append((harm, part))
    await place.hear(1.0)
    await place.until_it_sends() if not place.network.arrivals else None
    await asyncio.sleep(1.0)
    return done


def _say_tasks() -> None:
    """On SIGUSR1: what everything waits for."""
    for task in asyncio.all_tasks():
        task.print_stack(limit=4)


async def main(sequences: int, draw: int) -> bool:
    """Whether everything held."""
    chance = random.Random(draw)
    asyncio.get_running_loop().add_signal_handler(signal.SIGUSR1, _say_tasks)
    begun = time.monotonic()
    async with county(draw) as place:
        for number in range(1, sequences + 1):
            done = await sequence(place, chance)
            await asyncio.sleep(11.0 if number == sequences else 0.0)  # what waits has come to its end
            account = place.account()
            names = ", ".join(f"{harm} {part}" for harm, part in done)
            bad = account.twice or account.late or (account.unexplained and number == sequences)
            print(
                f"{number:4} {time.monotonic() - begun:7.0f} s  {account.arrived}/{account.offered} {names}", flush=True
            )
            slow = [seconds for seconds in place.take_overs if seconds > TAKE_OVER_SECONDS]
            if bad or slow:
                print(f"twice {account.twice[:5]}, late {account.late[:5]}, slow {slow}, {account.unexplained[:5]}")
                return False
        print(f"offered {account.offered} = arrived {account.arrived} + {dict(account.missing)}")
        print(f"unexplained: {account.unexplained[:10]}")
        times = place.take_overs
        if times:
            unconfirmed = account.missing["unconfirmed"] / len(times)
            print(
                f"{len(times)} take-overs: median {statistics.median(times):.1f} s, worst {max(times):.1f} s "
                f"(lease 2 s), unconfirmed {unconfirmed:.1f} frames for each"
            )
        return account.adds_up


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sequences", type=int, default=200)
    parser.add_argument("--draw", type=int, default=1)
    chosen = parser.parse_args()
    sys.exit(0 if asyncio.run(main(chosen.sequences, chosen.draw)) else 1)
