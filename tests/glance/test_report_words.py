import pytest

from gateway.glance.report_words import compass, distance, report_words, where
from gateway.glance.shown import HeardShown, ReportShown
from tests.glance.scenarios import SAILING, WEATHER, heard


@pytest.mark.parametrize(
    ("bearing", "wind"),
    [(0, "N"), (22.4, "N"), (22.6, "NE"), (45, "NE"), (90, "E"), (181, "S"), (247.6, "W"), (337.6, "N"), (360, "N")],
)
def test_a_bearing_is_told_as_the_nearest_of_eight_winds(bearing: float, wind: str) -> None:
    assert compass(bearing) == wind


@pytest.mark.parametrize(
    ("kilometres", "told"), [(0.06, "60 m"), (0.996, "996 m"), (4.21, "4.2 km"), (9.96, "10.0 km"), (128.4, "128 km")]
)
def test_a_distance_is_told_as_finely_as_it_matters(kilometres: float, told: str) -> None:
    assert distance(kilometres) == told


def test_a_place_without_a_bearing_is_told_by_its_distance_alone() -> None:
    assert where(ReportShown(distance_km=4.2)) == "4.2 km"
    assert where(ReportShown()) == ""


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (SAILING, "11 km/h NE, Kittiwake, second in class two and on the way home"),
        (WEATHER, "13.9 °C, 4 m/s SW, gusts 11, 82 %, 1013 hPa, rain 2.5 mm/h"),
        (b"QC2CBT-8>APRS:;MARK 1   *092345z5837.02N\\00355.08WNRegatta", "MARK 1, Regatta"),
        (b"QC2CBT-8>APRS:;MARK 1   _092345z5837.02N\\00355.08WNRegatta", "MARK 1 is taken off, Regatta"),
        (b"QA1BCD>APRS::QC2CBT-8 :see you at the finish{11", "to QC2CBT-8: see you at the finish"),
        (b"QF4HRB>APRS:>Visitors: berth on the east wall", "Visitors: berth on the east wall"),
        (b"QE9BUY>APRS:T#028,128,070,165,088,093,10000000", "telemetry"),
        (b"QX2GAT>APRS:<IGATE,MSG_CNT=3", "says what it can do"),
        (b"QA1BCD>APRS:!5836.00N/00355.00W>", ""),
        (b"QA1BCD>APRS:@#& nothing that anyone reads", "@#& nothing that anyone reads"),
    ],
)
def test_every_kind_of_report_is_told_in_a_line(line: bytes, told: str) -> None:
    assert report_words(heard(line)) == told


def test_the_values_of_telemetry_are_told_with_their_names_and_units() -> None:
    channels = [
        {"name": "Battery", "value": 12.8, "unit": "V"},
        {"name": "Hatch", "value": False, "unit": "open"},
        {"name": "Sea", "value": None},
        {"name": "Tilt", "value": 3},
    ]
    plain = {"run": "r", "sequence": 1, "time": "2026-06-06T12:00:00.000Z", "receiver": "vhf", "verdict": "forward"}
    told = report_words(HeardShown.model_validate({**plain, "report": {"kind": "telemetry", "channels": channels}}))
    assert told == "Battery 12.8 V, Hatch no"
