"""The parts of a report that say where something is, how it moves, and how it is heard there.

Their fields carry the names that are published; units stand in the names; a field that was not sent is None.
"""

from dataclasses import dataclass
from enum import StrEnum


class Written(StrEnum):
    """How a position was written."""

    PLAIN_TEXT = "plain-text"
    COMPRESSED = "compressed"
    MIC_E = "mic-e"
    RAW_NMEA = "raw-nmea"


class Fix(StrEnum):
    """Whether a compressed position is where its sender is, or where it last was sure to be (APRS101 chapter 9)."""

    CURRENT = "current"
    OLD = "old"


@dataclass(frozen=True, slots=True)
class Position:
    """A place on the earth, WGS 84, degrees, north and east positive. Where it is blurred, the centre of the blur."""

    latitude: float
    longitude: float
    written: Written
    ambiguity: int | None = None
    """How many digits of the minutes were blanked, 0 to 4; None where the format cannot."""
    ambiguity_m: float | None = None
    """How far the cell that is left reaches from south to north."""
    datum: str | None = None
    """The letter of the datum, where it is named (APRS12): W is WGS 84."""


@dataclass(frozen=True, slots=True)
class Movement:
    """Over the ground; course from true north, which is 0 or 360."""

    course_deg: float | None
    speed_kmh: float | None


@dataclass(frozen=True, slots=True)
class Antenna:
    """What a fixed station says of its antenna. Power is left out by listeners that measure instead of transmit."""

    power_w: int | None
    antenna_height_m: float
    antenna_gain_db: int
    antenna_bearing_deg: int | None
    """Where it favours; None: all round."""
    signal_strength_s: int | None = None
    """How strongly a sought signal is heard, in S points."""
    beacons_per_hour: int | None = None


@dataclass(frozen=True, slots=True)
class Range:
    """How far a station reckons that it is heard."""

    range_km: float


class AreaShape(StrEnum):
    """How an area is drawn (APRS101 chapter 11)."""

    CIRCLE = "circle"
    LINE_RIGHT = "line-down-right"
    ELLIPSE = "ellipse"
    TRIANGLE = "triangle"
    BOX = "box"
    FILLED_CIRCLE = "filled-circle"
    LINE_LEFT = "line-down-left"
    FILLED_ELLIPSE = "filled-ellipse"
    FILLED_TRIANGLE = "filled-triangle"
    FILLED_BOX = "filled-box"


@dataclass(frozen=True, slots=True)
class DrawnArea:
    """A drawing on the map, from a corner given as the position."""

    area_shape: AreaShape
    area_colour: str
    area_latitude_span_deg: float
    area_longitude_span_deg: float
    area_corridor_km: float | None = None
    """How far to either side of a line it reaches."""


Extension = Movement | Antenna | Range | DrawnArea
"""The one data extension that a position may carry (APRS101 chapter 7, for compressed ones chapter 9)."""


@dataclass(frozen=True, slots=True)
class Signal:
    """Where a direction finder hears a sought signal. The last three are None where nothing was counted."""

    signal_bearing_deg: int
    signal_hits_pct: float | None = None
    signal_range_km: float | None = None
    signal_width_deg: int | None = None
    """The bearing is good to within this; None: useless."""


@dataclass(frozen=True, slots=True)
class Frequency:
    """Where a station is listened to by voice (APRS12)."""

    frequency_mhz: float
    frequency_offset_mhz: float | None = None
    tone_hz: int | None = None
    """Whole hertz, as sent: 88 says 88.5."""
    tone_code: str | None = None
    """A digital squelch code, three octal digits."""
    range_km: float | None = None
    """How far it is heard."""
