"""Finding and reading policies in files: ready ones by name, any by path, and what each of them includes."""

from pathlib import Path

import pytest

from gateway.documents import DocumentError
from gateway.judge.conditions import Post
from gateway.judge.source import MAXIMUM_FILES, PolicySource
from gateway.settings import policy_files

POST = Post("QX1GAT-10", 58.6, -3.9167)
HEAD = "version: 1\nname: house\n"
RULE = "rules: [{name: RULE, when: {source: QZ9*}, then: keep}]\n"


def rule(name: str) -> str:
    return RULE.replace("RULE", name)


def write(folder: Path, **texts: str) -> None:
    for name, text in texts.items():
        path = folder / f"{name.replace('__', '/')}.yaml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(HEAD + text)


def load(policy: str, beside: Path) -> PolicySource:
    return policy_files.load(policy, POST, beside=beside)


def refused(policy: str, beside: Path) -> list[str]:
    with pytest.raises(DocumentError) as refusal:
        load(policy, beside)
    return [str(problem).replace(f"{beside}/", "") for problem in refusal.value.problems]


def names(source: PolicySource) -> list[str]:
    return [entry.name for entry in source.policy.rules]


def test_every_ready_policy_is_found_by_its_name_from_anywhere(tmp_path: Path) -> None:
    assert "receive-only" in policy_files.ready_names()
    for name in policy_files.ready_names():
        source = load(name, tmp_path)
        assert source.policy.name == name
        assert source.examples


def test_the_ready_policies_of_an_installed_package_lie_inside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(tmp_path, policies__installed="")
    monkeypatch.setattr(policy_files, "__file__", str(tmp_path / "settings" / "policy_files.py"))
    assert policy_files.ready_policies() == tmp_path / "policies"
    assert policy_files.ready_names() == ["installed"]


def test_a_path_is_relative_to_the_file_that_names_it(tmp_path: Path) -> None:
    write(tmp_path, own=rule("own"), sub__other=rule("other"))
    assert names(load("own.yaml", tmp_path)) == ["own"]
    assert names(load("sub/other.yaml", tmp_path)) == ["other"]
    assert names(load("../own.yaml", tmp_path / "sub")) == ["own"]
    assert names(load(str(tmp_path / "own.yaml"), Path("/nowhere"))) == ["own"]


def test_a_word_without_a_slash_or_suffix_is_a_ready_policys_name(tmp_path: Path) -> None:
    assert policy_files.locate("metered", tmp_path) == policy_files.ready_policies() / "metered.yaml"
    for path in ("metered.yaml", "metered.yml", "./metered", "a/metered"):
        assert policy_files.locate(path, tmp_path) == tmp_path / path


def test_a_ready_policy_that_there_is_not_is_told_with_the_nearest_and_all(tmp_path: Path) -> None:
    (said,) = refused("recieve-only", tmp_path)
    assert 'cannot be read: No such file or directory - did you mean "receive-only"?; ready policies are ' in said
    assert all(name in said for name in policy_files.ready_names())


def test_a_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    (tmp_path / "binary.yaml").write_bytes(b"\xff\xfe\x00")
    (tmp_path / "folder.yaml").mkdir()
    (tmp_path / "endless.yaml").symlink_to("/dev/zero")
    assert refused("./none.yaml", tmp_path) == ["none.yaml:1: cannot be read: No such file or directory"]
    assert refused("./binary.yaml", tmp_path) == ["binary.yaml:1: cannot be read: it is UTF-16: save it as UTF-8"]
    assert refused("./folder.yaml", tmp_path) == ["folder.yaml:1: cannot be read: Is a directory"]
    assert refused("./endless.yaml", tmp_path) == ["endless.yaml:1: cannot be read: it is no regular file"]


def test_includes_are_found_from_the_file_that_includes_and_by_ready_name(tmp_path: Path) -> None:
    write(
        tmp_path,
        own=rule("own") + "include: [sub/one.yaml, receive-only]",
        sub__one=rule("one") + "include: [two.yaml]",
        sub__two=rule("two"),
    )
    source = load("own.yaml", tmp_path)
    assert names(source) == ["own", "one", "two"]
    assert source.files == (
        str(tmp_path / "own.yaml"),
        str(tmp_path / "sub/one.yaml"),
        str(tmp_path / "sub/two.yaml"),
        str(policy_files.ready_policies() / "receive-only.yaml"),
    )


def test_an_include_that_is_not_there_is_told_where_it_is_asked_for(tmp_path: Path) -> None:
    write(tmp_path, own="include:\n  - one.yaml\n", one="include: [two.yaml]\n")
    assert refused("own.yaml", tmp_path) == [
        "one.yaml:3: include[0]: two.yaml cannot be read: No such file or directory"
    ]


@pytest.mark.parametrize("path", ["own.yaml", "./own.yaml", "sub/../own.yaml", "sub/../../HERE/own.yaml"])
def test_a_circle_is_told_however_its_path_is_written(tmp_path: Path, path: str) -> None:
    write(tmp_path, own="include: [sub/one.yaml]", sub__one=f"include: [../{path.replace('HERE', tmp_path.name)}]")
    (said,) = refused("own.yaml", tmp_path)
    assert said.startswith("sub/one.yaml:3: include[0]: ")
    assert said.endswith("includes itself, by way of this file")
    write(tmp_path, own=f"include: [{path.replace('HERE', tmp_path.name)}]")
    assert refused("own.yaml", tmp_path)[0].startswith("own.yaml:3: include[0]: ")


def test_what_two_files_include_is_read_once(tmp_path: Path) -> None:
    write(
        tmp_path,
        own="include: [one.yaml, two.yaml, ./shared.yaml]",
        one=rule("one") + "include: [shared.yaml]",
        two=rule("two") + "include: [shared.yaml]",
        shared=rule("shared"),
    )
    assert names(load("own.yaml", tmp_path)) == ["one", "shared", "two"]


def test_includes_that_double_at_each_step_end(tmp_path: Path) -> None:
    for step in range(MAXIMUM_FILES - 1):
        write(tmp_path, **{f"f{step}": f"include: [f{step + 1}.yaml, ./f{step + 1}.yaml]"})
    write(tmp_path, **{f"f{MAXIMUM_FILES - 1}": ""})
    assert len(load("f0.yaml", tmp_path).files) == MAXIMUM_FILES


def test_too_many_files_are_told_where_the_first_too_many_is_asked_for(tmp_path: Path) -> None:
    write(tmp_path, own=f"include: [{', '.join(f'f{number}.yaml' for number in range(MAXIMUM_FILES))}]")
    write(tmp_path, **{f"f{number}": "" for number in range(MAXIMUM_FILES)})
    said = f"own.yaml:3: include[{MAXIMUM_FILES - 1}]: more than {MAXIMUM_FILES} files make up the policy"
    assert refused("own.yaml", tmp_path) == [said]


def test_an_include_with_a_name_that_no_file_can_have_is_told(tmp_path: Path) -> None:
    write(tmp_path, own=r'include: ["a\0b.yaml"]')
    assert refused("own.yaml", tmp_path) == [
        r"own.yaml:3: include[0]: a\x00b.yaml cannot be read: no file can have such a name"
    ]


def test_examples_are_checked_when_a_policy_is_loaded(tmp_path: Path) -> None:
    write(tmp_path, own="examples:\n  - {frame: 'QA1BCD>APRS:x', expect: keep}\n", good="include: [own.yaml]")
    said = "own.yaml:4: examples[0]: the example expects keep, but the policy says forward"
    assert refused("own.yaml", tmp_path) == [said]
    assert refused("good.yaml", tmp_path) == [said]
