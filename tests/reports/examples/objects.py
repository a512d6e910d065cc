"""Objects and items (APRS101 chapter 11)."""

from tests.reports.examples.row import NINTH, Row, compressed, plain, unknown

OBJECTS = [
    Row("APRS101 ch. 11: live object", "APRS", b";LEADER   *092345z4903.50N/07201.75W>088/036",
        plain("/>", course_deg=88, speed_kmh=66.7, name="LEADER", live=True, **NINTH) | {"kind": "object"}),
    Row("APRS101 ch. 11: killed object", "APRS", b";LEADER   _092345z4903.50N/07201.75W>088/036",
        plain("/>", course_deg=88, speed_kmh=66.7, name="LEADER", live=False, **NINTH) | {"kind": "object"}),
    Row("APRS101 ch. 11: compressed object", "APRS", b";CAR      *092345z/5L!!<*e7>7P[",
        compressed("/>", course_deg=88, speed_kmh=67.1, fix="current", name="CAR", live=True, **NINTH)
        | {"kind": "object"}),
    Row("APRS101 ch. 11: live item", "APRS", b")AID #2!4903.50N/07201.75WA",
        plain("/A", name="AID #2", live=True) | {"kind": "item"}),
    Row("APRS101 ch. 11: killed item", "APRS", b")AID #2_4903.50N/07201.75WA",
        plain("/A", name="AID #2", live=False) | {"kind": "item"}),
    Row("APRS101 ch. 11: blurred item", "APRS", b")G/WB4APR!53  .  N\\002  .  Wd",
        plain("\\d", name="G/WB4APR", live=True)
        | {"kind": "item", "latitude": 53.5, "longitude": -2.5, "ambiguity": 4, "ambiguity_m": 111120.0}),
    Row("APRS101 ch. 11, its name ours: compressed item", "APRS", b")FUEL1!\\5L!!<*e79 sT",
        compressed("\\9", name="FUEL1", live=True) | {"kind": "item"}),
    Row("APRS101 ch. 11, from memory: area, a filled red circle", "APRS",
        b";FIRE     *092345z4903.50N\\07201.75Wl530/430",
        plain("\\l", area_shape="filled-circle", area_colour="red", area_latitude_span_deg=0.6,
              area_longitude_span_deg=0.6, name="FIRE", live=True, **NINTH) | {"kind": "object"}),
    Row("APRS101 ch. 11, from memory: a dimmed line with its corridor", "APRS",
        b";ROUTE    *092345z4903.50N\\07201.75Wl1151230{05}",
        plain("\\l", area_shape="line-down-right", area_colour="dark red", area_latitude_span_deg=0.15,
              area_longitude_span_deg=0.6, area_corridor_km=8.05, name="ROUTE", live=True, **NINTH)
        | {"kind": "object"}),
    Row("APRS101 ch. 11: signpost", "APRS", b")I91 3N!4903.50N\\07201.75Wm{55}",
        plain("\\m", sign="55", name="I91 3N", live=True) | {"kind": "item"}),
    Row("APRS101 ch. 11: an item's name of two characters", "APRS", b")AB!4903.50N/07201.75WA",
        unknown("an item has a name of three to nine characters, and ! or _ after it")),
    Row("APRS101 ch. 11: an object without time", "APRS", b";LEADER   *4903.50N/07201.75W>",
        unknown("no time stands behind the object's name")),
    Row("APRS12, from memory: a repeater's frequency is its name", "APRS", b";146.94-XX*092345z4903.50N/07201.75Wr",
        plain("/r", frequency_mhz=146.94, name="146.94-XX", live=True, **NINTH) | {"kind": "object"}),
]  # fmt: skip
