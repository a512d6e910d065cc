"""How often a quiet receiver is told without need, and how soon a dead antenna is, on simulated posts over years.

About half a minute for each post and year. There is no baseline: nothing else tells.
"""

import statistics
from collections.abc import Iterator

from gateway.groundwork.part import State
from gateway.watches.quiet import QuietWatch
from tests.bench.figures import Effort, Figure
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
YEARS = 6


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


def measure(effort: Effort) -> Iterator[Figure]:
    """For each post, how often it is told without need in a year, and how soon a dead antenna is noticed."""
    years = 1 if effort.quick else YEARS
    for name, traits in POSTS.items():
        heard, alarms = 0, 0
        for draw in range(years):
            frames, times = told(ListeningPost(100 + draw, **traits), YEAR)  # type: ignore[arg-type]  # as POSTS says
            heard += frames
            alarms += len(times)
        yield Figure(f"{name}, told without need", alarms / years, "a year", f"{heard / years / YEAR:.0f} frames a day")
        for when, start in DEATHS.items():
            delays = []
            for draw in range(years):
                post = ListeningPost(200 + draw, dead=range(start, start + YEAR * DAY), **traits)  # type: ignore[arg-type]
                _, times = told(post, 40)
                delays += [(at - start) / HOUR for at in times[:1]]
            spread = f"{min(delays):.1f} to {max(delays):.1f} h"
            yield Figure(f"{name}, dead {when}, noticed", statistics.median(delays), "h", spread)
