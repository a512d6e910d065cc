"""How a home-automation hub is to take each number: what it measures, in which unit, and how it adds up.

The words are those that Home Assistant documents on its page "Sensor": device classes with their units, state classes.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from gateway.frames.plain import PlainObject


@dataclass(frozen=True, slots=True)
class Measure:
    """One kind of number."""

    name: str
    device_class: str | None = None
    unit: str | None = None
    state_class: str = "measurement"
    is_diagnostic: bool = False
    """It tells of the device rather than of the world."""

    def fields(self) -> PlainObject:
        """The fields of a sensor that say so."""
        fields: PlainObject = {"platform": "sensor", "name": self.name, "state_class": self.state_class}
        if self.device_class is not None:
            fields["device_class"] = self.device_class
        if self.unit is not None:
            fields["unit_of_measurement"] = self.unit
        if self.is_diagnostic:
            fields["entity_category"] = "diagnostic"
        return fields


# By the name of the published field; each is one of `latest.POSITION_FIELDS` or `latest.WEATHER_FIELDS`.
POSITION: Mapping[str, Measure] = {
    "distance_km": Measure("Distance", "distance", "km"),
    "speed_kmh": Measure("Speed", "speed", "km/h"),
    "altitude_m": Measure("Altitude", "distance", "m"),
}
WEATHER: Mapping[str, Measure] = {
    "temperature_c": Measure("Temperature", "temperature", "°C"),
    "humidity_pct": Measure("Humidity", "humidity", "%"),
    "pressure_hpa": Measure("Air pressure", "atmospheric_pressure", "hPa"),
    "wind_ms": Measure("Wind speed", "wind_speed", "m/s"),
    "gust_ms": Measure("Wind gust", "wind_speed", "m/s"),
    "wind_deg": Measure("Wind direction", "wind_direction", "°", "measurement_angle"),
    "rain_last_hour_mm": Measure("Rain in the last hour", "precipitation", "mm"),
    "rain_last_day_mm": Measure("Rain in the last 24 hours", "precipitation", "mm"),
    "rain_today_mm": Measure("Rain since midnight", "precipitation", "mm", "total_increasing"),
    "snow_last_day_mm": Measure("Snow in the last 24 hours", "precipitation", "mm"),
    "irradiance_wm2": Measure("Sunlight", "irradiance", "W/m²"),
    "radiation_nsvh": Measure("Radiation", None, "nSv/h"),
    "indoor_temperature_c": Measure("Indoor temperature", "temperature", "°C"),
    "indoor_humidity_pct": Measure("Indoor humidity", "humidity", "%"),
    "battery_v": Measure("Battery", "voltage", "V", is_diagnostic=True),
}

_WAYS_TO_WRITE = {
    ("V", "voltage"): ("v", "volt", "volts"),
    ("mV", "voltage"): ("mv",),
    ("A", "current"): ("a", "amp", "amps"),
    ("mA", "current"): ("ma",),
    ("W", "power"): ("w", "watt", "watts"),
    ("°C", "temperature"): ("c", "°c", "degc", "celsius"),
    ("°F", "temperature"): ("f", "°f", "degf", "fahrenheit"),
    ("hPa", "pressure"): ("hpa", "mbar", "mb"),
    ("km/h", "speed"): ("km/h", "kmh", "kph"),
    ("m/s", "speed"): ("m/s",),
    ("Hz", "frequency"): ("hz",),
    ("dBm", "signal_strength"): ("dbm",),
    ("lx", "illuminance"): ("lx", "lux"),
    ("%", None): ("%", "pct", "percent"),
}
_KNOWN_UNITS = {way: unit for unit, ways in _WAYS_TO_WRITE.items() for way in ways}


def telemetry_measure(key: str, name: str, unit: str) -> Measure:
    """How to take a telemetry channel whose sender writes its unit as `unit`.

    A unit that a hub does not know is left out: it would be text from the air.
    """
    hub_unit, device_class = _KNOWN_UNITS.get(_plain(unit), (None, None))
    if hub_unit == "%" and key.startswith("bat"):
        device_class = "battery"
    return Measure(name, device_class, hub_unit)


def _plain(unit: str) -> str:
    return unit.casefold().replace(" ", "").replace(".", "")
