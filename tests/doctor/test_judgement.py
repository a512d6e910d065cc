"""What is made of what was found: pure, so each case is one line of evidence."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from gateway.commands.checking import CheckReport
from gateway.doctor.by_computer import clock, folders
from gateway.doctor.by_receivers import said_by_gateway
from gateway.doctor.evidence import Evidence, TimeAsked
from gateway.doctor.finding import Grade
from gateway.glance.shown import PartShown
from gateway.probes.clock import ClockFound
from gateway.probes.disk import Carrier, FolderFound
from gateway.probes.time_server import TimeTold

NOW_MS = 1_790_000_000_000
RIGHT = ClockFound(NOW_MS, synchronised=True, chip=True)
GIGABYTE = 1_000_000_000
DAY_SECONDS = 86_400
FOLDER = FolderFound(
    Path("/var/lib/stile"), free_octets=8 * GIGABYTE, size_octets=32 * GIGABYTE, up_seconds=DAY_SECONDS
)
CARD = Carrier("mmcblk0", is_card=True)


def evidence(clock_found: ClockFound = RIGHT, **more: Any) -> Evidence:  # noqa: ANN401 - any field of it
    return replace(Evidence(CheckReport(Path("station.yaml")), clock_found), **more)


@pytest.mark.parametrize(
    ("ahead", "uncertain", "grade", "words"),
    [
        (0.5, 0.1, Grade.OK, "goes as this time server's does"),
        (-30.0, 0.1, Grade.LOOK, "30 s behind this time server's"),
        (3600.0, 0.1, Grade.WRONG, "1 h ahead of this time server's"),
        (-86_400.0, 0.1, Grade.WRONG, "1 d behind this time server's"),
        (61.0, 3.0, Grade.LOOK, "1 min 1 s ahead"),
    ],
)
def test_a_clock_that_is_off_by_a_minute_is_wrong(ahead: float, uncertain: float, grade: Grade, words: str) -> None:
    asked = TimeAsked("time.example", TimeTold(ahead, uncertain))
    _, compared = clock(evidence(time=asked))
    assert compared.grade is grade
    assert words in compared.what


@pytest.mark.parametrize(
    ("found", "asked", "words"),
    [
        (RIGHT, None, "compared with no other clock"),
        (RIGHT, TimeAsked("time.example", None, "it did not answer within 4 s"), "does not tell the time"),
        (replace(RIGHT, synchronised=False), None, "held to the time of others"),
        (replace(RIGHT, chip=False), None, "no clock that runs on without power"),
    ],
)
def test_what_cannot_be_known_of_a_clock_is_to_be_looked_at_and_not_wrong(
    found: ClockFound, asked: TimeAsked | None, words: str
) -> None:
    findings = list(clock(evidence(found, time=asked)))
    assert {finding.grade for finding in findings} == {Grade.OK, Grade.LOOK}
    assert any(words in finding.what for finding in findings)


@pytest.mark.parametrize(
    ("carrier", "grade", "words"),
    [
        (CARD, Grade.LOOK, "does not say how worn it is"),
        (replace(CARD, wear_tenths=2), Grade.OK, "20 % of its life are used up"),
        (replace(CARD, wear_tenths=9), Grade.LOOK, "replace it before long"),
        (replace(CARD, wear_tenths=11), Grade.WRONG, "100 % of its life are used up"),
        (replace(CARD, written_octets=12_000_000), Grade.LOOK, "write 12 MB a day to it"),
    ],
)
def test_a_card_is_as_worn_as_it_says(carrier: Carrier, grade: Grade, words: str) -> None:
    _, worn = folders(evidence(folders=(replace(FOLDER, carrier=carrier),)))
    assert worn.grade is grade
    assert words in f"{worn.what} {worn.do}"


def test_a_disk_that_says_nothing_of_its_wear_is_not_spoken_of() -> None:
    assert len(list(folders(evidence(folders=(replace(FOLDER, carrier=Carrier("sda", is_card=False)),))))) == 1


def test_a_disk_with_little_room_and_one_in_memory_are_to_be_looked_at() -> None:
    little, passing = folders(evidence(folders=(replace(FOLDER, free_octets=1_000_000, passing=True),)))
    assert little.grade is passing.grade is Grade.LOOK
    assert "1 MB of 32000 MB are free" in little.what
    assert "gone when the computer stops" in passing.what


@pytest.mark.parametrize(
    ("part", "grade", "words"),
    [
        ({"state": "down", "why": "Connection refused", "do": "start it"}, Grade.WRONG, "down, Connection refused"),
        ({"state": "quiet"}, Grade.LOOK, "says: quiet"),
        ({"state": "ok", "figures": {"frames": 10, "damaged": 5}}, Grade.LOOK, "50% of all were damaged"),
        ({"state": "ok", "figures": {"frames": 10, "last_frame_age_seconds": 90}}, Grade.OK, "the last 1 min 30 s ago"),
    ],
)
def test_a_running_gateways_word_on_a_receiver_counts(part: dict[str, object], grade: Grade, words: str) -> None:
    shown = PartShown.model_validate({"kind": "receiver", "name": "vhf", "since": "2026-01-01T00:00:00Z", **part})
    finding = said_by_gateway("vhf", shown)
    assert finding.grade is grade
    assert words in finding.what
