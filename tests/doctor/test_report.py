"""The command as it is used: exit status, what is printed, and a report that gives nothing away."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from gateway import cli
from gateway.commands.checking import CheckReport
from gateway.doctor import doctor
from gateway.doctor.checks import CHECKS
from gateway.doctor.doctor import Diagnosis
from gateway.doctor.evidence import Evidence
from gateway.doctor.finding import look, ok, wrong
from gateway.doctor.report import in_report
from gateway.probes.clock import ClockFound
from gateway.settings import PASSCODE_VARIABLE
from tests.doctor.posts import PASSCODE, Post
from tests.mosquitto_broker import free_port

TOKEN = "hush-7f3a-hush-7f3a"


@pytest.fixture
def post(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Post:
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    monkeypatch.delenv(PASSCODE_VARIABLE, raising=False)
    (tmp_path / "token").write_text(TOKEN)
    (tmp_path / "token").chmod(0o600)
    return Post(
        tmp_path,
        free_port(),
        [f"web: {{listen: '127.0.0.1:{free_port()}', token_file: token}}", "journal: {path: stile.db}"],
        position="{locator: IO88AO}",
    )


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str]:
    status = cli.main(["doctor", *map(str, arguments)])
    return status, capsys.readouterr().out


def test_something_wrong_is_exit_status_1_and_the_last_line_adds_up(
    post: Post, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out = run(capsys, post.write())
    lines = out.splitlines()
    counts = {grade: sum(line.startswith(grade) for line in lines[:-1]) for grade in ("wrong", "look", "ok")}
    assert status == cli.FOUND_WRONG
    assert lines[-1] == ", ".join(f"{count} {grade}" for grade, count in counts.items())
    assert counts["wrong"] == 1


def test_what_is_only_to_be_looked_at_is_fine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    async def no_evidence(*_: object, **__: object) -> None:
        return None

    monkeypatch.setattr(doctor, "examine", no_evidence)
    for finding, status in [(look("x"), cli.FINE), (ok("x"), cli.FINE), (wrong("x", "y"), cli.FOUND_WRONG)]:
        monkeypatch.setattr(doctor, "judge", lambda _, finding=finding: iter([replace(finding, check="clock")]))
        assert run(capsys, tmp_path)[0] == status


def test_a_station_file_that_is_not_there_is_wrong_and_the_computer_is_looked_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out = run(capsys, "--json", tmp_path / "none.yaml")
    told = json.loads(out)
    assert status == cli.FOUND_WRONG
    assert told["wrong"] >= 1
    assert {"station file", "clock", "versions"} <= {finding["check"] for finding in told["findings"]}
    assert all(set(finding) == {"check", "subject", "grade", "what", "do"} for finding in told["findings"])


def test_a_report_holds_no_secret_no_folder_of_a_user_and_no_place_nearer_than_a_field(
    post: Post, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    post.more.append(f"uplink: {{servers: ['tcp://127.0.0.1:{free_port()}']}}")
    monkeypatch.setenv(PASSCODE_VARIABLE, PASSCODE)
    _, out = run(capsys, "--report", post.write())
    assert "place: field IO\n" in out
    assert "comes from the variable STILE_PASSCODE" in out
    for kept_out in (PASSCODE, TOKEN, "IO88", str(post.folder), "58.6", "3.9"):
        assert kept_out not in out


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ("'IO88AO' is a square", "'IO..' is a square"),
        ("58.6000, -3.9167: here?", "(degrees), (degrees): here?"),
        ("io88ao17", "io.."),
    ],
)
def test_words_that_quote_a_place_are_cut(post: Post, what: str, said: str) -> None:
    evidence = Evidence(CheckReport(post.path), ClockFound(0, synchronised=False, chip=False))
    diagnosis = Diagnosis(post.path, evidence, (replace(look(what), check="station file"),))
    assert f"look  station file: {said}\n" in in_report(diagnosis)


def test_every_check_has_a_name_of_its_own() -> None:
    names = [name for name, _ in CHECKS]
    assert len(set(names)) == len(names)
