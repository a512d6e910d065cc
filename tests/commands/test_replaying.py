"""`stile replay` as an operator uses it: what it prints, the files that it writes, and how it exits."""

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from gateway import cli
from gateway.commands.explaining import NO_STATION
from gateway.judge.judge import Judge
from tests.judge.listening import source_of
from tests.replay.recording import LiveGateway, written

CALM = "version: 1\nname: calm\nrates: [{name: one-station, allow: 2 per hour}]\n"
HEAD = "version: 1\nname: test\n"


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    """Two stations, six frames each, a copy, and one frame from the internet."""
    live = LiveGateway()
    for number in range(6):
        for source in (b"QA1BCD-9", b"QB2CDE"):
            live.hear(b"%b>APRS:!5836.%02dN/00355.00W>under way" % (source, number))
        live.wait(60)
    live.hear(b"QB2CDE>APRS,TCPIP*:>no")
    live.hear(b"QC3DEF>APRS:>caf\xe9 \x1b[31m")
    live.hear(b"QC3DEF>APRS,QD1RPT*:>caf\xe9 \x1b[31m")
    return written(tmp_path / "capture", live.lines())


@pytest.fixture
def calm(tmp_path: Path) -> Path:
    path = tmp_path / "calm.yaml"
    path.write_text(CALM)
    return path


def replay(*arguments: object) -> int:
    return cli.main(["replay", *map(str, arguments)])


