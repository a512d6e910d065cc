"""What another policy would have done of late."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.commands.what_if import answer_to
from gateway.feed.heard_object import HeardPayload
from gateway.groundwork.duration import HOUR_MS
from gateway.judge.source import PolicyText
from gateway.running.what_if import task_of
from tests.journal.keeping import keep
from tests.judge.listening import POST, source_of
from tests.judged_frames import NOON_MS
from tests.judged_frames import Post as ListeningPost

BOATS = "rules: [{name: boats, when: {source: QA1*-*}, then: keep}]"
CLUB = f"version: 1\nname: club\n{BOATS}\n"


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten hours of a boat and a buoy."""
    path = tmp_path_factory.mktemp("journal") / "stile.db"
    post, heard = ListeningPost(), []
    for _ in range(10):
        heard += [post.hear(b"QA1BCD-9>APRS:>boat"), post.hear(b"QB2BUOY>APRS:>buoy")]
        post.wait(HOUR_MS)
    keep(path, [HeardPayload(judged) for judged in heard])
    return path


def tried(journal: Path, policy: str, *, in_force: str = "", since_ms: int = 0) -> dict[str, Any]:
    source = source_of(in_force, lambda name, _: PolicyText(name, CLUB))
    return answer_to(task_of(f"version: 1\nname: try\n{policy}", since_ms, source, POST, journal))


def test_both_policies_judge_the_same_frames(journal: Path) -> None:
    answer = tried(journal, BOATS)
    assert [policy["forward"] for policy in answer["policies"]] == [20, 10]
    assert answer["difference"]["only_policy_forwards"]["frames"] == 10
    assert answer["difference"]["groups"][0]["station"] == "QA1BCD-9"


def test_only_what_was_heard_since_then_is_judged(journal: Path) -> None:
    assert tried(journal, BOATS, since_ms=NOON_MS + 7 * HOUR_MS)["heard"]["frames"] == 6
    assert tried(journal, BOATS, since_ms=NOON_MS + 99 * HOUR_MS)["heard"]["frames"] == 0


def test_it_can_include_what_the_policy_in_force_includes(journal: Path) -> None:
    answer = tried(journal, "include: [club.yaml]", in_force="include: [club.yaml]")
    assert answer["policies"][1]["keep_by_rule"] == {"boats": 10}


@pytest.mark.parametrize("name", ["other.yaml", "/etc/passwd", "receive-only", "../club.yaml", "policy.yaml"])
def test_it_can_include_nothing_else(name: str, journal: Path) -> None:
    answer = tried(journal, f"include: [{name}]", in_force="include: [club.yaml]")
    assert len(answer["problems"]) == 1


def test_a_policy_that_cannot_be_used_is_told_with_its_line_and_no_folder(journal: Path) -> None:
    (problem,) = tried(journal, "rulse: []")["problems"]
    assert (problem["file"], problem["line"]) == ("policy.yaml", 3)


def test_an_example_that_comes_out_otherwise_is_a_problem(journal: Path) -> None:
    answer = tried(journal, "examples: [{frame: 'QA1BCD>APRS:>x', expect: keep, reason: rule}]")
    assert "problems" in answer


def test_without_its_journal_that_is_said(tmp_path: Path) -> None:
    assert "there is no journal" in tried(tmp_path / "none.db", BOATS)["trouble"]


@given(st.text(max_size=200))
@settings(max_examples=50, deadline=None)
def test_whatever_is_pasted_is_judged_or_has_problems(text: str) -> None:
    answer = answer_to(task_of(text, 0, source_of(""), POST, Path("/nowhere/stile.db")))
    assert answer.keys() & {"problems", "trouble"}
