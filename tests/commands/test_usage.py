"""How the commands are asked for; completion by the shells themselves, the manual page by a formatter of its own."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from gateway import __version__, cli
from gateway.cli import FINE, FOUND_WRONG, USED_WRONGLY
from gateway.commands.usage import SHELLS
from gateway.documents.problem import LONGEST_WORD

Captured = pytest.CaptureFixture[str]


def stile(*arguments: str) -> int:
    try:
        return cli.main(arguments)
    except SystemExit as left:  # argparse leaves so
        return int(left.code or 0)


def all_commands() -> list[str]:
    return list(cli.parsers()[1])


def made(capsys: Captured, *arguments: str) -> str:
    assert stile(*arguments) == FINE
    return capsys.readouterr().out


def test_alone_it_lists_every_command_with_a_line_each(capsys: Captured) -> None:
    assert stile() == USED_WRONGLY
    told = capsys.readouterr()
    assert told.out == ""
    for command in all_commands():
        assert re.search(rf"^    {command} +\w", told.err, re.MULTILINE), command


@pytest.mark.parametrize(
    ("wrong", "answer"),
    [
        ("rnu", 'there is no command "rnu" - did you mean "run"?'),
        ("expl", 'there is no command "expl" - did you mean "explain"?'),
        ("zzz", 'there is no command "zzz": `stile` alone lists them'),
        ("x" * 500, f'there is no command "{"x" * LONGEST_WORD}": `stile` alone lists them'),
    ],
)
def test_a_command_that_there_is_not_is_answered_with_the_nearest(capsys: Captured, wrong: str, answer: str) -> None:
    assert stile(wrong, "station.yaml") == USED_WRONGLY
    told = capsys.readouterr()
    assert told.err.splitlines()[-1] == f"stile: error: {answer}"


def test_a_word_that_is_no_text_stays_on_its_line(capsys: Captured) -> None:
    assert stile("ru\x1b[2J\nn") == USED_WRONGLY
    assert capsys.readouterr().err.splitlines()[-1].startswith(r'stile: error: there is no command "ru\x1b[2J\nn"')


@pytest.mark.parametrize("option", ["-V", "--version"])
def test_the_version_is_that_of_the_package(capsys: Captured, option: str) -> None:
    assert made(capsys, option) == f"stile {__version__}\n"


def test_every_command_says_how_it_is_used(capsys: Captured) -> None:
    for command in all_commands():
        assert made(capsys, command, "--help").startswith(f"usage: stile {command} ")


# Completion.


def run(*command: str) -> str:
    done = subprocess.run(command, capture_output=True, check=True, text=True, timeout=20)
    assert done.stderr == ""
    return done.stdout


BASH = """\
source "$1"
COMP_WORDS=("${@:2}"); COMP_CWORD=$(($# - 2)); COMP_LINE="${*:2}"; COMP_POINT=${#COMP_LINE}
_shtab_stile
printf '%s\\n' "${COMPREPLY[@]}"
"""


@pytest.fixture
def completed_by_bash(tmp_path: Path, capsys: Captured) -> Path:
    path = tmp_path / "stile.bash"
    path.write_text(made(capsys, "completion", "bash"))
    return path


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (["stile", "ru"], {"run"}),
        (["stile", "check", "--s"], {"--strict"}),
        (["stile", "completion", "z"], {"zsh"}),
        (["stile", "panel", "--colours", ""], {"full", "2"}),
    ],
)
def test_bash_completes_commands_options_and_choices(
    completed_by_bash: Path, words: list[str], offered: set[str]
) -> None:
    assert set(run("bash", "-c", BASH, "bash", str(completed_by_bash), *words).split()) == offered


def test_bash_completes_the_names_of_files(completed_by_bash: Path) -> None:
    (completed_by_bash.parent / "station.yaml").touch()
    offered = run("bash", "-c", BASH, "bash", str(completed_by_bash), "stile", "run", f"{completed_by_bash.parent}/sta")
    assert offered.strip() == f"{completed_by_bash.parent}/station.yaml"


def test_bash_completes_ready_policies_and_policy_files(completed_by_bash: Path) -> None:
    (completed_by_bash.parent / "mine.yaml").touch()
    by_word = {"rec": "receive-only", f"{completed_by_bash.parent}/mi": f"{completed_by_bash.parent}/mine.yaml"}
    for word, whole in by_word.items():
        asked = ("stile", "replay", "--against", word)
        assert run("bash", "-c", BASH, "bash", str(completed_by_bash), *asked).split() == [whole]


@pytest.mark.needs("fish", "fish")
def test_fish_completes_ready_policies_and_policy_files(tmp_path: Path, capsys: Captured) -> None:
    path = tmp_path / "stile.fish"
    path.write_text(made(capsys, "completion", "fish"))
    (tmp_path / "mine.yaml").touch()
    for word, whole in {"rec": "receive-only", f"{tmp_path}/mi": f"{tmp_path}/mine.yaml"}.items():
        offered = run("fish", "--no-config", "-c", f"source {path}; complete -C 'stile explain --policy {word}'")
        assert offered.split()[0] == whole


@pytest.mark.needs("fish", "fish")
def test_fish_completes_commands_and_options(tmp_path: Path, capsys: Captured) -> None:
    path = tmp_path / "stile.fish"
    path.write_text(made(capsys, "completion", "fish"))
    assert run("fish", "--no-config", "-c", f"source {path}; complete -C 'stile rep'").split("\t")[0] == "replay"
    offered = run("fish", "--no-config", "-c", f"source {path}; complete -C 'stile check --s'")
    assert offered.split("\t")[0] == "--strict"


@pytest.mark.needs("zsh", "zsh")
def test_zsh_reads_what_is_made_for_it(tmp_path: Path, capsys: Captured) -> None:
    path = tmp_path / "_stile"
    text = made(capsys, "completion", "zsh")
    path.write_text(text)
    run("zsh", "-f", "-n", str(path))
    assert text.startswith("#compdef stile\n")
    assert ":_stile_policies" in text
    assert "receive-only" in text
    for command in all_commands():
        assert re.search(rf"^    {command}:", text, re.MULTILINE), command


# The manual page.


@pytest.mark.needs("mandoc", "mandoc")
def test_the_manual_page_is_proper_and_tells_of_every_command(tmp_path: Path, capsys: Captured) -> None:
    path = tmp_path / "stile.1"
    path.write_text(made(capsys, "manual"))
    assert run("mandoc", "-T", "lint", "-W", "error", str(path)) == ""
    shown = re.sub(r".\x08", "", run("mandoc", "-T", "utf8", "-O", "width=100", str(path)))
    assert "EXIT STATUS" in shown
    assert "Not a distress watch" in " ".join(shown.split())
    for command in all_commands():
        assert f"stile {command}" in shown


@pytest.mark.parametrize(
    ("command", "library"), [("manual", "argparse_manpage"), *((f"completion {shell}", "shtab") for shell in SHELLS)]
)
def test_without_the_extra_it_says_what_to_install(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch, command: str, library: str
) -> None:
    for name in [name for name in sys.modules if name.partition(".")[0] == library]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, library, None)
    assert stile(*command.split()) == FOUND_WRONG
    assert capsys.readouterr().err.endswith("pip install 'stile[shell]'\n")


# Changes.


def test_the_changes_are_told_the_newest_first(capsys: Captured) -> None:
    headings = re.findall(r"^## (.+)$", made(capsys, "changes"), re.MULTILINE)
    assert headings[-2:] == ["0.2.0", "0.1.0"]
    assert __version__ in headings


def test_the_changes_since_a_version_are_those_that_came_after_it(capsys: Captured) -> None:
    told = made(capsys, "changes", "--since", "0.1.0")
    assert "## 0.2.0" in told
    assert "## 0.1.0" not in told
    newest = re.findall(r"^## (.+)$", made(capsys, "changes"), re.MULTILINE)[0]
    assert made(capsys, "changes", "--since", newest) == f"Nothing changed since {newest}.\n"


def test_a_version_that_there_was_not_is_told_from_those_that_there_were(capsys: Captured) -> None:
    assert stile("changes", "--since", "7.0") == FOUND_WRONG
    assert capsys.readouterr().err.startswith("no version 7.0 is known: ")
