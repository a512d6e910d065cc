"""Weather that comes without a place (APRS101 chapter 12). That at a place is read by `position`."""

from gateway.reports import comment
from gateway.reports.measured import Weather
from gateway.reports.moment import read_month_time
from gateway.reports.report import Located, Report, Unreadable, WeatherReport
from gateway.reports.weather_fields import Values, read_device, read_fields

_TIME_OCTETS = 8


def read(_destination: str, information: bytes) -> Report:
    """A weather report that gives its time, month first, and no place. Raises `Unreadable`."""
    start = 1 + _TIME_OCTETS
    if not information[1:start].isdigit() or len(information) < start:
        raise Unreadable("a weather report without a position begins with eight digits of time; these are not")
    values: Values = {}
    at = read_fields(information, start, values)
    if not values:
        raise Unreadable("no weather field follows the time")
    device, at = read_device(information, at)
    remarks = comment.read(information[at:])
    located = Located(
        weather=Weather(**values),
        device=device,
        comment=remarks.text,
        altitude_m=remarks.altitude_m,
        telemetry=remarks.telemetry,
        frequency=remarks.frequency,
    )
    return WeatherReport(located, read_month_time(information, 1))
