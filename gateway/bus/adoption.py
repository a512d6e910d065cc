"""Takes in the stations that the broker holds and that are not remembered here: after a restart without a journal.

What the broker holds was published by a gateway of ours, or by anyone who may write there: it is taken in as far as it
is a heard object with a memory beside it, as old as the clock says. Only what is too old is left to be cleared.
"""

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from gateway.feed.heard_object import HeardPayload, Reader, encode, judged_from, no_report
from gateway.feed.latest import latest_from
from gateway.feed.stations import Memory, Station, Stations
from gateway.frames.heard import Moment
from gateway.frames.plain import PlainFormError, from_rfc3339
from gateway.groundwork.clocks import is_plausible, is_synchronised

MAXIMUM_OCTETS = 64 * 1024
"""Many times the longest station object."""


class Adoption:
    """Fills one memory of stations."""

    def __init__(
        self,
        stations: Stations,
        now: Callable[[], Moment],
        read: Reader = no_report,
        is_trusted: Callable[[], bool] = is_synchronised,
    ) -> None:
        """`is_trusted` says whether the wall clock tells how long ago something was; `read` reads reports."""
        self._stations = stations
        self._now = now
        self._read = read
        self._is_trusted = is_trusted
        self._clock_is_trusted = False

    def begin(self) -> None:
        """The broker is about to tell what it holds."""
        self._clock_is_trusted = self._is_trusted()

    def adopt(self, name: str, payload: bytes) -> Station | None:
        """The station `name`, taken in from what the broker holds; None where that is not to be."""
        adopted = _read(name, payload)
        if adopted is None:
            return None
        last, memory, latest = adopted
        moment = last.judged.heard.moment
        now = self._now()
        age_ms = 0
        if self._clock_is_trusted and is_plausible(moment.time_ms):
            age_ms = max(0, now.time_ms - moment.time_ms)
        if age_ms >= self._stations.forget_ms:
            return None
        heard = replace(last.judged.heard, moment=Moment(now.elapsed_ms - age_ms, moment.time_ms))
        last = HeardPayload(replace(last.judged, heard=heard), self._read, encoded=last.encoded())
        return self._stations.adopt(last, memory, latest_from(latest))


def _read(name: str, payload: bytes) -> tuple[HeardPayload, Memory, Any] | None:
    """The frame, the memory and what is followed in a station object; None where it is none of `name`."""
    try:
        plain = json.loads(payload) if len(payload) <= MAXIMUM_OCTETS else None
        if not isinstance(plain, dict):
            return None
        memory_fields = plain.pop("memory")
        judged = judged_from(plain)
        if judged.innermost is None or judged.innermost.source != name:
            return None
        direct = memory_fields.get("last_heard_direct")
        memory = Memory(
            from_rfc3339(memory_fields["first_heard"]),
            int(memory_fields["frames"]),
            None if direct is None else from_rfc3339(direct),
        )
        return HeardPayload(judged, encoded=encode(plain)), memory, memory_fields
    except (PlainFormError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        return None
