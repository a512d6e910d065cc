"""What a frame's information says: from the information field to a typed `Report`. No I/O and no state.

A file per family of reports; `reading` holds the one table from the data type octet to its reader. Reading is for the
house and for policies that ask: whether a frame may go up never depends on it, but for calls for help.

| file | holds |
| --- | --- |
| `base91.py` | numbers in base 91: the printable characters `!` to `{` as digits 0 to 90 (APRS101 chapter 9) |
| `comment.py` | what a comment carries beside words: altitude, a finer position, telemetry, a frequency |
| `compressed.py` | compressed positions: thirteen octets for place, symbol and one thing more (APRS101 chapter 9) |
| `distance.py` | how far, and in which direction: the shortest line on the WGS 84 ellipsoid between two points |
| `extension.py` | data extensions |
| `kinds.py` | what kind of report it is, told from the first octets where these leave no doubt |
| `locator.py` | Maidenhead locators, both ways: fields of 20° by 10°, squares of 2° by 1° |
| `measured.py` | the parts of a report that hold what was measured: weather, storms |
| `message.py` | messages, their acknowledgements, bulletins |
| `mic_e.py` | Mic-E: a position split between the destination address and the information (APRS101 chapter 10) |
| `moment.py` | the times that reports carry |
| `nmea.py` | sentences of a navigation receiver, passed on as they are (APRS101 chapters 5 and 8; NMEA 0183) |
| `object.py` | objects and items: things that a station puts on the map and takes off again (APRS101 chapter 11) |
| `place.py` | the parts of a report that say where something is, how it moves, and how it is heard there |
| `position.py` | positions, plain and compressed, with and without time and messages |
| `published.py` | a report as the flat JSON object that the house gets |
| `query.py` | queries, to every station or to one, and what stations answer of their abilities (APRS101 chapter 15) |
| `reading.py` | the one table from a data type octet to its reader (APRS101 chapter 5) |
| `report.py` | what a report can say |
| `status.py` | status texts, and the beacons of a bare locator that they replaced (APRS101 chapters 8 and 16) |
| `storm.py` | storms: what follows course and speed of a tropical storm on the map (APRS101 chapter 12) |
| `symbol.py` | symbols: which picture a station asks to be shown by |
| `telemetry.py` | telemetry: measured values |
| `text.py` | text from the air, made fit to be shown: printable, on one line, in the direction it is written |
| `units.py` | what the air counts in, and what we publish: SI and metric |
| `user_defined.py` | formats of somebody's own, told by two characters (APRS101 chapter 18) |
| `weather.py` | weather that comes without a place (APRS101 chapter 12) |
| `weather_fields.py` | the fields of a weather report, one after another: a letter |
| `weather_record.py` | raw records that some weather stations put on the air without a word around them |
| `words.py` | a report in plain words, for people: each fact with its label |
"""

from gateway.reports.kinds import kind_of
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
from gateway.reports.words import describe, describe_object

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
    "describe_object",
    "is_emergency",
    "kind_of",
    "load_schema",
    "read",
    "to_object",
]
