"""The metrics of a post: what its health says, in the names and units that Prometheus expects."""

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from gateway import __version__
from gateway.feed.health import Health
from gateway.judge.verdict import Decision, Reason
from gateway.part import State
from gateway.web.exposition import Family, Sample, by_label, counter, gauge

_PROCESS = Path("/proc/self")


@dataclass(frozen=True, slots=True)
class WebNumbers:
    """What the web knows itself."""

    stations: int
    last_heard_ms: int | None
    started_ms: int
    streams: int
    streams_dropped: int
    streams_turned_away: int
    events_missed: int
    connections: int
    refused: Mapping[str, int]
    """Requests that were not answered, by why not: a closed set."""

    failed: int


def of_health(health: Health) -> Iterable[Family]:
    """What became of every frame, and how every part is."""
    counts = health.counts
    judged = {Decision.FORWARD.value: counts.forward, Decision.KEEP.value: counts.keep}
    yield counter("stile_frames_heard_total", "Frames heard, by all receivers.", counts.heard)
    yield counter("stile_frames_judged_total", "Frames by verdict; they add up to heard.", by_label("verdict", judged))
    kept = {reason.value: counts.kept.get(reason, 0) for reason in Reason}
    yield counter("stile_frames_kept_total", "Frames kept at home, by reason.", by_label("reason", kept))
    if counts.outcomes is not None:
        told = "What became of the frames judged forward; with those waiting they add up."
        yield counter("stile_forward_outcomes_total", told, by_label("outcome", counts.outcomes))
        yield gauge("stile_forward_waiting", "Frames judged forward that wait in the uplink.", counts.waiting)
    yield counter("stile_emergencies_heard_total", "Emergencies heard. Not a distress watch.", counts.emergencies)
    past_rates = health.past_rates.total  # by whom, health says: nothing from the air is a label
    told = "Emergencies judged forward: no rate was asked."
    yield counter("stile_emergency_frames_past_rates_total", told, past_rates.frames)
    told = "Octets of their lines: no budget was asked."
    yield counter("stile_emergency_octets_past_rates_total", told, past_rates.octets)
    states = [
        Sample(float(part.state is state), {"kind": part.kind.value, "part": part.name, "state": state.value})
        for part in health.parts
        for state in State
    ]
    yield gauge("stile_part_state", "1 for the state that a part is in, 0 for the others.", states)
    since = [Sample(part.since_ms / 1000, {"kind": part.kind.value, "part": part.name}) for part in health.parts]
    yield gauge("stile_part_state_since_timestamp_seconds", "Since when a part is in its state.", since)
    shed = [
        Sample(count, {"sink": sink, "carries": carries})
        for sink, of_sink in health.shed.items()
        for carries, count in of_sink.items()
    ]
    yield counter("stile_shed_total", "Dropped, as a sink could not keep up, by what it carries.", shed)


def of_web(numbers: WebNumbers) -> Iterable[Family]:
    """What the web knows itself."""
    yield gauge("stile_build_info", "Always 1; the version stands in the label.", [Sample(1, {"version": __version__})])
    yield gauge("stile_run_start_timestamp_seconds", "When this run began.", numbers.started_ms / 1000)
    yield gauge("stile_stations", "Stations remembered.", numbers.stations)
    if numbers.last_heard_ms is not None:
        told = "When the last frame was heard."
        yield gauge("stile_last_heard_timestamp_seconds", told, numbers.last_heard_ms / 1000)
    yield gauge("stile_event_streams", "Open event streams.", numbers.streams)
    told = "Event streams that ended as their clients did not read."
    yield counter("stile_event_streams_dropped_total", told, numbers.streams_dropped)
    told = "Clients for whom there was no room for an event stream."
    yield counter("stile_event_streams_turned_away_total", told, numbers.streams_turned_away)
    told = "Events that a stream did not get, as its client was away or too slow."
    yield counter("stile_event_stream_missed_total", told, numbers.events_missed)
    yield gauge("stile_http_connections", "Open HTTP connections, event streams too.", numbers.connections)
    told = "Requests refused, by why."
    yield counter("stile_http_refused_total", told, by_label("why", numbers.refused))
    yield counter("stile_web_failed_total", "Objects that could not be encoded: a fault.", numbers.failed)


def of_process() -> Iterable[Family]:
    """What this process takes, by the names that Prometheus' own clients use; nothing where the system does not say."""
    times = os.times()
    told = "Processor time that the gateway has used, its own and the system's on its behalf."
    yield counter("process_cpu_seconds_total", told, times.user + times.system)
    try:
        pages = int((_PROCESS / "statm").read_text("ascii").split()[1])
        files = len(os.listdir(_PROCESS / "fd"))  # noqa: PTH208 - the names are only counted
    except (OSError, ValueError, IndexError):
        return
    told = "Memory of the machine that the gateway holds at this moment."
    yield gauge("process_resident_memory_bytes", told, pages * os.sysconf("SC_PAGE_SIZE"))
    yield gauge("process_open_fds", "Files, sockets and pipes that the gateway has open.", files)
