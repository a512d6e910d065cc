"""Telemetry memory: what each station says that its values mean, and the values scaled by it. No I/O, no clock.

A station tells the names, units, coefficients and bit senses of its telemetry in messages to itself (APRS101 chapter
13), now and then; its values come bare, in reports of their own or in a comment.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from pydantic.dataclasses import dataclass as checked_dataclass

from gateway.feed.heard_object import HeardPayload
from gateway.frames.header import is_network_callsign
from gateway.frames.plain import PlainObject
from gateway.groundwork.bounded import BoundedMapping
from gateway.groundwork.remembered import Past, pieces_of
from gateway.judge.verdict import Judged
from gateway.reports import (
    Definition,
    MessageReport,
    PositionReport,
    Report,
    Telemetry,
    TelemetryReport,
    WeatherReport,
    read,
)

MEANINGS_OF_A_PIECE = 100
"""Of a dump: making so many plain takes half a millisecond."""

REMEMBERED_MEANINGS = 8
"""How many meanings of one station are kept: a definition comes in four messages, and a new one in four more."""

VALUES = 5
"""Measured values of one report; the bits come after them in names and units (APRS101 chapter 13)."""

SIGNIFICANT_DIGITS = 9
"""Of a scaled value: far more than what was measured can mean, and fewer than show the rounding of binary numbers."""

_Coefficients = Annotated[tuple[tuple[float, float, float], ...], Field(max_length=VALUES)]
_Labels = Annotated[tuple[str, ...], Field(max_length=13)]


@checked_dataclass(frozen=True, slots=True, config=ConfigDict(allow_inf_nan=False))
class Meaning:
    """What a station has said of its telemetry so far; what it did not say is None."""

    names: _Labels | None = None
    """Of up to five values, then up to eight bits."""

    units: _Labels | None = None
    """In the same order; for a bit, the word for the state in which it is on."""

    coefficients: _Coefficients | None = None
    senses: str | None = None
    """For each bit, the state in which it is on."""

    def with_more(self, definition: Definition) -> "Meaning":
        """This, with what one more message says: each message brings one of the four."""
        return Meaning(
            definition.telemetry_names or self.names,
            definition.telemetry_units or self.units,
            definition.telemetry_coefficients or self.coefficients,
            definition.telemetry_senses or self.senses,
        )

    def channels(self, telemetry: Telemetry) -> list[PlainObject]:
        """The values and bits of one report, by name. Where names are known, what has none is not in use."""
        values = enumerate(telemetry.analogue[:VALUES])
        bits = enumerate(telemetry.digital or "", VALUES)
        channels = [self._channel(place, f"A{place + 1}", self._scaled(place, value)) for place, value in values]
        channels += [self._channel(place, f"B{place - VALUES + 1}", self._is_on(place, bit)) for place, bit in bits]
        return [channel for channel in channels if channel is not None]

    def _channel(self, place: int, usual_name: str, value: float | None) -> PlainObject | None:
        name = usual_name if self.names is None else _at(self.names, place)
        if not name:
            return None
        unit = _at(self.units or (), place)
        return {"name": name, "value": value, "unit": unit} if unit else {"name": name, "value": value}

    def _scaled(self, place: int, value: float | None) -> float | None:
        """a·v² + b·v + c; as sent where the station gave no coefficients."""
        if value is None or self.coefficients is None or place >= len(self.coefficients):
            return value
        a, b, c = self.coefficients[place]
        return float(f"{a * value * value + b * value + c:.{SIGNIFICANT_DIGITS}g}")

    def _is_on(self, place: int, bit: str) -> bool:
        """Whether the bit is in the state that its sense names; without one, 1 is on."""
        return bit == (_at(self.senses or "", place - VALUES) or "1")


def _at(labels: Sequence[str], place: int) -> str:
    return labels[place] if place < len(labels) else ""


@dataclass(slots=True)
class _StationMeanings:
    """The meanings of one station's telemetry, each with the sequence number of the frame that brought it."""

    meanings: list[tuple[int, Meaning]]

    def at(self, sequence: int) -> Meaning | None:
        """What was known once the frame with this number was heard."""
        return next((meaning for since, meaning in reversed(self.meanings) if since <= sequence), None)

    def add(self, sequence: int, meaning: Meaning) -> None:
        self.meanings.append((sequence, meaning))
        del self.meanings[:-REMEMBERED_MEANINGS]


