"""Stations as GeoJSON features (RFC 7946). No I/O."""

from gateway.feed.heard_object import HeardPayload, encode
from gateway.feed.reader import place_of_sender
from gateway.feed.stations import Station
from gateway.frames.plain import PlainObject

COLLECTION_HEAD = b'{"type":"FeatureCollection","features":['
COLLECTION_END = b"]}"


def feature(station: Station) -> bytes:
    """One station as a feature: its properties are those of its topic on the bus.

    When of the day it was heard stands beside them, as a foreign member (section 6.1).
    """
    head = {
        "type": "Feature",
        "id": station.source,
        "geometry": point(station.last),
        "by_hour": station.by_hour.to_object(),
    }
    properties = station.last.encoded_with({"memory": station.to_object()})
    return b'%b,"properties":%b}' % (encode(head)[:-1], properties)


def point(payload: HeardPayload) -> PlainObject | None:
    """Where the sender of a frame says that it is, as a geometry: longitude first (section 3.1.1). None: it does not.

    In degrees, to a tenth of a metre.

    An altitude is not in it: on the air it is above mean sea level, in GeoJSON above the ellipsoid.
    """
    place = place_of_sender(payload.judged)
    if place is None:
        return None
    return {"type": "Point", "coordinates": [round(place.longitude, 6), round(place.latitude, 6)]}
