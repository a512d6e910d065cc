"""Stations as GeoJSON features (RFC 7946). No I/O."""

from gateway.feed.heard_object import encode
from gateway.feed.stations import Station
from gateway.frames.plain import PlainObject
from gateway.judge.verdict import Judged
from gateway.reports import Kind, read

COLLECTION_HEAD = b'{"type":"FeatureCollection","features":['
COLLECTION_END = b"]}"

_ABOUT_SOMETHING_ELSE = {Kind.OBJECT, Kind.ITEM}
"""Reports whose position is that of what they name, not that of their sender."""


def feature(station: Station) -> bytes:
    """One station as a feature: its properties are those of its topic on the bus."""
    head = {"type": "Feature", "id": station.source, "geometry": point(station.last.judged)}
    properties = station.last.encoded_with({"memory": station.to_object()})
    return b'%b,"properties":%b}' % (encode(head)[:-1], properties)


def point(judged: Judged) -> PlainObject | None:
    """Where the sender of a frame says that it is, as a geometry: longitude first (section 3.1.1). None: it does not.

    An altitude is not in it: on the air it is above mean sea level, in GeoJSON above the ellipsoid.
    """
    if judged.innermost is None:
        return None
    report = read(judged.innermost.destination, judged.information)
    position = report.position
    if position is None or report.kind in _ABOUT_SOMETHING_ELSE:
        return None
    return {"type": "Point", "coordinates": [round(position.longitude, 6), round(position.latitude, 6)]}
