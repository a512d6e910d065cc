"""How far, and in which direction: the shortest line on the WGS 84 ellipsoid between two points.

Geodesics come from geographiclib: pure Python, a tenth of a megabyte, exact to nanometres. pyproj gives the same
numbers faster, from C, but brings tens of megabytes of projections along. What the slowness costs (about 0.1 ms a line)
is won back by remembering: fixed stations are heard again and again in the same place. The import, 3 ms, waits for the
first distance that is asked for, since many a station never asks.
"""

from functools import lru_cache
from typing import NamedTuple

REMEMBERED_LINES = 4096
"""How many lines one station keeps: about 1 MB."""


class ShortestLine(NamedTuple):
    """The shortest line from one point to another."""

    distance_km: float
    bearing_deg: float
    """From true north, at the first point, 0 up to but not 360. For two equal points, 0."""


def between(from_latitude: float, from_longitude: float, to_latitude: float, to_longitude: float) -> ShortestLine:
    """The shortest line between two points, WGS 84 degrees, north and east positive."""
    from geographiclib.geodesic import Geodesic  # noqa: PLC0415 - as this module's first words say

    line = Geodesic.WGS84.Inverse(
        from_latitude, from_longitude, to_latitude, to_longitude, Geodesic.DISTANCE | Geodesic.AZIMUTH
    )
    if line["s12"] == 0:
        return ShortestLine(0.0, 0.0)
    return ShortestLine(line["s12"] / 1000, line["azi1"] % 360.0)


class Origin:
    """A fixed point from which many lines are asked for, and which remembers the last of them."""

    def __init__(self, latitude: float, longitude: float) -> None:
        self.latitude = latitude
        self.longitude = longitude
        self._line_to = lru_cache(REMEMBERED_LINES)(self._measure)

    def line_to(self, latitude: float, longitude: float) -> ShortestLine:
        """The shortest line from here to a point, WGS 84 degrees."""
        return self._line_to(latitude, longitude)

    def _measure(self, latitude: float, longitude: float) -> ShortestLine:
        return between(self.latitude, self.longitude, latitude, longitude)
