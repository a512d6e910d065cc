"""A policy's texts become one policy: what is included, what stands twice, and the digest of it all."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.documents import MAXIMUM_TEXT, MAXIMUM_VALUES, DocumentError
from gateway.documents.problem import MOST_PROBLEMS
from gateway.judge.source import DIGEST_LENGTH, PolicySource, PolicyText, read_policy
from gateway.judge.verdict import Reason
from tests.judge.listening import POST, Listening, source_of

HEAD = "version: 1\nname: part\n"
ITSELF = "includes itself, by way of this file"


def files(**texts: str) -> Callable[[str, str], PolicyText]:
    def fetch(name: str, _including: str) -> PolicyText:
        if name not in texts:
            raise FileNotFoundError(2, "No such file or directory", name)
        return PolicyText(name, HEAD + texts[name])

    return fetch


def refused(text: str, **texts: str) -> list[str]:
    with pytest.raises(DocumentError) as refusal:
        source_of(text, files(**texts))
    return [str(problem) for problem in refusal.value.problems]


def digest(text: str, **texts: str) -> str:
    return source_of(text, files(**texts)).digest


def test_own_entries_stand_before_those_of_each_include_in_turn() -> None:
    source = source_of(
        "include: [one, two]\nrules: [{name: own, then: keep}]\nrates: [{name: own, allow: 1 per day}]",
        files(
            one="include: [deep]\nrules: [{name: one, then: keep}]\nrates: [{name: one, allow: 1 per day}]",
            two="rules: [{name: two, then: keep}]\nexamples: [{frame: 'Q>A:x', expect: keep}]",
            deep="rules: [{name: deep, then: keep}]",
        ),
    )
    assert source.files == ("policy.yaml", "one", "deep", "two")
    assert [rule.name for rule in source.policy.rules] == ["own", "one", "deep", "two"]
    assert [rate.name for rate in source.policy.rates] == ["own", "one"]
    assert [str(entry.problem("here")) for entry in source.rules] == [
        "policy.yaml:4: rules[0]: here",
        "one:4: rules[0]: here",
        "deep:3: rules[0]: here",
        "two:3: rules[0]: here",
    ]
    assert str(source.examples[0].problem("here")) == "two:4: examples[0]: here"


def test_name_and_window_are_those_of_the_first_file() -> None:
    source = source_of("include: [one]", files(one="duplicates: {window: 5s}"))
    assert (source.policy.name, source.policy.duplicates.window) == ("test", 30_000)


def test_groups_are_shared_by_all_files() -> None:
    asked = "rules: [{name: asked, when: {source: '@club'}, then: keep}]\n"
    group = "groups: {club: [QA1*]}\n"
    for first, second in ((group, asked), (asked, group)):
        post = Listening(source=source_of(first + "include: [one]", files(one=second)))
        assert post.hear(b"QA1BCD>APRS:x").verdict.reason is Reason.RULE
        assert post.hear(b"QB2CDE>APRS:x").forward


def test_a_group_that_there_is_not_is_told_with_the_nearest() -> None:
    groups = "groups: {club: [QA1*]}\n"
    assert refused(groups + "rules:\n  - name: a\n    when: {not: {via: '@clb'}}\n    then: keep") == [
        'policy.yaml:6: rules[0].when: there is no group clb - did you mean "club"?'
    ]
    assert refused(groups + "rates:\n  - name: a\n    when: {addressee: [Q*, '@zz']}\n    allow: 1 per day") == [
        "policy.yaml:6: rates[0].when: there is no group zz"
    ]


def test_what_stands_twice_is_told_with_both_places() -> None:
    said = "too; a verdict names the entry, so names differ"
    assert refused("rules:\n  - {name: a, then: keep}\n  - {name: b, then: keep}\n  - {name: a, then: keep}\n") == [
        f"policy.yaml:6: rules[2].name: a stands at policy.yaml:4 {said}"
    ]
    assert refused(
        "rates:\n  - {name: a, allow: 1 per day}\ninclude: [one]", one="rates: [{name: a, allow: 1 per day}]"
    ) == [f"one:3: rates[0].name: a stands at policy.yaml:4 {said}"]
    assert refused("groups: {club: [Q*]}\ninclude: [one]", one="groups: {club: [QA*]}") == [
        "one:3: groups.club: the group club stands in two files"
    ]


def test_a_rule_and_a_rate_may_share_a_name() -> None:
    source_of("rules: [{name: a, then: keep}]\nrates: [{name: a, allow: 1 per day}]")


def test_every_problem_of_the_merged_policy_is_told_at_once() -> None:
    assert len(refused("rules: [{name: a, when: {source: ['@x', '@y']}, then: keep}, {name: a, then: keep}]")) == 3


@pytest.mark.parametrize(
    ("texts", "place", "said"),
    [
        ({}, "policy.yaml:3: include[0]: ", "one cannot be read: No such file or directory"),
        ({"one": "include: [two]"}, "one:3: include[0]: ", "two cannot be read: No such file or directory"),
        ({"one": "rules: [{name: a}]"}, "one:3: rules[0].then: ", "this key is missing, and it is required"),
        ({"one": "include: [one]"}, "one:3: include[0]: ", f"one {ITSELF}"),
        ({"one": "include: [two]", "two": "include: [one]"}, "two:3: include[0]: ", f"one {ITSELF}"),
        ({"one": "include: [policy.yaml]", "policy.yaml": ""}, "one:3: include[0]: ", f"policy.yaml {ITSELF}"),
    ],
)  # fmt: skip
def test_a_bad_include_is_told_where_it_stands(texts: dict[str, str], place: str, said: str) -> None:
    assert refused("include: [one]", **texts) == [place + said]


def test_what_several_files_include_is_read_once_in_its_first_place() -> None:
    source = source_of(
        "include: [one, two, shared, shared]",
        files(one="include: [shared]", two="include: [shared]", shared="rules: [{name: shared, then: keep}]"),
    )
    assert source.files == ("policy.yaml", "one", "shared", "two")


def test_any_change_of_any_text_changes_the_digest() -> None:
    known = [
        digest(""),
        digest("# a comment"),
        digest("# a comment "),
        digest("rules: []"),
        digest("include: [one]", one=""),
        digest("include: [one]", one="# a comment"),
        digest("include: [one, two]", one="# a", two="# b"),
        digest("include: [one, two]", one="# b", two="# a"),
    ]
    assert len(set(known)) == len(known)
    assert digest("include: [one]", one="") == digest("include: [one]", one="")


@given(st.text("# ab\n", max_size=20), st.text("# ab\n", max_size=20))
def test_two_texts_have_one_digest_only_where_they_are_the_same(one: str, other: str) -> None:
    comments = [text.replace("\n", "\n#") for text in (one, other)]
    first, second = (read_policy(PolicyText("p", f"{HEAD}#{comment}"), files()) for comment in comments)
    assert (first.digest == second.digest) is (one == other)
    assert len(first.digest) == DIGEST_LENGTH


def test_a_verdict_carries_the_name_and_the_digest() -> None:
    source: PolicySource = source_of("")
    assert source.compiled(POST).label == f"test@{source.digest}"
    assert Listening().hear(b"QA1BCD>APRS:x").verdict.policy == f"test@{source.digest}"


def test_the_files_of_a_policy_together_are_no_larger_than_one_may_be() -> None:
    padding = "#" * (MAXIMUM_TEXT // 2)
    source_of(f"include: [one]\n{padding}", files(one=""))
    (said,) = refused(f"include: [one]\n{padding}", one=padding)
    assert said == "one:1: with it, the files of the policy hold more than 4194304 characters"
    callsigns = "[" + "Q, " * (MAXIMUM_VALUES * 2 // 3) + "]"
    (said,) = refused(f"groups: {{a: {callsigns}}}\ninclude: [one]\n", one=f"groups: {{b: {callsigns}}}")
    assert said.startswith("one:3: holds more than ")


def test_groups_that_there_are_not_are_looked_for_a_hundred_times_at_most(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def counted(word: str, _known: object) -> str:
        asked.append(word)
        return ""

    monkeypatch.setattr("gateway.judge.source.nearest", counted)
    patterns = ", ".join(f"'@g{number}'" for number in range(500))
    said = refused("rules:\n" + f"  - {{name: a, when: {{source: [{patterns}]}}, then: keep}}\n")
    assert (len(said), said[-1]) == (MOST_PROBLEMS + 1, "policy.yaml:4: mend these first: there are more")
    assert len(asked) == MOST_PROBLEMS + 1


def test_of_a_list_of_patterns_the_first_mistake_is_told() -> None:
    assert refused("groups:\n  club: [QA1BCD, 'Q#', 'Q%']\n") == [
        'policy.yaml:4: groups.club[1]: \'Q#\' is no pattern for callsigns: write it as QA1BCD-9, "QA1*" or "@group"'
    ]
