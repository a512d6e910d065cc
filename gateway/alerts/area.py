"""Areas on the map: whether a place lies in a circle or in a polygon. WGS 84 degrees, north and east positive."""

from collections.abc import Sequence

from gateway.reports.distance import Origin

SHORTEST_DEGREE_KM = 110.5
"""A degree of latitude is nowhere shorter than this (110.574 km at the equator of the WGS 84 ellipsoid)."""


class Circle:
    """Everything within a distance of a point, the shortest line on the ellipsoid being what is measured."""

    def __init__(self, latitude: float, longitude: float, radius_km: float) -> None:
        self._centre = Origin(latitude, longitude)
        self._radius_km = radius_km

    def holds(self, latitude: float, longitude: float) -> bool:
        """Whether the place lies in it, its edge included."""
        if abs(latitude - self._centre.latitude) * SHORTEST_DEGREE_KM > self._radius_km:
            return False  # far off to the north or south: nothing need be measured
        return self._centre.line_to(latitude, longitude).distance_km <= self._radius_km


class Polygon:
    """What straight lines from corner to corner enclose, on a chart whose degrees are of one size (plate carrée).

    For a harbour or a bay that is what a person draws. Lines that cross are counted by the even-odd rule; it may
    lie across the 180th meridian, but not around a pole.
    """

    def __init__(self, corners: Sequence[tuple[float, float]]) -> None:
        """`corners` are (latitude, longitude), the last one joined to the first."""
        self._middle = corners[0][1]
        flat = [(latitude, self._eastward(longitude)) for latitude, longitude in corners]
        self._sides = [*zip(flat, [*flat[1:], flat[0]], strict=True)]

    def holds(self, latitude: float, longitude: float) -> bool:
        """Whether a line from the place to the west crosses an odd number of sides."""
        east = self._eastward(longitude)
        within = False
        for (latitude_a, east_a), (latitude_b, east_b) in self._sides:
            if (latitude_a > latitude) != (latitude_b > latitude):
                crossing = east_a + (latitude - latitude_a) / (latitude_b - latitude_a) * (east_b - east_a)
                within ^= crossing < east
        return within

    def _eastward(self, longitude: float) -> float:
        """Degrees east of the first corner, -180 to 180."""
        return (longitude - self._middle + 180) % 360 - 180


Area = Circle | Polygon
