"""Formats of somebody's own, told by two characters (APRS101 chapter 18)."""

from gateway.reports.report import Report, Unreadable, UserDefinedReport
from gateway.reports.text import clean

_DATA_AT = 3


def read(_destination: str, information: bytes) -> Report:
    """`{`, the user's character (another `{`: an experiment), the type's, and the data as text. Raises `Unreadable`."""
    user, user_type = clean(information[1:2]), clean(information[2:_DATA_AT])
    if not (user and user_type):
        raise Unreadable("a user-defined report begins with two characters that name its format")
    return UserDefinedReport(user, user_type, clean(information[_DATA_AT:]))
