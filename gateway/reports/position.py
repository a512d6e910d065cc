"""Positions, plain and compressed, with and without time and messages, and whatever may follow a place.

APRS101 chapters 6 to 9, 12 for the weather at a place. Objects and items read their places here, too.
"""

import re
from dataclasses import replace

from gateway.reports import compressed, extension, storm, units, weather_fields, weather_record
from gateway.reports.comment import read as read_comment
from gateway.reports.comment import refined
from gateway.reports.measured import Weather
from gateway.reports.moment import TIME_OCTETS, ReportMoment, is_time, read_time
from gateway.reports.place import Extension, Fix, Movement, Position, Written
from gateway.reports.report import Located, PositionReport, Report, Unreadable, WeatherReport
from gateway.reports.symbol import known_symbol
from gateway.reports.text import clean

PLAIN_OCTETS = 19

LATEST_MARK = 40
"""A `!` up to this octet may begin a position in information that begins as none (APRS101 chapter 5)."""

_EXACT = re.compile(rb"([0-9]{2})([0-5][0-9]\.[0-9]{2})([NS])([!-~])([0-9]{3})([0-5][0-9]\.[0-9]{2})([EW])([!-~])")
# Trackers that round send sixty minutes for the next degree: these, too, are read below, since they are rare.
_BLURRED_MINUTES = rb"([0-5 ][0-9 ]|60(?=\.[0 ]{2}))\.([0-9 ]{2})"
_BLURRED = re.compile(
    rb"([0-9]{2})" + _BLURRED_MINUTES + rb"([NSns])([!-~])([0-9]{3})" + _BLURRED_MINUTES + rb"([EWew])([!-~])"
)
_MISSHAPEN_TIME = re.compile(rb"[0-9]{6}[^0-9]|[0-9A-Za-z .?-]{6}[zh/]")
_BLANKED_TAIL = re.compile(rb"[0-9]*( *)")

_SOUTH, _WEST = b"Ss", b"Ww"
_EQUALS, _AT = b"=@"
_UNKNOWN_PLACE_SYMBOL = "\\."
_WEATHER_CODE = "_"
_SIGNPOST_SYMBOL = "\\m"
_SIGN = re.compile(rb"\{([!-z|~ ]{1,3})\}")

_BLUR_MINUTES = (0.0, 0.1, 1.0, 10.0, 60.0)
"""The side of the cell that is left when so many digits are blanked (APRS101 chapter 6)."""

MOST_BLANKED = 4

Place = tuple[Position | None, str]
"""Where, if that is known, and the symbol."""


def blurred_minutes(digits: bytes, ambiguity: int) -> float:
    """The middle of the cell that is left of `digits` (minutes and hundredths) with the last `ambiguity` blanked."""
    digits_left = digits[: MOST_BLANKED - ambiguity] + b"0" * ambiguity
    return int(digits_left) / 100 + _BLUR_MINUTES[ambiguity] / 2


def blur_m(ambiguity: int) -> float | None:
    """How far that cell reaches from south to north, in metres; None where nothing is blanked."""
    return _BLUR_MINUTES[ambiguity] * units.METRES_PER_MINUTE_OF_LATITUDE or None


def read_located(data: bytes, at: int) -> Located:
    """Read the place at `at`, the symbol, the extension and the comment. Raises `Unreadable`.

    A digit begins a plain position, anything else a compressed one (APRS101 chapter 9).
    """
    match = _EXACT.match(data, at)
    if match is not None:
        return _plain(data, at + PLAIN_OCTETS, _exact_place(match))
    if data[at : at + 1].isdigit():
        return _plain(data, at + PLAIN_OCTETS, _blurred_place(data, at))
    return _compressed(data, at)


def read_timed_place(data: bytes, at: int) -> tuple[Located, ReportMoment | None]:
    """Read the time at `at` and the place behind it. Raises `Unreadable`.

    Where no time of a known form stands in front of a place, the place is read all the same, and `because` says what is
    missing. Any text can look like a compressed position, so before one the seven octets must resemble a time.
    """
    place_at = at + TIME_OCTETS
    if is_time(data, at):
        return read_located(data, place_at), read_time(data, at)
    if not (_EXACT.match(data, place_at) or _BLURRED.match(data, place_at) or _MISSHAPEN_TIME.match(data, at)):
        raise Unreadable("no time stands where one belongs")
    located = read_located(data, place_at)
    because = "; ".join(filter(None, ("the time is of a form that the standard does not know", located.because)))
    return replace(located, because=because), None


