"""The parts of a report that hold what was measured: weather, storms, telemetry and what its sender says it means.

Their fields carry the names that are published; units stand in the names; a field that was not sent is None.
"""

from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Weather:
    """One observation; whatever the station lacks is None."""

    wind_deg: int | None = None
    wind_ms: float | None = None
    gust_ms: float | None = None
    temperature_c: float | None = None
    humidity_pct: float | None = None
    pressure_hpa: float | None = None
    rain_last_hour_mm: float | None = None
    rain_last_day_mm: float | None = None
    rain_today_mm: float | None = None
    rain_counter: int | None = None
    """Of the gauge itself, in its own steps."""
    irradiance_wm2: int | None = None
    snow_last_day_mm: float | None = None
    radiation_nsvh: int | None = None
    battery_v: float | None = None
    indoor_temperature_c: float | None = None
    indoor_humidity_pct: float | None = None


class StormType(StrEnum):
    """How strong a storm has become (APRS101 chapter 12)."""

    TROPICAL_DEPRESSION = "tropical-depression"
    TROPICAL_STORM = "tropical-storm"
    HURRICANE = "hurricane"


@dataclass(frozen=True, slots=True)
class Storm:
    """How strong a storm is, and how far its winds reach."""

    storm: StormType
    hurricane_winds_km: float | None = None
    storm_winds_km: float | None = None
    gale_winds_km: float | None = None


@dataclass(frozen=True, slots=True)
class Telemetry:
    """Values as sent, in no unit: the sender's definitions say what they are. None stands for a value left out."""

    telemetry_sequence: int | None
    analogue: tuple[int | float | None, ...]
    digital: str | None = None
    """Up to eight, B1 first."""


@dataclass(frozen=True, slots=True)
class Definition:
    """What a station says its telemetry means; one message carries one of the four (APRS101 chapter 13)."""

    telemetry_names: tuple[str, ...] | None = None
    """Of up to five values, then up to eight bits."""
    telemetry_units: tuple[str, ...] | None = None
    telemetry_coefficients: tuple[tuple[float, float, float], ...] | None = None
    """(a, b, c) per value: a·v² + b·v + c."""
    telemetry_senses: str | None = None
    """For each bit, the state in which it is on."""
    telemetry_title: str | None = None
