"""The waters of the Wrackholm Bay Regatta, and how boats move in them."""

import math
from dataclasses import dataclass
from itertools import accumulate, pairwise

from demo.regatta.information import COURSE_NORTH, Fix

METRES_PER_DEGREE = 111_320.0
"""Of latitude, and of longitude at the equator: near enough for a race of two miles."""

KNOT = 1852 / 3600
"""In metres per second."""

START = Fix(58.6030, -3.9300)
MARK_1 = Fix(58.6170, -3.9180)
MARK_2 = Fix(58.6065, -3.8930)
COURSE = (START, MARK_1, MARK_2, START)
HARBOUR = Fix(58.5958, -3.9417)
HEADLAND = Fix(58.6227, -3.8717)


@dataclass(frozen=True, slots=True)
class Leg:
    """A straight way from one fix to another."""

    origin: Fix
    east_m: float
    north_m: float

    @property
    def length_m(self) -> float:
        """How long it is."""
        return math.hypot(self.east_m, self.north_m)

    @property
    def course_deg(self) -> int:
        """Where it leads."""
        return _course(math.degrees(math.atan2(self.east_m, self.north_m)))

    def at(self, along_m: float, aside_m: float, way: Fix) -> Fix:
        """Someone so far along it, and so far to its right, with the course and speed of `way`."""
        east, north = self.east_m / self.length_m, self.north_m / self.length_m
        return moved(self.origin, east * along_m + north * aside_m, north * along_m - east * aside_m, way)


@dataclass(frozen=True, slots=True)
class Yacht:
    """Sails round the course for ever, weaving a little."""

    speed_knots: float
    behind_m: float
    """How far behind the line she starts."""

    def fix(self, seconds: float) -> Fix:
        """Where she is so long after the gun."""
        weaving = seconds / 17 + self.behind_m
        along = (seconds * self.speed_knots * KNOT - self.behind_m) % _LAP_M
        leg, start_m = next((leg, start) for leg, start in reversed(_LEGS) if start <= along)
        course = _course(leg.course_deg + 12 * math.cos(weaving))
        way = Fix(0, 0, course, self.speed_knots + 0.4 * math.sin(weaving))
        return leg.at(along - start_m, 20 * math.sin(weaving), way)


@dataclass(frozen=True, slots=True)
class Patrol:
    """Goes round and round about a fix."""

    about: Fix
    radius_m: float
    speed_knots: float

    def fix(self, seconds: float) -> Fix:
        """Where it is so long after the gun."""
        turned = seconds * self.speed_knots * KNOT / self.radius_m
        course = _course(math.degrees(turned) + 90)
        east, north = self.radius_m * math.sin(turned), self.radius_m * math.cos(turned)
        return moved(self.about, east, north, Fix(0, 0, course, self.speed_knots))


def moved(fix: Fix, east_m: float, north_m: float, way: Fix) -> Fix:
    """`fix` shifted, with the course and speed of `way`."""
    per_degree_east = METRES_PER_DEGREE * math.cos(math.radians(fix.latitude))
    return Fix(
        fix.latitude + north_m / METRES_PER_DEGREE,
        fix.longitude + east_m / per_degree_east,
        way.course_deg,
        way.speed_knots,
    )


def _course(degrees: float) -> int:
    return round(degrees) % 360 or COURSE_NORTH


def _leg(origin: Fix, target: Fix) -> Leg:
    per_degree_east = METRES_PER_DEGREE * math.cos(math.radians(origin.latitude))
    return Leg(
        origin,
        (target.longitude - origin.longitude) * per_degree_east,
        (target.latitude - origin.latitude) * METRES_PER_DEGREE,
    )


_WAYS = [_leg(origin, target) for origin, target in pairwise(COURSE)]
_LEGS = list(zip(_WAYS, accumulate((leg.length_m for leg in _WAYS), initial=0.0), strict=False))
_LAP_M = sum(leg.length_m for leg in _WAYS)
