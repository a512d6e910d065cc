"""The schemas themselves: valid by the metaschema of draft 2020-12, and strict enough to notice what is wrong."""

from typing import Any

import pytest
from jsonschema import Draft202012Validator

from gateway.feed.heard_object import heard_object
from gateway.feed.schemas import Schema, load
from gateway.judge.verdict import Reason
from tests.judged_frames import Post
from tests.payload_schemas import validator


@pytest.mark.parametrize("schema", Schema)
def test_every_schema_is_one_and_has_the_name_that_others_refer_to(schema: Schema) -> None:
    loaded = load(schema)
    Draft202012Validator.check_schema(loaded)
    assert loaded["$id"] == f"urn:stile:{schema}"


def test_the_schema_knows_every_reason_and_no_other() -> None:
    assert load(Schema.HEARD)["$defs"]["reason"]["enum"] == [reason.value for reason in Reason]


@pytest.mark.parametrize(
    "change",
    [
        {"verdict": "perhaps"},
        {"verdict": "keep"},
        {"reason": "duplicate"},
        {"sequence": 0},
        {"time": "2026-06-06 12:00:00"},
        {"source": "QA1,QA2"},
        {"path": ["QD1RPT**"]},
        {"port": 16},
        {"colour": "red"},
        {"damage": "a frame and damage at once", "octets_base64": ""},
        {"information_base64": "not base64!"},
    ],
)
def test_an_object_that_is_not_a_heard_object_is_noticed(change: dict[str, Any]) -> None:
    plain = heard_object(Post().hear(b"QA1BCD-9>APRS,QD1RPT*:>on the water"))
    assert validator(Schema.HEARD).is_valid(plain)
    assert not validator(Schema.HEARD).is_valid(plain | change)


def test_status_is_one_of_two_words() -> None:
    assert validator(Schema.STATUS).is_valid("online")
    assert validator(Schema.STATUS).is_valid("offline")
    assert not validator(Schema.STATUS).is_valid("asleep")
