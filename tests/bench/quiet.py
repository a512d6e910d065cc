"""How often a quiet receiver is told without need, and how soon a dead antenna is, on simulated posts over years.

Run from the tree: `python -m tests.bench.quiet [YEARS]`. About half a minute for each post and year.
"""

import statistics
import sys

from gateway.part import State
from gateway.watches.quiet import QuietWatch
from tests.watches.listening_post import DAY, HOUR, ListeningPost, listened

POSTS = {
    "a busy channel": {"fixed": 20.0, "boats": 80.0, "commuters": 10},
    "a usual one": {"fixed": 6.0, "boats": 20.0, "commuters": 4},
    "a beacon alone": {"fixed": 6.0, "boats": 0.0, "commuters": 0},
    "a lonely post": {"fixed": 1.0, "boats": 3.0, "commuters": 1},
    "cars of the week alone": {"fixed": 0.2, "boats": 0.0, "commuters": 12},
}
DEATHS = {"at noon": 25 * DAY + 12 * HOUR, "at night": 25 * DAY + 2 * HOUR}
YEAR = 365


def told(post: ListeningPost, days: int) -> tuple[int, list[int]]:
    """How many frames it heard, and when it was told to be quiet, in milliseconds after the start."""
    watch = QuietWatch(["post"])
    heard, quiet, times = 0, False, []
    for moment, frames in post.hear(days):
        heard += frames
        watch.heard("post", moment, frames)
        is_quiet = listened(watch, "post", moment).state is State.QUIET
        if is_quiet and not quiet:
            times.append(moment.elapsed_ms)
        quiet = is_quiet
    return heard, times


def main(years: int) -> None:
    """Print a line for each post."""
    for name, traits in POSTS.items():
        heard, alarms = 0, 0
        for draw in range(years):
            frames, times = told(ListeningPost(100 + draw, **traits), YEAR)  # type: ignore[arg-type]  # as POSTS says
            heard += frames
            alarms += len(times)
        print(f"{name}: {heard / years / YEAR:.0f} frames a day; {alarms} alarms without need in {years} years")
        for when, start in DEATHS.items():
            delays = []
            for draw in range(years):
                post = ListeningPost(200 + draw, dead=range(start, start + YEAR * DAY), **traits)  # type: ignore[arg-type]
                _, times = told(post, 40)
                delays += [(at - start) / HOUR for at in times[:1]]
            spread = f"{min(delays):.1f} to {max(delays):.1f} h, half within {statistics.median(delays):.1f} h"
            print(f"  an antenna that dies {when} is noticed after {spread}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2)