_stations = TypeAdapter(dict[str, Meaning])


class TelemetryMemory:
    """What stations say of their telemetry: `limit` of them, the least recently heard making room for a new one.

    Frames are told by their sequence numbers, so that what a frame is shown with depends on what was heard before it,
    not on when someone asks. They outlive a restart, as `remembered.Remembered` has it.
    """

    name = "telemetry"
    version = 1
    every_ms = 1_800_000

    def __init__(self, limit: int = 5000) -> None:
        self.revision = 0
        """How often a station said something new of its telemetry."""

        self._stations = BoundedMapping[str, _StationMeanings](limit)

    def __len__(self) -> int:
        return len(self._stations)

    def hear(self, judged: Judged) -> None:
        """Remember what a frame says of its sender's telemetry, if it may say something.

        Asked of every frame, so the cheapest question comes first.
        """
        frame = judged.innermost
        if frame is None:
            return
        self._stations.renew(frame.source)
        information = frame.information
        if information.startswith(b":") and information[1:10].rstrip(b" ") == frame.source.encode("ascii"):
            self.take(frame.source, read(frame.destination, judged.information), judged.heard.sequence)

    def recall(self, heard: HeardPayload) -> None:
        """It was heard before the restart."""
        self.hear(heard.judged)

    def take(self, source: str, report: Report, sequence: int) -> None:
        """Remember what the report in the frame with this sequence number says of the telemetry of its `source`.

        A source that the network would not take as a callsign is no station: the air can make them up without end.
        """
        if not isinstance(report, MessageReport) or report.definition is None or report.addressee != source:
            return
        remembered = self._stations.get(source)
        if remembered is None:
            if not is_network_callsign(source):
                return
            remembered = self._stations[source] = _StationMeanings([])
        before = remembered.meanings[-1][1] if remembered.meanings else Meaning()
        meaning = before.with_more(report.definition)
        if meaning != before:
            remembered.add(sequence, meaning)
            self.revision += 1

    def channels(self, source: str, report: Report, sequence: int) -> list[PlainObject] | None:
        """The telemetry of a report in the published form (`channels`), by what was known when it was heard.

        None where it has none, or where its source has said nothing of it.
        """
        telemetry = _telemetry_of(report)
        remembered = self._stations.get(source)
        if telemetry is None or remembered is None:
            return None
        meaning = remembered.at(sequence)
        return None if meaning is None else meaning.channels(telemetry) or None

    def dump(self) -> Iterator[PlainObject]:
        """All that is known, in pieces, to be kept over a restart."""
        for stations in pieces_of(self._stations, MEANINGS_OF_A_PIECE):
            meanings = {source: remembered.meanings[-1][1] for source, remembered in stations}
            yield {"stations": _stations.dump_python(meanings, mode="json", exclude_none=True)}

    def restore(self, piece: Mapping[str, Any], past: Past[HeardPayload]) -> None:  # noqa: ARG002 - it has no times
        """Take in a piece that `dump` gave out before the restart. What is of another shape is left out."""
        stations = piece.get("stations")
        if not isinstance(stations, Mapping):
            return
        for source, meaning in stations.items():
            try:
                restored = _stations.validate_python({source: meaning})
            except ValidationError:
                continue
            self._stations.update((name, _StationMeanings([(0, meaning)])) for name, meaning in restored.items())


def _telemetry_of(report: Report) -> Telemetry | None:
    """What the sender measured. What a thing that it placed on the map measured is no channel of its own."""
    if isinstance(report, TelemetryReport):
        return report.telemetry
    if isinstance(report, PositionReport | WeatherReport):
        return report.located.telemetry
    return None