def _exact_place(match: re.Match[bytes]) -> Place:
    degrees_north, minutes_north, north, table, degrees_east, minutes_east, east, code = match.groups()
    latitude = int(degrees_north) + float(minutes_north) / 60
    longitude = int(degrees_east) + float(minutes_east) / 60
    if latitude > 90 or longitude > 180:  # noqa: PLR2004 - the globe's own numbers
        raise Unreadable("the position lies beyond the pole or the date line")
    symbol = (table + code).decode()
    if symbol == _UNKNOWN_PLACE_SYMBOL and latitude == 0 == longitude:
        return None, symbol  # APRS101 chapter 6: the null position of one who does not know
    if north == b"S":
        latitude = -latitude
    if east == b"W":
        longitude = -longitude
    return Position(latitude, longitude, Written.PLAIN_TEXT, 0), symbol


def _blurred_place(data: bytes, at: int) -> Place:
    """A place with digits blanked from the right, as many in both coordinates as in the more blurred.

    Letters of the hemispheres in lower case are read as well (common practice).

    The standard lets the latitude tell for both, and the longitude then keep its digits (APRS101 chapter 6). Where only
    the longitude has blanks it is believed: its sender meant to hide something.
    """
    match = _BLURRED.match(data, at)
    if match is None:
        raise Unreadable("neither a plain nor a compressed position stands where one belongs")
    degrees_north, minutes_north, hundredths_north, north, table = match.groups()[:5]
    degrees_east, minutes_east, hundredths_east, east, code = match.groups()[5:]
    digits_north, digits_east = minutes_north + hundredths_north, minutes_east + hundredths_east
    ambiguity = max(_blanked(digits_north), _blanked(digits_east))
    latitude = int(degrees_north) + blurred_minutes(digits_north, ambiguity) / 60
    longitude = int(degrees_east) + blurred_minutes(digits_east, ambiguity) / 60
    if latitude > 90 or longitude > 180:  # noqa: PLR2004 - the globe's own numbers
        raise Unreadable("the position lies beyond the pole or the date line")
    position = Position(
        -latitude if north in _SOUTH else latitude,
        -longitude if east in _WEST else longitude,
        Written.PLAIN_TEXT,
        ambiguity,
        blur_m(ambiguity),
    )
    return position, (table + code).decode()


def _blanked(digits: bytes) -> int:
    match = _BLANKED_TAIL.fullmatch(digits)
    if match is None:
        raise Unreadable("digits of the position are blanked, but not from the right")
    return len(match[1])


def _plain(data: bytes, at: int, place: Place) -> Located:
    """A plain position with what follows it at `at`."""
    symbol = place[1]
    if symbol[1] == _WEATHER_CODE:
        wind, fields_at = weather_fields.read_wind(data, at)
        observed = _observed(data, fields_at, place, wind)
        if observed is not None:
            return observed
    measured, after = extension.read(data, at, symbol)
    return _with_the_rest(data, after, place, measured)


def _compressed(data: bytes, at: int) -> Located:
    place = compressed.read_place(data, at)
    after = at + compressed.OCTETS
    measured, altitude_m, fix = compressed.read_extra(*data[after - 3 : after])
    if place[1][1] == _WEATHER_CODE:
        observed = _observed(data, after, place, _wind_of(measured), altitude_m, fix)
        if observed is not None:
            return observed
    return _with_the_rest(data, after, place, measured, altitude_m, fix)


