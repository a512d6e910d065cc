"""The `alerts:` section of the station file as models: what the operator wants to be told of at once.

`README.md` beside this file is its reference. Nothing here decides anything; `alert_watch` does, from these models.
"""

from collections.abc import Collection, Iterator, Sequence
from typing import Annotated, Self

from pydantic import AfterValidator, Field, WithJsonSchema, model_validator

from gateway.documents import Place
from gateway.documents.values import Duration, Kilometres, Name, OneOrMore, Section, between
from gateway.frames.header import is_network_callsign, without_ssid_0
from gateway.judge.compiled import patterns_in
from gateway.judge.policy import Conditions, asks_distance, receivers_in

FEWEST_CORNERS = 3
MOST_CORNERS = 256

RESERVED_NAME = "emergency"
"""What the alerts for emergencies are called: they need no entry."""


Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Latitude = Annotated[Number, Field(ge=-90, le=90)]
Longitude = Annotated[Number, Field(ge=-180, le=180)]


class Corner(Section):
    """A corner of a polygon, WGS 84 degrees."""

    latitude: Latitude
    longitude: Longitude


def _enough(corners: list[Corner]) -> list[Corner]:
    if len(corners) < FEWEST_CORNERS:
        raise ValueError(f"a polygon has {FEWEST_CORNERS} corners at least")
    return corners


class AreaEntry(Section):
    """A circle, or a polygon whose last corner is joined to its first."""

    latitude: Latitude | None = None
    longitude: Longitude | None = None
    radius: Kilometres | None = None
    corners: Annotated[list[Corner], AfterValidator(_enough), Field(max_length=MOST_CORNERS)] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        of_circle = [part is not None for part in (self.latitude, self.longitude, self.radius)]
        if not (all(of_circle) and self.corners is None) and not (self.corners is not None and not any(of_circle)):
            raise ValueError("give latitude, longitude and radius, or corners alone")
        return self


class Threshold(Section):
    """A value must lie beyond what is given."""

    above: Number | None = None
    below: Number | None = None

    @model_validator(mode="after")
    def _asks(self) -> Self:
        if self.above is None and self.below is None:
            raise ValueError("give above, below or both")
        if self.above is not None and self.below is not None and self.above >= self.below:
            raise ValueError("above is not smaller than below: this can never hold")
        return self

    def holds(self, value: float) -> bool:
        """Whether the value lies beyond what is given."""
        return (self.above is None or value > self.above) and (self.below is None or value < self.below)


class WeatherThresholds(Section):
    """Thresholds by the names of the published fields; all that are given must hold."""

    wind_deg: Threshold | None = None
    wind_ms: Threshold | None = None
    gust_ms: Threshold | None = None
    temperature_c: Threshold | None = None
    humidity_pct: Threshold | None = None
    pressure_hpa: Threshold | None = None
    rain_last_hour_mm: Threshold | None = None
    rain_last_day_mm: Threshold | None = None
    rain_today_mm: Threshold | None = None
    rain_counter: Threshold | None = None
    irradiance_wm2: Threshold | None = None
    snow_last_day_mm: Threshold | None = None
    radiation_nsvh: Threshold | None = None
    battery_v: Threshold | None = None
    indoor_temperature_c: Threshold | None = None
    indoor_humidity_pct: Threshold | None = None

    @model_validator(mode="after")
    def _asks(self) -> Self:
        if not self.model_fields_set:
            raise ValueError("give at least one field, as gust_ms: {above: 20}")
        return self

    def thresholds(self) -> dict[str, Threshold]:
        """Those that are given, by field."""
        return {name: getattr(self, name) for name in type(self).model_fields if name in self.model_fields_set}


def _callsign(text: str) -> str:
    if not is_network_callsign(text):
        raise ValueError(f"{text!r} is no callsign: a station whose silence is told is named in full, as QA1BCD-9")
    return without_ssid_0(text.upper())


Callsign = Annotated[
    str, AfterValidator(_callsign), WithJsonSchema({"type": "string", "pattern": r"^[A-Za-z0-9]+(-[A-Za-z0-9]{1,2})?$"})
]
"""With its SSID; SSID 0 is not written."""


class Silent(Section):
    """A station that was not heard for too long."""

    source: OneOrMore[Callsign]
    for_: Annotated[Duration, between("1m", "366d")] = Field(alias="for")


class Deaf(Section):
    """Nothing was heard for too long, on one receiver or, where none is named, on all of them."""

    for_: Annotated[Duration, between("1m", "366d")] = Field(alias="for")
    receiver: Name | None = None


class Alert(Section):
    """One entry: a frame that meets `when`, `area`, `outside` and `weather`, or a silence."""

    name: Name
    when: Conditions | None = None
    area: AreaEntry | None = None
    outside: AreaEntry | None = None
    weather: WeatherThresholds | None = None
    silent: Silent | None = None
    deaf: Deaf | None = None
    again: Annotated[Duration, between("1m", "366d")] | None = None
    """How long until what goes on is told again; None: what lasts is told once."""

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        of_frames = any(part is not None for part in (self.when, self.area, self.outside, self.weather))
        if of_frames + (self.silent is not None) + (self.deaf is not None) != 1:
            raise ValueError("give silent, or deaf, or what a frame must meet: when, area, outside, weather")
        if self.name == RESERVED_NAME:
            raise ValueError("emergencies raise alerts of this name by themselves; choose another one")
        return self

    @model_validator(mode="after")
    def _no_groups(self) -> Self:
        group = next((pattern for pattern in patterns_in([self.when]) if pattern.startswith("@")), None)
        if group is not None:
            raise ValueError(f"groups belong to the policy: list the callsigns of {group} here")
        return self


def problems(alerts: Sequence[Alert], receivers: Collection[str], *, located: bool) -> Iterator[tuple[Place, str]]:
    """What is wrong with the section as a whole, each with its place in it.

    `receivers` are the names in the station file; `located` says whether it gives the station's position.
    """
    names = [alert.name for alert in alerts]
    for place, alert in enumerate(alerts):
        if alert.name in names[:place]:
            yield (place, "name"), f"two alerts are called {alert.name}: give each a name of its own"
        if alert.deaf is not None and alert.deaf.receiver not in {None, *receivers}:
            yield (place, "deaf", "receiver"), f"there is no receiver {alert.deaf.receiver}"
        for where, name in receivers_in(alert.when, ("when",)):
            if name not in receivers:
                yield (place, *where), f"there is no receiver {name}"
        if not located and asks_distance(alert.when):
            yield (place, "when"), "a distance is reckoned from the station: give its position under station:"
