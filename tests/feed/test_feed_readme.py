"""The page on what the house is told: what it shows works, and it names every key and figure that there is."""

import re
from pathlib import Path

import pytest

from gateway.alerts import entry, watch
from gateway.alerts.alert import AlertKind
from gateway.alerts.entry import Alert, WeatherThresholds
from gateway.documents import check, parse
from gateway.feed import schemas
from gateway.groundwork import clocks
from gateway.groundwork.duration import HOUR_MS, MINUTE_MS
from gateway.groundwork.part import PartKind, State
from gateway.watches import clock, quiet
from tests.alerts.alerting import Section

PAGE = (Path(schemas.__file__).parent / "README.md").read_text("utf-8")
(SHOWN,) = re.findall(r"^```yaml\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)


def test_the_entries_that_it_shows_are_ones_that_work() -> None:
    document = parse(SHOWN.partition("receivers:")[0], "README.md")
    entries = check(document, Section).alerts
    assert not [*entry.problems(entries, ["vhf", "hf"], located=True)]


@pytest.mark.parametrize(
    "name", [*(field.alias or name for name, field in Alert.model_fields.items()), *WeatherThresholds.model_fields]
)
def test_every_key_is_named(name: str) -> None:
    assert f"`{name}`" in PAGE or f"`{name}:" in PAGE


@pytest.mark.parametrize("word", [*AlertKind, *State])
def test_every_kind_of_alert_and_state_is_named(word: str) -> None:
    assert f"`{word}`" in PAGE


@pytest.mark.parametrize("kind", PartKind)
def test_every_kind_of_part_is_named(kind: PartKind) -> None:
    assert kind.value in PAGE


def test_the_figures_are_those_of_the_program() -> None:
    assert watch.EMERGENCY_AGAIN_MS == 5 * MINUTE_MS
    assert watch.SETTLED_MS == 10 * MINUTE_MS
    assert watch.FORGOTTEN_MS == 24 * HOUR_MS
    assert watch.MOST_A_MINUTE == 30
    assert clocks.JUMP_MS == 2000
    assert clock.SHOWN_MS == 30 * MINUTE_MS
    assert quiet.LIMIT / quiet.SLOW_DAY == 56
    assert quiet.LIMIT / quiet.MOST_AN_HOUR == 3.5
    assert quiet.FEWEST_DAYS == 7
