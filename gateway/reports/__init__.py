"""What a frame's information says: from the information field to a typed `Report`. No I/O and no state.

A file per family of reports; `reading` holds the one table from the data type octet to its reader. Reading is for the
house and for policies that ask: whether a frame may go up never depends on it, but for calls for help.
"""

from gateway.reports.measured import Definition, Storm, StormType, Telemetry, Weather
from gateway.reports.place import (
    Antenna,
    AreaShape,
    DrawnArea,
    Fix,
    Frequency,
    Movement,
    Position,
    Range,
    Signal,
    Written,
)
from gateway.reports.published import load_schema, to_object
from gateway.reports.reading import is_emergency, read
from gateway.reports.report import (
    BulletinReport,
    BulletinType,
    CapabilitiesReport,
    ItemReport,
    Kind,
    Located,
    LocatedReport,
    MessageReport,
    MessageType,
    MicE,
    ObjectReport,
    PositionReport,
    QueryReport,
    Report,
    StatusReport,
    TelemetryReport,
    UnknownReport,
    UserDefinedReport,
    WeatherReport,
)
from gateway.reports.words import describe

__all__ = [
    "Antenna",
    "AreaShape",
    "BulletinReport",
    "BulletinType",
    "CapabilitiesReport",
    "Definition",
    "DrawnArea",
    "Fix",
    "Frequency",
    "ItemReport",
    "Kind",
    "Located",
    "LocatedReport",
    "MessageReport",
    "MessageType",
    "MicE",
    "Movement",
    "ObjectReport",
    "Position",
    "PositionReport",
    "QueryReport",
    "Range",
    "Report",
    "Signal",
    "StatusReport",
    "Storm",
    "StormType",
    "Telemetry",
    "TelemetryReport",
    "UnknownReport",
    "UserDefinedReport",
    "Weather",
    "WeatherReport",
    "Written",
    "describe",
    "is_emergency",
    "load_schema",
    "read",
    "to_object",
]