def _with_the_rest(  # noqa: PLR0913, PLR0917 - as below
    data: bytes,
    at: int,
    place: Place,
    measured: Extension | None,
    altitude_m: float | None = None,
    fix: Fix | None = None,
) -> Located:
    """A place with what its symbol alone may have behind the extension, and with the comment."""
    signal = storming = sign = None
    symbol = place[1]
    if symbol == extension.FINDER_SYMBOL:
        signal, at = extension.read_signal(data, at)
    elif symbol[1] == storm.SYMBOL_CODE:
        storming, at = storm.read(data, at)
    elif symbol == _SIGNPOST_SYMBOL and (match := _SIGN.match(data, at)) is not None:
        sign, at = clean(match[1]) or None, match.end()
    located = _commented(data, at, place, measured, altitude_m, fix)
    if signal is None and storming is None and sign is None:
        return located  # nearly always
    if storming is not None:
        located = replace(located, storm=storming.storm, weather=storming.weather)
    return replace(located, signal=signal, sign=sign)


def _wind_of(extension: Extension | None) -> weather_fields.Values:
    """The wind that a compressed weather report gives as course and speed.

    Knots: the form has no other unit (APRS101 chapter 9), though its plain twin counts miles an hour.
    """
    if not isinstance(extension, Movement) or extension.speed_kmh is None:
        return {}
    return {"wind_deg": extension.course_deg, "wind_ms": extension.speed_kmh * units.MS_PER_KMH}


def _commented(  # noqa: PLR0913, PLR0917 - one call for every position: no object is made only to pass these
    data: bytes,
    at: int,
    place: Place,
    measured: Extension | None,
    altitude_m: float | None = None,
    fix: Fix | None = None,
) -> Located:
    """The whole, with its comment. An altitude in the comment is finer than one in three octets, and goes before it."""
    position, symbol = place
    text, altitude_in_comment_m, precision, telemetry, frequency = read_comment(data[at:])
    if precision is not None and position is not None:
        position = refined(position, precision)
    if altitude_in_comment_m is not None:
        altitude_m = altitude_in_comment_m
    shown_as, because = known_symbol(symbol)
    return Located(position, shown_as, measured, altitude_m, text, frequency, telemetry, fix=fix, because=because)


def _observed(  # noqa: PLR0913, PLR0917 - as above
    data: bytes,
    at: int,
    place: Place,
    wind: weather_fields.Values,
    altitude_m: float | None = None,
    fix: Fix | None = None,
) -> Located | None:
    """The weather at a place; None where no field follows the symbol, which then is only a picture."""
    values = dict(wind)
    after = weather_fields.read_fields(data, at, values)
    if not values:
        return None
    device, after = weather_fields.read_device(data, after)
    located = _commented(data, after, place, None, altitude_m, fix)
    return replace(located, weather=Weather(**values), device=device)


def report_of(located: Located, time: ReportMoment | None, *, takes_messages: bool) -> Report:
    """A position, or the weather at one."""
    if located.weather is not None and located.storm is None:
        return WeatherReport(located, time, takes_messages)
    return PositionReport(located, time, takes_messages)


def read_untimed(_destination: str, information: bytes) -> Report:
    """`!` and `=`: a position without time; `=` takes messages. Raises `Unreadable`."""
    return report_of(read_located(information, 1), None, takes_messages=information[0] == _EQUALS)


def read_untimed_or_record(destination: str, information: bytes) -> Report:
    """`!` also begins, doubled, the raw record of a weather station. Raises `Unreadable`."""
    if information.startswith(weather_record.LOGGING_MARK):
        return weather_record.read_logging(destination, information)
    return read_untimed(destination, information)


def read_timed(_destination: str, information: bytes) -> Report:
    """`/` and `@`: a position with time; `@` takes messages. Raises `Unreadable`."""
    located, time = read_timed_place(information, 1)
    return report_of(located, time, takes_messages=information[0] == _AT)


def read_late_mark(_destination: str, information: bytes) -> Report:
    """A position after words that a repeater's software cannot leave out. Raises `Unreadable`.

    A `!` no later than octet 40 begins it (APRS101 chapter 5). The words before it come first in the comment.
    """
    mark = information.find(b"!", 0, LATEST_MARK)
    while mark >= 0:
        try:
            located = read_located(information, mark + 1)
        except Unreadable:
            mark = information.find(b"!", mark + 1, LATEST_MARK)
            continue
        words = f"{clean(information[:mark])} {located.comment}".strip()
        return report_of(replace(located, comment=words), None, takes_messages=False)
    raise Unreadable("it begins with no data type that the standard knows, and holds no position further on")
