"""Every YAML in the documents is one that works, and every key of the policy language is shown in one of them."""

import re
from pathlib import Path

import pytest

from gateway import settings
from gateway.documents import check, parse
from gateway.judge.conditions import Post
from gateway.judge.examples import check_examples
from gateway.judge.policy import Conditions, Duplicates, Example, Policy, Rate, Rule
from gateway.judge.policy_schema import policy_schema_text
from gateway.judge.review import review
from gateway.judge.source import PolicyText, read_policy
from gateway.settings import policy_files

TREE = Path(__file__).parent.parent
POST = Post("QX1GAT-10", 58.6, -3.9167)
DOCUMENTS = (
    "README.md",
    "DEVELOPERS.md",
    "policies/README.md",
    "docker/README.md",
    "demo/README.md",
    "gateway/feed/README.md",
    "gateway/web/README.md",
    "gateway/lines/README.md",
    "gateway/club/README.md",
    "gateway/receivers/README.md",
    "gateway/guide/first-post.md",
    "gateway/guide/alone-for-a-year.md",
    "gateway/guide/reference.md",
)


SOURCE = re.compile(
    r"\b(AX\.25|KISS|APRS1\d+|APRS 1\.\d|Base91 Comment Telemetry|IS-[A-Z]\w+|X\.25 FCS|ITU-T I\.\d+|NMEA \d+|WGS \d+"
    r"|Maidenhead|MQTT \d\.[\d.]*\d|YAML 1[\d.]*\d|ECMA-\d+|ISO \d+|OpenAPI \d[\d.]*|AsyncAPI 3\.0|RFC"
    r"|U[TA][SX] #|sd_notify|Data Networks)"
)
"""How a source of a fact is named."""


def blocks() -> list[tuple[str, str]]:
    found = []
    for name in DOCUMENTS:
        path = TREE / name
        text = path.read_text("utf-8") if path.exists() else ""
        for match in re.finditer(r"^```yaml(?! answers)[^\n]*\n(.*?)^```", text, re.MULTILINE | re.DOTALL):
            line = text.count("\n", 0, match.start()) + 1
            found.append((f"{name}:{line}", match[1]))
    return found


def fetch(name: str, _including: str) -> PolicyText:
    path = policy_files.ready_policies() / name
    return PolicyText(str(path), path.read_text("utf-8"))


@pytest.mark.parametrize(("place", "text"), blocks(), ids=[place for place, _ in blocks()])
def test_every_yaml_in_the_documents_works(place: str, text: str) -> None:
    document = parse(text, place)
    keys = set(document.content)
    if keys & {"station", "receivers", "uplink", "bus", "web", "lines", "journal", "alerts", "club"}:
        whole = text
        if "station" not in keys:
            whole += "station: {callsign: QX1GAT-10}\n"
        if "receivers" not in keys:
            whole += "receivers: [{name: vhf, from: kiss+tcp://127.0.0.1:7581}]\n"
        check(parse(whole, place), settings.Settings)
        return
    head = "" if "version" in keys else "version: 1\nname: shown\n"
    check_examples(read_policy(PolicyText(place, head + text), fetch), POST)


def test_every_key_of_the_language_is_in_its_reference_and_shown_there() -> None:
    reference = (TREE / "policies/README.md").read_text("utf-8")
    shown = "".join(text for place, text in blocks() if place.startswith("policies/"))
    for model in (Policy, Rule, Rate, Conditions, Example, Duplicates):
        for name, field in model.model_fields.items():
            key = field.alias or name
            assert re.search(rf"\b{key}:", shown), key
            assert key in reference, key


@pytest.mark.parametrize("name", policy_files.ready_names())
def test_a_ready_policy_loads_holds_its_examples_and_gives_no_warning(name: str) -> None:
    source = policy_files.load(name, POST, beside=TREE)
    assert source.policy.name == name
    assert source.policy.examples
    assert review(source, POST) == []


def test_the_schema_for_editors_is_the_one_that_the_models_make() -> None:
    written = (TREE / "policies/policy.schema.json").read_text("utf-8")
    assert written == policy_schema_text(), "write it anew: python -m gateway.judge.policy_schema"


def test_every_source_that_is_named_stands_in_the_table_of_sources() -> None:
    developers = (TREE / "DEVELOPERS.md").read_text("utf-8")
    table = developers.partition("## Sources\n")[2].partition("\n## ")[0]
    named = {
        match[1]: path.relative_to(TREE)
        for room in ("gateway", "demo", "tests")
        for path in (TREE / room).rglob("*.py")
        for match in SOURCE.finditer(path.read_text("utf-8"))
    }
    assert {name: path for name, path in named.items() if name not in table} == {}


def test_every_test_that_the_page_on_safety_names_is_there() -> None:
    page = (TREE / "gateway" / "README.md").read_text("utf-8")
    named = set(re.findall(r"`(test_\w+)`", page))
    written = {
        name
        for path in (TREE / "tests").rglob("test_*.py")
        for name in re.findall(r"def (test_\w+)\(", path.read_text())
    }
    assert len(named) >= 25
    assert named - written == set()
