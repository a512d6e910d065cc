"""The commands as an operator and a script use them: what they print, where, and how they exit."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from gateway import __version__, cli
from gateway.cli import FINE, FOUND_WRONG, USED_WRONGLY, WRONG_CONFIGURATION
from gateway.feed.schemas import Schema
from gateway.settings import PASSCODE_VARIABLE
from tests.payload_schemas import validator

TREE = Path(__file__).parent.parent
DIRECT = "QA1BCD-9>APRS,QD1AA*:!5836.00N/00355.00W>moored"
PASSCODE = "21161"  # trade-notes' check value for QX1GAT, from memory
STATION = """\
station: {callsign: QX1GAT-10, position: {latitude: 58.6, longitude: -3.9167}}
receivers: [{name: vhf, from: "kiss+tcp://127.0.0.1:7581"}]
policy: own.yaml
uplink: {servers: [tcp://127.0.0.1], passcode_file: passcode}
"""
POLICY = """\
version: 1
name: own
rules:
  - {name: bench, when: {source: "QZ9*"}, then: keep}
examples:
  - {frame: "QZ9A>APRS:x", expect: keep, rule: bench}
"""


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a station file, its policy and its passcode."""
    (tmp_path / "station.yaml").write_text(STATION)
    (tmp_path / "own.yaml").write_text(POLICY)
    (tmp_path / "passcode").write_text(PASSCODE)
    (tmp_path / "passcode").chmod(0o600)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv(PASSCODE_VARIABLE, raising=False)
    return tmp_path


class Command:
    """Runs commands in this process and keeps what they print."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys
        self.out = self.err = ""

    def __call__(self, *arguments: str) -> int:
        try:
            status = cli.main(arguments)
        except SystemExit as left:  # argparse leaves so
            status = int(left.code or 0)
        self.out, self.err = self._capsys.readouterr()
        return status

    def plain(self) -> dict[str, Any]:
        plain = json.loads(self.out)
        assert isinstance(plain, dict)
        return plain


@pytest.fixture
def stile(house: Path, capsys: pytest.CaptureFixture[str]) -> Command:  # noqa: ARG001 - it runs there
    return Command(capsys)


def standard_input(monkeypatch: pytest.MonkeyPatch, octets: bytes) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(octets)))


def is_one_terminal_line(text: str) -> bool:
    return text.isprintable()


# Used wrongly.


@pytest.mark.parametrize(
    "arguments",
    [
        [], ["walk"], ["check"], ["check", "a", "b"], ["check", "station.yaml", "--loud"], ["run"], ["explain"],
        ["explain", "--policy", "own.yaml"], ["explain", DIRECT, "--policy"],
    ],
)  # fmt: skip
def test_what_is_used_wrongly_exits_2_and_says_how_it_is_used(stile: Command, arguments: list[str]) -> None:
    assert stile(*arguments) == USED_WRONGLY
    assert stile.out == ""
    assert stile.err.startswith("usage: stile")


def test_help_and_version(stile: Command) -> None:
    assert stile("--version") == FINE
    assert stile.out == f"stile {__version__}\n"
    assert stile("--help") == FINE
    for command in ("run", "check", "explain", "replay"):
        assert f"\n    {command} " in stile.out
    assert "Not a distress watch" in " ".join(stile.out.split())
    assert stile("explain", "--help") == FINE


# check


def test_a_station_that_is_fine_exits_0(stile: Command) -> None:
    assert stile("check", "station.yaml") == FINE
    assert stile.err == ""
    *understood, fine = stile.out.splitlines()
    assert understood[0] == "  call        QX1GAT-10"
    assert fine.startswith("station.yaml: fine, with the policy own@")
    assert fine.endswith(": 1 rule, 0 rates, 1 example held")


def test_check_as_json_says_all_there_is(stile: Command) -> None:
    assert stile("check", "station.yaml", "--json") == FINE
    plain = stile.plain()
    assert plain.pop("policy").startswith("own@")
    assert plain.pop("understood")["callsign"] == "QX1GAT-10"
    assert plain == {"station": "station.yaml", "problems": [], "warnings": [], "rules": 1, "rates": 0, "examples": 1}


def test_a_warning_exits_0_and_with_strict_1(stile: Command, house: Path) -> None:
    (house / "station.yaml").write_text(STATION.replace(", passcode_file: passcode", ""))
    said = "station.yaml:4: uplink: without a passcode the gateway logs in to receive only: nothing goes up\n"
    for arguments, status in ((["station.yaml"], FINE), (["--strict", "station.yaml"], FOUND_WRONG)):
        assert stile("check", *arguments) == status
        assert stile.err == said
        assert stile.out.endswith("held; 1 warning\n")
    assert stile("check", "station.yaml", "--strict", "--json") == FOUND_WRONG
    assert [warning["line"] for warning in stile.plain()["warnings"]] == [4]
    assert stile("check", "station.yaml", "--json") == FINE


def test_strict_is_content_with_a_station_without_warnings(stile: Command) -> None:
    assert stile("check", "station.yaml", "--strict") == FINE


def test_a_mistake_in_the_station_file_exits_1_with_its_place(stile: Command, house: Path) -> None:
    (house / "station.yaml").write_text(STATION.replace("uplink:", "uplnk:"))
    assert stile("check", "station.yaml") == FOUND_WRONG
    assert stile.err == 'station.yaml:4: uplnk: unknown key - did you mean "uplink"?\n'
    assert stile.out == "station.yaml: 1 problem: it cannot be used as it is\n"
    assert stile("check", "station.yaml", "--json") == FOUND_WRONG
    plain = stile.plain()
    assert plain["problems"] == [
        {"file": "station.yaml", "line": 4, "key": "uplnk", "what": 'unknown key - did you mean "uplink"?'}
    ]
    assert (plain["policy"], stile.err) == (None, "")


def test_a_slip_of_the_pen_is_shown_with_a_caret_and_in_a_log_on_one_line(stile: Command, house: Path) -> None:
    (house / "station.yaml").write_text(STATION.replace("policy: own.yaml", "policy: [own.yaml"))
    said = "station.yaml:3: the bracket [ that opens here is not closed: write ] at its end\n"
    assert stile("check", "station.yaml") == FOUND_WRONG
    assert stile.err == f"{said}    policy: [own.yaml\n            ^\n"
    assert stile("check", "station.yaml", "--json") == FOUND_WRONG
    assert stile.plain()["problems"][0]["column"] == 9
    ended = process("run", "station.yaml")
    assert (ended.returncode, ended.stderr.decode()) == (WRONG_CONFIGURATION, said)


def test_mistakes_in_the_policy_exit_1_with_their_places(stile: Command, house: Path) -> None:
    (house / "own.yaml").write_text(POLICY.replace("rule: bench}", "rule: other}"))
    assert stile("check", "station.yaml") == FOUND_WRONG
    assert stile.err == (
        "own.yaml:6: examples[0]: the example expects keep, other, but the policy says keep, rule, bench\n"
    )
    (house / "own.yaml").write_text(POLICY.replace("source:", "sorce:").replace("then: keep", "then: kepe"))
    assert stile("check", "station.yaml") == FOUND_WRONG
    assert [line.split(": ")[1] for line in stile.err.splitlines()] == ["rules[0].when.sorce", "rules[0].then"]


def test_what_run_would_refuse_check_refuses_too(stile: Command, house: Path) -> None:
    (house / "own.yaml").write_text(POLICY + "rates: [{name: plan, allow: 2 MB per day}]\n")
    assert stile("check", "station.yaml") == FOUND_WRONG
    assert stile.err.startswith("own.yaml:7: rates[0]: a budget must survive a restart: write `journal: ")
    (house / "station.yaml").write_text(STATION + "journal: {path: stile.db}\n")
    assert stile("check", "station.yaml") == FINE


def test_a_file_that_is_not_there_exits_1(stile: Command) -> None:
    assert stile("check", "none.yaml") == FOUND_WRONG
    assert stile.err == "none.yaml:1: cannot be read: No such file or directory\n"


def test_a_passcode_of_another_callsign_is_told_beside_what_is_wrong_with_the_policy(
    stile: Command, house: Path
) -> None:
    (house / "passcode").write_text("12345")
    (house / "own.yaml").write_text(POLICY.replace("source:", "sorce:"))
    assert stile("check", "station.yaml") == FOUND_WRONG
    said = stile.err.splitlines()
    assert said[0].startswith("station.yaml:4: uplink.passcode_file: the passcode does not belong to QX1GAT-10")
    assert said[1].startswith("own.yaml:4: rules[0].when.sorce: ")
    assert "12345" not in stile.err + stile.out


def test_a_hostile_file_prints_one_line_a_problem(stile: Command, house: Path) -> None:
    (house / "station.yaml").write_text(STATION + '"\\e[31m\\nfine": 1\n')
    assert stile("check", "station.yaml") == FOUND_WRONG
    (line,) = stile.err.splitlines()
    assert is_one_terminal_line(line)
    assert line.startswith(r"station.yaml:5: \x1b[31m\nfine: unknown key")


# explain


def test_a_frame_is_explained_step_by_step(stile: Command) -> None:
    assert stile("explain", DIRECT, "--policy", "receive-only") == FINE
    lines = stile.out.splitlines()
    assert lines[0].startswith("forward  (receive-only@")
    assert lines[3].split() == ["damaged", "Is", "it", "damaged?", "no"]
    # Without a station file as long a callsign as can be stands for its own.
    assert "goes up as: QA1BCD-9>APRS,QD1AA*,qAO,QX1GAT-10:!5836.00N/00355.00W>moored" in lines
    assert "  kind: position" in lines
    assert stile.err == ""


def test_the_step_that_decided_is_marked(stile: Command) -> None:
    assert stile("explain", "QA1BCD>APRS,TCPIP*:x", "--policy", "receive-only") == FINE
    marked = [line for line in stile.out.splitlines() if line.startswith("→")]
    assert [" ".join(line.split()) for line in marked] == [
        "→ internet-origin Did it come from the internet (TCPIP, TCPXX)? yes: TCPIP"
    ]
    assert stile.out.startswith("keep: internet-origin  (")
    assert "goes up as" not in stile.out


def test_the_rule_that_decided_is_named(stile: Command) -> None:
    assert stile("explain", "QZ9A>APRS:x", "--policy", "own.yaml") == FINE
    assert stile.out.startswith("keep: rule, bench  (own@")


def test_the_station_files_callsign_and_position_count_and_its_secrets_do_not(stile: Command, house: Path) -> None:
    (house / "passcode").unlink()
    far = "QA1BCD-9>APRS:!5936.00N/00355.00W>"
    rule = "{name: bench, when: {distance: {beyond: 100km}}, then: keep}"
    (house / "own.yaml").write_text(f"version: 1\nname: own\nrules: [{rule}]\n")
    assert stile("explain", far, "--policy", "own.yaml", "--station", "station.yaml") == FINE
    assert stile.out.startswith("keep: rule, bench  (own@")
    assert stile("explain", DIRECT, "--policy", "own.yaml", "--station", "station.yaml") == FINE
    assert "goes up as: QA1BCD-9>APRS,QD1AA*,qAO,QX1GAT-10:" in stile.out


def test_the_receiver_counts(stile: Command, house: Path) -> None:
    (house / "own.yaml").write_text("version: 1\nname: own\nrules: [{name: hf, when: {receiver: hf}, then: keep}]\n")
    assert stile("explain", DIRECT, "--policy", "own.yaml", "--receiver", "hf") == FINE
    assert stile.out.startswith("keep: rule, hf")
    assert stile("explain", DIRECT, "--policy", "own.yaml") == FINE
    assert stile.out.startswith("forward  (own@")


def test_explain_as_json_is_the_heard_object_with_its_steps(stile: Command) -> None:
    assert stile("explain", DIRECT, "--policy", "own.yaml", "--station", "station.yaml", "--json") == FINE
    plain = stile.plain()
    steps = plain.pop("steps")
    validator(Schema.HEARD).validate(plain)
    assert (plain["source"], plain["path"], plain["verdict"]) == ("QA1BCD-9", ["QD1AA*"], "forward")
    assert plain["report"]["kind"] == "position"
    assert plain["report"]["distance_km"] == pytest.approx(0.02, abs=0.03)
    assert all(set(step) == {"step", "asked", "answer", "decided"} for step in steps)
    assert [step["step"] for step in steps][:2] == ["damaged", "not-ui"]
    assert stile("explain", "QZ9A>APRS:x", "--policy", "own.yaml", "--json") == FINE
    last = stile.plain()["steps"][-1]
    assert last == {
        "step": "rule bench",
        "asked": "Does everything hold that it asks?",
        "answer": "yes: keep",
        "decided": True,
    }


def test_a_line_that_is_no_frame_exits_1(stile: Command) -> None:
    assert stile("explain", "no frame", "--policy", "receive-only") == FOUND_WRONG
    assert stile.out.startswith("keep: damaged  (")
    assert stile("explain", "", "--policy", "receive-only", "--json") == FOUND_WRONG
    assert stile.plain()["reason"] == "damaged"


@pytest.mark.parametrize("end", [b"", b"\n", b"\r\n", b"\n\n"])
def test_a_dash_reads_a_line_from_standard_input(stile: Command, monkeypatch: pytest.MonkeyPatch, end: bytes) -> None:
    standard_input(monkeypatch, b"QA1BCD-9>APRS:caf\xe9 \xff" + end)
    assert stile("explain", "-", "--policy", "receive-only", "--json") == FINE
    plain = stile.plain()
    assert (plain["source"], plain["information_base64"]) == ("QA1BCD-9", "Y2Fm6SD/")


def test_a_line_without_end_on_standard_input_is_read_no_further_than_it_need_be(
    stile: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    octets = io.BytesIO(b"QA1BCD-9>APRS:" + b"x" * 10_000_000)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(octets))
    assert stile("explain", "-", "--policy", "receive-only") == FINE
    assert "keep: too-long" in stile.out


def test_many_lines_are_explained_one_object_a_line_each_with_those_before_in_mind(
    stile: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    standard_input(monkeypatch, f"2026-06-06T12:00:00Z {DIRECT}\n2026-06-06T12:00:05Z {DIRECT}\nno frame\n".encode())
    assert stile("explain", "-", "--policy", "receive-only", "--json") == FOUND_WRONG
    objects = [json.loads(line) for line in stile.out.splitlines()]
    assert [plain.get("reason") for plain in objects] == [None, "duplicate", "damaged"]
    assert "5.0 s ago" in objects[1]["steps"][-1]["answer"]
    standard_input(monkeypatch, b"QA1BCD>APRS:x\nQB2CDE>APRS:x\n")
    assert stile("explain", "-", "--policy", "receive-only", "--json") == FINE


def test_what_one_would_paste_is_understood(stile: Command, house: Path) -> None:
    (house / "own.yaml").write_text("version: 1\nname: own\nrules: [{name: hf, when: {receiver: hf}, then: keep}]\n")
    for pasted in (f"hf {DIRECT}", f"hf: {DIRECT}", f"2026-06-06T12:00:00Z hf {DIRECT}"):
        assert stile("explain", pasted, "--policy", "own.yaml") == FINE
        assert stile.out.startswith("keep: rule, hf")
    assert stile("explain", DIRECT, "--policy", "own.yaml", "--receiver", "hf", "--json") == FINE
    heard = stile.plain()
    del heard["steps"]
    assert stile("explain", json.dumps(heard), "--policy", "own.yaml") == FINE
    assert stile.out.startswith("keep: rule, hf")
    assert stile("explain", '{"no": "frame"}', "--policy", "own.yaml") == FOUND_WRONG


def test_the_policy_is_the_station_files_where_none_is_named(stile: Command) -> None:
    assert stile("explain", "QZ9A>APRS:x", "--station", "station.yaml") == FINE
    assert "@" in stile.out.splitlines()[0]
    assert stile("explain", "QZ9A>APRS:x") == USED_WRONGLY
    assert "--policy P" in stile.err


def test_octets_that_are_no_text_reach_explain_from_the_command_line(stile: Command) -> None:
    assert stile("explain", "QA1BCD-9>APRS:caf\udce9", "--policy", "receive-only", "--json") == FINE
    assert stile.plain()["information_base64"] == "Y2Fm6Q=="


HOSTILE = [
    b"QA1BCD-9>APRS:!5836.00N/00355.00W>\x1b[31mred\x07\x1b]0;title\x07",
    b"QA1BCD-9>APRS:>\xe2\x80\xaetxt.\xe2\x80\xa8 \xe2\x80\xa9\x85\x9b31m",
    b"QA1BCD-9>APRS::QB2\x1b[2J   :hello\x1b[1A",
    b"QA1BCD-9>APRS:;\x1b[31mNAME *092345z5836.00N/00355.00W>\x1b[0m",
    b"QA1BCD-9>APRS:{Q\x1b[31m",
    b"QA1BCD-9>APRS:}QB2\x1bCDE>APRS:x",
    b"QA1BCD-9>APRS:}QB2CDE>APRS,TCPIP\x1b:x",
    b"QA1BCD-9>APRS,TCPIP\x9b*:x",
    b"QA1BCD-9>APRS:<\x1b[31m,A\x1b=\x1b[1m",
    b"\x1b[31mQA1BCD-9>APRS:x",
    b"QA1BCD-9>APRS:" + bytes(range(256)),
]


@pytest.mark.parametrize("line", HOSTILE)
def test_text_from_the_air_cannot_reach_the_terminal_as_more_than_text(
    stile: Command, monkeypatch: pytest.MonkeyPatch, line: bytes
) -> None:
    for arguments in ([], ["--json"]):
        standard_input(monkeypatch, line)
        stile("explain", "-", "--policy", "receive-only", *arguments)
        assert all(map(is_one_terminal_line, stile.out.split("\n")))
        assert stile.err == ""


def test_what_goes_up_is_shown_to_its_last_space(stile: Command) -> None:
    assert stile("explain", "QA1BCD-9>APRS:>two spaces  ", "--policy", "receive-only") == FINE
    assert "goes up as: QA1BCD-9>APRS,qAO,QX1GAT-10:>two spaces  \n" in stile.out


def test_a_policy_that_cannot_be_used_exits_1_with_its_place(stile: Command, house: Path) -> None:
    (house / "own.yaml").write_text(POLICY.replace("then: keep", "then: kepe"))
    assert stile("explain", DIRECT, "--policy", "own.yaml") == FOUND_WRONG
    assert stile.err.startswith("own.yaml:4: rules[0].then: this should be 'forward' or 'keep'")
    assert stile.out == ""
    assert stile("explain", DIRECT, "--policy", "own.yaml", "--json") == FOUND_WRONG
    (problem,) = stile.plain()["problems"]
    assert (problem["file"], problem["line"], problem["key"]) == ("own.yaml", 4, "rules[0].then")
    assert stile.err == ""


def test_a_ready_policy_that_there_is_not_exits_1_with_the_nearest(stile: Command) -> None:
    assert stile("explain", DIRECT, "--policy", "recieve-only") == FOUND_WRONG
    assert 'did you mean "receive-only"?' in stile.err


def test_a_station_that_cannot_be_used_exits_1(stile: Command) -> None:
    assert stile("explain", DIRECT, "--policy", "own.yaml", "--station", "none.yaml") == FOUND_WRONG
    assert stile.err == "none.yaml:1: cannot be read: No such file or directory\n"


# As a process.


def process(*arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "gateway.cli", *arguments],
        env={**os.environ, "PYTHONPATH": str(TREE), **environment},
        capture_output=True,
        check=False,
    )


def test_a_reader_that_has_had_enough_ends_the_command_quietly() -> None:
    command = f'{sys.executable} -m gateway.cli explain "QA1BCD>APRS:?x" --policy receive-only --json; echo $? >&2'
    done = subprocess.run(
        ["bash", "-c", f"({command}) | true"],
        env={**os.environ, "PYTHONPATH": str(TREE)},
        capture_output=True,
        check=False,
    )
    assert done.stderr == b"0\n"


def test_a_terminal_without_the_character_shows_its_escape() -> None:
    done = process("explain", "QA1BCD>APRS:?x", "--policy", "receive-only", PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"\\u2192 generic-query" in done.stdout


def test_help_waits_for_nothing_that_only_a_command_needs() -> None:
    code = (
        "import sys; from gateway import cli\n"
        "try: cli.main(['--help'])\n"
        "except SystemExit: assert not {'pydantic', 'yaml', 'gateway.settings'} & set(sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": str(TREE)}, capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")


def test_no_command_loads_what_another_needs() -> None:
    code = (
        "import sys; from gateway import cli; cli.main(['explain', 'QA1BCD>APRS:x', '--policy', 'receive-only']);"
        "assert not {'paho', 'aiomqtt', 'amqtt', 'sqlite3', 'aiohttp', 'structlog'} & set(sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": str(TREE)}, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr.decode()


@pytest.mark.parametrize(("command", "status"), [("check", FINE), ("who", FOUND_WRONG), ("reach", FOUND_WRONG)])
def test_a_journal_that_may_not_be_looked_for_is_said(
    stile: Command, house: Path, monkeypatch: pytest.MonkeyPatch, command: str, status: int
) -> None:
    """As in a folder of another user, which is none to who runs the tests as root."""
    for name, as_in_python_3_14 in (("exists", os.path.exists), ("is_dir", os.path.isdir), ("is_file", os.path.isfile)):
        monkeypatch.setattr(Path, name, as_in_python_3_14)  # they take what they may not see for what is not there
    (house / "station.yaml").write_text(f"{STATION}journal: {{path: {'x' * 300}}}\n")
    assert stile(command, "station.yaml") == status
    assert "cannot be used: File name too long" in stile.err


def shell(line: str) -> subprocess.CompletedProcess[bytes]:
    """A line for bash, in which `stile` is the command."""
    stile = f'stile() {{ "{sys.executable}" -m gateway.cli "$@"; }}; '
    environment = {**os.environ, "PYTHONPATH": str(TREE)}
    return subprocess.run(["bash", "-c", stile + line], env=environment, capture_output=True, check=False)


@pytest.mark.parametrize(
    ("line", "status"),
    [
        ("stile explain - --policy receive-only <&-", FOUND_WRONG),
        ("stile replay - --policy receive-only <&-", FOUND_WRONG),
        ("stile setup <&-", USED_WRONGLY),
        ("stile replay - --policy receive-only --json </dev/null >&-", FOUND_WRONG),
    ],
)
def test_a_stream_that_was_closed_at_the_start_is_as_good_as_empty(line: str, status: int) -> None:
    done = shell(line)
    assert (done.returncode, b"Traceback" in done.stderr) == (status, False)


def test_a_doctor_who_cannot_say_that_it_takes_a_while_says_the_rest() -> None:
    assert b" wrong, " in shell("stile doctor none.yaml 2>&-").stdout


@pytest.mark.parametrize("command", ["explain QA1BCD>APRS:x --policy receive-only", "changes"])
def test_a_full_disk_under_what_is_printed_is_said(command: str) -> None:
    done = shell(f"stile {command.replace('>', chr(92) + '>')} > /dev/full")
    assert done.returncode == FOUND_WRONG
    assert done.stderr == b"what was to be printed cannot be written: No space left on device\n"


def test_a_full_disk_under_a_table_is_said(house: Path, stile: Command) -> None:
    (house / "heard.txt").write_text("2026-06-06T12:00:00Z QA1BCD-9>APRS:x\n")
    assert stile("replay", "heard.txt", "--policy", "own.yaml", "--csv", "/dev/full") == FOUND_WRONG
    assert stile.err == "/dev/full:1: cannot be written: No space left on device\n"