def as_object(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    assert replay(*arguments, "--json") == cli.FINE
    plain = json.loads(capsys.readouterr().out)
    assert isinstance(plain, dict)
    return plain


def test_one_policy_is_summed_up_in_words(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert replay(capture, "--policy", "receive-only") == cli.FINE
    told = capsys.readouterr()
    assert told.err == ""
    lines = told.out.splitlines()
    assert lines[0] == "15 frames heard from 2026-06-06T12:00:00Z to 2026-06-06T12:06:00Z, by vhf 15"
    table = dict(line.split("  ", 1) for line in lines[2:] if "  " in line.strip())
    figures = {name.strip(): cells.strip() for name, cells in table.items()}
    assert figures["heard"] == "15"
    assert figures["forward"] == "13"
    assert figures["keep"] == "2"
    assert any(line.split() == ["internet-origin", "1"] for line in lines)
    assert any(line.split() == ["duplicate", "1"] for line in lines)
    assert "judged live by policies other than receive-only@" in told.out
    assert "\x1b" not in told.out


def test_one_policy_is_summed_up_as_an_object(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain = as_object(capsys, capture, "--policy", "receive-only")
    (policy,) = plain["policies"]
    assert (policy["heard"], policy["forward"], policy["keep"]) == (15, 13, 2)
    assert policy["keep_by_reason"] == {"internet-origin": 1, "duplicate": 1}
    assert policy["busiest_minute"]["lines"] == 2
    assert policy["stations"] == 3
    assert (plain["order"]["runs"], plain["order"]["complete"], plain["reading"]["damaged"]) == (1, True, 0)
    assert "differing" not in plain
    assert "advice" not in plain


def test_what_the_policy_decided_live_comes_out_the_same(
    tmp_path: Path, capture: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "test.yaml"
    path.write_text(HEAD)
    assert replay(capture, "--policy", path) == cli.FINE
    assert f"as it was live: 15 of 15 frames that test@{source_of('').digest} judged came out the same" in (
        capsys.readouterr().out
    )


def test_two_policies_are_set_side_by_side(capture: Path, calm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert replay(capture, "--policy", calm, "--against", "receive-only", "--top", 1) == cli.FINE
    told = capsys.readouterr().out
    assert "0 frames of 0 stations (0 octets) forwarded by calm@" in told
    assert "8 frames of 2 stations (" in told
    assert "        4  QA1BCD-9   kept by calm@" in told
    assert ": over-rate, one-station" in told
    assert "and 4 frames in smaller groups; --csv and --json list every one" in told


def test_every_frame_that_differs_is_in_the_object_and_in_the_rows(
    tmp_path: Path, capture: Path, calm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = tmp_path / "rows.csv"
    plain = as_object(capsys, capture, "--policy", calm, "--against", "receive-only", "--csv", rows)
    differing = plain["differing"]
    assert len(differing) == 8 == plain["difference"]["only_against_forwards"]["frames"]
    assert {frame["policy"]["rule"] for frame in differing} == {"one-station"}
    assert {frame["against"]["verdict"] for frame in differing} == {"forward"}
    with rows.open(encoding="utf-8", newline="") as file:
        listed = list(csv.DictReader(file))
    assert [int(row["sequence"]) for row in listed] == [frame["sequence"] for frame in differing]
    assert plain["difference"]["groups"] == [
        {"forwarded_by": "against", "station": station, "reason": "over-rate", "rule": "one-station", "frames": 4}
        for station in ("QA1BCD-9", "QB2CDE")
    ]


def test_with_one_policy_every_frame_has_a_row(tmp_path: Path, capture: Path) -> None:
    rows = tmp_path / "rows.csv"
    assert replay(capture, "--policy", "receive-only", "--csv", rows) == cli.FINE
    with rows.open(encoding="utf-8", newline="") as file:
        listed = list(csv.DictReader(file))
    assert len(listed) == 15
    assert listed[-1]["line"] == "QC3DEF>APRS,QD1RPT*:>caf\N{REPLACEMENT CHARACTER} \\x1b[31m"


def test_advice_comes_with_lines_and_their_effect(
    tmp_path: Path, calm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    live = LiveGateway()
    for number in range(40):
        for station in range(6):
            live.hear(b"QA%dBC>APRS:>%d" % (station, number))
        live.wait(120)
    capture = written(tmp_path / "tight", live.lines())
    plain = as_object(capsys, capture, "--policy", calm, "--advise")
    (advice,) = plain["advice"]
    assert advice["fault"] == "tight-rate"
    assert "allow: 4 per hour" in advice["lines"]
    assert advice["effect"]["gained"]["frames"] > 0
    assert replay(capture, "--policy", calm, "--advise") == cli.FINE
    told = capsys.readouterr().out
    assert "Advice 1: the rate one-station kept frames of 6 of the 6 stations" in told
    assert "        allow: 4 per hour\n" in told
    assert f"{advice['effect']['gained']['frames']} frames more would have" in told
    assert replay(capture, "--policy", "receive-only", "--advise") == cli.FINE
    assert "Advice: none." in capsys.readouterr().out


def test_the_station_counts(tmp_path: Path, capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    station = tmp_path / "station.yaml"
    station.write_text(
        "station: {callsign: QX1GAT-10, position: {latitude: 58.6, longitude: -3.9167}}\n"
        "receivers: [{name: vhf, from: 'kiss+tcp://127.0.0.1:7581'}]\n"
    )
    near = tmp_path / "near.yaml"
    near.write_text(f"{HEAD}rules: [{{name: near, when: {{distance: {{within: 20km}}}}, then: keep}}]\n")
    without = as_object(capsys, capture, "--policy", near)
    assert without["policies"][0]["forward"] == 13
    assert len(without["notes"]) == 1
    assert replay(capture, "--policy", "receive-only", "--against", near) == cli.FINE
    assert without["notes"][0] in capsys.readouterr().out
    with_station = as_object(capsys, capture, "--policy", near, "--station", station)
    assert with_station["policies"][0]["keep_by_rule"] == {"near": 12}
    assert with_station["notes"] == []


def test_damaged_lines_are_told_and_no_reason_to_fail(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = capture.read_bytes()
    capture.write_bytes(b"\x1b[31mnothing\n" + whole[:-20])
    assert replay(capture, "--policy", "receive-only") == cli.FINE
    told = capsys.readouterr().out
    assert "2 lines passed over:" in told
    assert f"  {capture}:1: neither a heard object nor a line with its time before it" in told
    assert f"  {capture}:16: no JSON" in told
    assert "\x1b" not in told


def test_missing_frames_are_told(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = capture.read_bytes().splitlines()
    written(capture, [*lines[2:5], *lines[6:]])
    assert replay(capture, "--policy", "receive-only") == cli.FINE
    told = capsys.readouterr().out
    assert "incomplete: the first 2 frames of 1 run are not in it" in told
    assert "incomplete: 1 frame missing in the midst of 1 run" in told
    assert "in run-1: what depends on the missing ones may come out otherwise" in told


@pytest.mark.parametrize(
    ("content", "because"),
    [
        (None, "No such file or directory"),
        (b"SQLite format 3\0" + b"\0" * 500, "the journal"),
        (b"\x1f\x8b\x08 no gzip at all, however it begins", "gzip data is damaged"),
        (b"", "No frame could be read."),
    ],
)
def test_what_cannot_be_read_exits_with_1(
    tmp_path: Path, content: bytes | None, because: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "capture"
    if content is not None:
        path.write_bytes(content)
    assert replay(path, "--policy", "receive-only") == cli.FOUND_WRONG
    told = capsys.readouterr().out
    assert because in told


def test_a_verdict_that_should_have_been_another_exits_with_1(
    tmp_path: Path, capture: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "test.yaml"
    path.write_text(HEAD)
    text = capture.read_text("utf-8")
    text = text.replace('"verdict":"forward"', '"verdict":"keep","reason":"rule","rule":"\\u001b[2J"', 1)
    capture.write_text('{"run":"run-1","began_with":{}}\n' + text)
    assert replay(capture, "--policy", path) == cli.FOUND_WRONG
    told = capsys.readouterr().out
    assert "1 came out otherwise: this must not be" in told
    assert "run-1 number 1: live keep: rule, \\x1b[2J; now forward" in told


def test_a_bad_policy_exits_with_1_before_anything_is_read(
    tmp_path: Path, capture: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = tmp_path / "bad.yaml"
    bad.write_text("version: 1\nname: bad\nrules: [{name: x}]\n")
    for arguments in (("--policy", bad), ("--policy", "receive-only", "--against", bad), ("--policy", "no-such")):
        assert replay(capture, *arguments) == cli.FOUND_WRONG
        told = capsys.readouterr()
        assert told.out == ""
        assert told.err


def test_a_file_of_rows_that_cannot_be_written_exits_with_1(
    tmp_path: Path, capture: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    nowhere = tmp_path / "no" / "rows.csv"
    assert replay(capture, "--policy", "receive-only", "--csv", nowhere) == cli.FOUND_WRONG
    assert f"{nowhere}:1: cannot be written: No such file or directory" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "because"),
    [
        (["-", "--policy", "receive-only", "--advise"], "--advise reads what was heard twice"),
        (["-", "-", "--policy", "receive-only"], "standard input can be read once"),
    ],
)
def test_what_cannot_be_done_exits_with_2(
    arguments: list[str], because: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert replay(*arguments) == cli.USED_WRONGLY
    assert because in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [["capture"], ["--policy", "receive-only"], ["x", "--policy", "y", "--nonsense"]])
def test_unknown_or_missing_arguments_exit_with_2(arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as left:
        replay(*arguments)
    assert left.value.code == cli.USED_WRONGLY


def test_without_a_station_every_callsign_fits() -> None:
    """The longest callsign takes the most octets: what fits with it fits with any."""
    assert len(NO_STATION.callsign) == 9
    assert Judge(source_of("").compiled(NO_STATION)).policy.origin is None
