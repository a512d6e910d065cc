"""The OpenAPI document: proper by a general validator, true of every answer by a fuzzer (`schemathesis`)."""

import asyncio
import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from typing import Any

import httpx
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator
from schemathesis import APIOperation, Case, GenerationMode
from schemathesis.core.result import Ok

from gateway.alerts.alert import AlertKind, alert_object
from gateway.feed.schemas import Schema
from gateway.judge.verdict import Reason
from gateway.web import openapi
from gateway.web.event_log import Because
from tests.journal.keeping import keep
from tests.judged_frames import NOON_MS
from tests.web.event_reader import data_of, events_in
from tests.web.opened import FAIL_SAFE_SECONDS, TOKEN, Gateway, OpenWeb, open_web
from tests.web.test_event_log import filled

Operation = APIOperation[Any, Any, Any, Any]

FUZZ = settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    database=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)


@pytest.mark.parametrize("with_token", [True, False])
def test_the_document_is_proper(with_token: bool) -> None:
    OpenAPIV31SpecValidator(openapi.document(with_token=with_token)).validate()


def test_the_schemas_of_the_feed_stand_in_it_without_names_that_only_we_can_resolve() -> None:
    document = openapi.document(with_token=False)
    assert {schema.value for schema in Schema} | {"report"} <= set(document["components"]["schemas"])
    assert '"urn:' not in json.dumps(document)


def test_a_schema_of_its_own_hides_none_of_the_feeds() -> None:
    own = json.loads(resources.files("gateway.web").joinpath("openapi.json").read_text())
    assert not set(own["components"]["schemas"]) & {schema.value for schema in Schema}


def test_what_a_stream_is_told_of_missed_events_is_in_the_document() -> None:
    document = openapi.document(with_token=False)
    validator = Draft202012Validator(document["components"]["schemas"]["missed"])
    (behind, *_) = events_in(filled(10, limit=4).read(2, 1).octets)
    (restarted,) = events_in(filled(1).start("another-1").words)
    for event, because in ((behind, Because.BEHIND), (restarted, Because.RESTARTED)):
        assert data_of(event)["because"] == because
        validator.validate(data_of(event))


async def test_the_document_is_served_as_it_is() -> None:
    async with open_web(token=TOKEN) as web:
        answer = await web.get("/openapi.json", Authorization=f"Bearer {TOKEN}")
        assert answer.json() == openapi.document(with_token=True)


@contextmanager
def web_beside(token: str | None, journal: Path) -> Iterator[OpenWeb]:
    """A web in a thread of its own, as the fuzzer waits for each answer; it has a past, at `journal`."""
    ready: list[OpenWeb] = []
    listens, over = threading.Event(), threading.Event()

    async def serve() -> None:
        async with open_web(Gateway(journal=journal), token=token, seconds=10 * FAIL_SAFE_SECONDS) as web:
            for number in range(30):
                web.hear(b"QA%dBC>APRS,QD1AA*:!5836.00N/00355.00W>%d" % (number % 10, number))
            web.hear(b'QB2BCD-7>T8SVUP:`(_fn"Oj/')  # ours, after APRS101 chapter 10
            web.hear(b"QA1BCD>APRS:>\xff\x00 no UTF-8", Reason.DUPLICATE)
            web.hear(b"this is no frame")
            keep(journal, web.gateway.heard)
            moment = web.gateway.post.now()
            silent = alert_object(AlertKind.SILENT, "buoy", moment, "it is silent", since_ms=NOON_MS, source="QA9BUOY")
            web.gateway.alerts.note(silent)
            ready.append(web)
            listens.set()
            await asyncio.to_thread(over.wait, 10 * FAIL_SAFE_SECONDS)

    async def serve_for_long() -> None:
        async with asyncio.timeout(10 * FAIL_SAFE_SECONDS):
            await serve()

    thread = threading.Thread(target=asyncio.run, args=(serve_for_long(),))
    thread.start()
    try:
        assert listens.wait(FAIL_SAFE_SECONDS)
        yield ready[0]
    finally:
        over.set()
        thread.join()


def operations(*, with_token: bool) -> dict[str, Operation]:
    """Every operation of the document by its path."""
    document = schemathesis.openapi.from_dict(openapi.document(with_token=with_token))
    found = [result.ok() for result in document.get_all_operations() if isinstance(result, Ok)]
    return {operation.path: operation for operation in found}


def fuzz(operation: Operation, mode: GenerationMode, web: OpenWeb, token: str | None) -> None:
    """Ask what the document allows, or what it does not, and hold each answer to all that the fuzzer knows to check."""
    headers = {"Authorization": f"Bearer {token}"} if token else {}

    @FUZZ
    @given(case=operation.as_strategy(mode))
    def ask(case: Case[Any]) -> None:
        case.call_and_validate(base_url=web.address, headers=headers, timeout=FAIL_SAFE_SECONDS)

    ask()


@pytest.mark.parametrize("token", [None, TOKEN])
def test_every_answer_is_as_the_document_says_whatever_is_asked(token: str | None, tmp_path: Path) -> None:
    found = operations(with_token=token is not None)
    assert set(found) == set(openapi.document(with_token=False)["paths"])
    del found["/events"]  # a stream has no end: see below
    del found["/api/what-if"]  # no schema says which text is a policy: see the tests of what it calls
    with web_beside(token, tmp_path / "stile.db") as web:
        for operation in found.values():
            fuzz(operation, GenerationMode.POSITIVE, web, token)


@pytest.mark.parametrize("mode", GenerationMode)
def test_a_stream_begins_whatever_its_client_says_that_it_has(mode: GenerationMode, tmp_path: Path) -> None:
    with web_beside(None, tmp_path / "stile.db") as web:

        @FUZZ
        @given(case=operations(with_token=False)["/events"].as_strategy(mode))
        def ask(case: Case[Any]) -> None:
            sent = {name: value for name, value in (case.headers or {}).items() if name == "Last-Event-ID"}
            with httpx.stream("GET", f"{web.address}/events", headers=sent, trust_env=False) as response:
                assert response.status_code == 200
                assert response.headers["Content-Type"] == "text/event-stream"
                assert next(response.iter_lines()) == "retry: 2000"

        ask()


def test_what_the_document_does_not_allow_is_refused_as_it_says(tmp_path: Path) -> None:
    with web_beside(None, tmp_path / "stile.db") as web:
        fuzz(operations(with_token=False)["/api/heard"], GenerationMode.NEGATIVE, web, None)
