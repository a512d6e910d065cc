"""The text of metrics, read back by Prometheus' own parser of the format (the library `prometheus_client`)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from prometheus_client.parser import text_string_to_metric_families

from gateway.groundwork.part import counters, gauge
from gateway.web.exposition import write

LABEL_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)


def read_back(octets: bytes) -> list[tuple[str, str, list[tuple[dict[str, str], float]]]]:
    families = text_string_to_metric_families(octets.decode("utf-8"))
    return [
        (family.name, family.type, [(sample.labels, sample.value) for sample in family.samples]) for family in families
    ]


def test_a_counter_and_a_gauge_are_written_as_the_format_has_them() -> None:
    kept = counters("stile_frames_kept_total", "reason", {"duplicate": 3, "rule": 0}, "Frames kept.")
    assert write([kept[0], gauge("stile_stations", 12, "Stations remembered."), kept[1]]) == (
        b"# HELP stile_frames_kept_total Frames kept.\n"
        b"# TYPE stile_frames_kept_total counter\n"
        b'stile_frames_kept_total{reason="duplicate"} 3\n'
        b'stile_frames_kept_total{reason="rule"} 0\n'
        b"# HELP stile_stations Stations remembered.\n"
        b"# TYPE stile_stations gauge\n"
        b"stile_stations 12\n"
    )


@given(st.dictionaries(LABEL_TEXT, st.floats(), min_size=1, max_size=5))
def test_any_label_value_and_any_number_come_back_as_they_went(values: dict[str, float]) -> None:
    ((_, _, samples),) = read_back(
        write([gauge("stile_test", value, "A test.", label=label) for label, value in values.items()])
    )
    assert [labels["label"] for labels, _ in samples] == list(values)
    for (_, read), written in zip(samples, values.values(), strict=True):
        assert read == written or (math.isnan(read) and math.isnan(written))


@given(LABEL_TEXT)
def test_any_help_text_stays_on_its_line(help_text: str) -> None:
    text = write([gauge("stile_test", 1, help_text)]).decode()
    assert text.count("\n") == 3
    assert text.endswith("\nstile_test 1\n")


@pytest.mark.parametrize(
    ("value", "written"), [(math.inf, b"+Inf"), (-math.inf, b"-Inf"), (math.nan, b"NaN"), (0.5, b"0.5")]
)
def test_numbers_are_written_as_the_format_wants_them(value: float, written: bytes) -> None:
    assert write([gauge("stile_test", value, "A test.")]).endswith(b"\nstile_test " + written + b"\n")
