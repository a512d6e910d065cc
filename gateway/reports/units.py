"""What the air counts in, and what we publish: SI and metric. Every factor here is exact by definition."""

KMH_PER_KNOT = 1.852
KM_PER_NAUTICAL_MILE = 1.852
MS_PER_KNOT = 1852 / 3600
MS_PER_MPH = 0.44704
MS_PER_KMH = 1 / 3.6
KM_PER_MILE = 1.609344
METRES_PER_FOOT = 0.3048
MM_PER_INCH = 25.4
METRES_PER_MINUTE_OF_LATITUDE = 1852.0
"""A nautical mile: what a minute of latitude is taken to be long."""


def celsius(fahrenheit: float) -> float:
    """Degrees Celsius of degrees Fahrenheit."""
    return (fahrenheit - 32) / 1.8
