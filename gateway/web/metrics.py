"""The metrics of a post: what its health says, in the names and units that Prometheus expects."""

import os
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from gateway import __version__
from gateway.feed.health import Health
from gateway.groundwork.part import Figure, FigureKind, State, counter, gauge

_PROCESS = Path("/proc/self")


def of_health(health: Health) -> Iterable[Figure]:
    """What became of every frame, how every part is, and what each counts."""
    yield from (_named(figure, {}) for figure in health.counts.figures())
    past_rates = health.watched.get("past_rates")  # by whom, health says: nothing from the air is a label
    if past_rates is not None:
        help_text = "Emergencies judged forward: no rate was asked."
        yield counter("stile_emergency_frames_past_rates_total", past_rates["frames"], help_text)
        help_text = "Octets of their lines: no budget was asked."
        yield counter("stile_emergency_octets_past_rates_total", past_rates["octets"], help_text)
    for part in health.parts:
        labels = {"kind": part.kind.value, "part": part.name}
        for state in State:
            help_text = "1 for the state that a part is in, 0 for the others."
            yield gauge("stile_part_state", float(part.state is state), help_text, **labels, state=state.value)
        help_text = "Since when a part is in its state."
        yield gauge("stile_part_state_since_timestamp_seconds", part.since_ms / 1000, help_text, **labels)
        yield from (_named(figure, labels) for figure in health.figures.get(part, ()))


def _named(figure: Figure, labels: Mapping[str, str]) -> Figure:
    """A figure by its whole name, with labels before its own."""
    ending = "_total" if figure.kind is FigureKind.COUNTER else ""
    return replace(figure, name=f"stile_{figure.name}{ending}", labels={**labels, **figure.labels})


def of_run(started_ms: int, last_heard_ms: int | None, stations: int) -> Iterable[Figure]:
    """What the web knows itself of this run. Times are Unix milliseconds."""
    yield gauge("stile_build_info", 1, "Always 1; the version stands in the label.", version=__version__)
    yield gauge("stile_run_start_timestamp_seconds", started_ms / 1000, "When this run began.")
    yield gauge("stile_stations", stations, "Stations remembered.")
    if last_heard_ms is not None:
        yield gauge("stile_last_heard_timestamp_seconds", last_heard_ms / 1000, "When the last frame was heard.")


def of_process() -> Iterable[Figure]:
    """What this process takes, by the names that Prometheus' own clients use; nothing where the system does not say."""
    times = os.times()
    help_text = "Total user and system CPU time spent in seconds."
    yield counter("process_cpu_seconds_total", times.user + times.system, help_text)
    try:
        pages = int((_PROCESS / "statm").read_text("ascii").split()[1])
        files = len(os.listdir(_PROCESS / "fd"))  # noqa: PTH208 - the names are only counted
    except (OSError, ValueError, IndexError):
        return
    help_text = "Resident memory size in bytes."
    yield gauge("process_resident_memory_bytes", pages * os.sysconf("SC_PAGE_SIZE"), help_text)
    yield gauge("process_open_fds", files, "Number of open file descriptors.")
