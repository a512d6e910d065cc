"""What the web tells of the past."""

import asyncio
from collections.abc import Awaitable
from pathlib import Path

import httpx
import pytest

from gateway.groundwork.duration import HOUR_MS
from gateway.judge.verdict import Reason
from gateway.running.what_if import WhatIf
from gateway.web.knowledge import PastError
from tests.journal.keeping import keep
from tests.judge.listening import source_of
from tests.judged_frames import NOON_MS
from tests.web.opened import POST, SECONDS_OF_A_CHILD, Gateway, OpenWeb, open_web

BOAT = b"QA1BCD-9>APRS:!5842.00N/00355.00W>under way"


def heard_for_long(path: Path) -> Gateway:
    """A post that has heard a boat every hour of a day, and now hears nothing."""
    gateway = Gateway(journal=path)
    for number in range(24):
        gateway.hear(BOAT, Reason.DUPLICATE if number % 2 else None)
        gateway.post.wait(HOUR_MS)
    keep(path, gateway.heard)
    return gateway


async def test_the_reach_has_thirty_six_sectors_and_says_who_was_farthest(tmp_path: Path) -> None:
    async with open_web(heard_for_long(tmp_path / "stile.db")) as web:
        reach = (await web.get("/api/reach?since=2d")).json()
        degrees = [(one["from_deg"], one["to_deg"]) for one in reach["sectors"]]
        assert degrees == [(start, start + 10) for start in range(0, 360, 10)]
        north = reach["sectors"][0]
        assert (north["frames"], north["stations"], north["farthest_station"]) == (24, 1, "QA1BCD-9")
        assert north["median_km"] == pytest.approx(11.14, abs=0.01)
        assert reach["sectors"][1]["farthest_km"] is None


async def test_a_history_has_an_entry_for_each_hour_in_which_the_gateway_ran(tmp_path: Path) -> None:
    async with open_web(heard_for_long(tmp_path / "stile.db")) as web:
        entries = (await web.get("/api/history?since=2d")).json()["entries"]
        assert len(entries) == 24
        assert entries[0] == {
            "from": "2026-06-06T12:00:00.000Z", "heard": 1, "forward": 1, "keep": 0, "keep_by_reason": {}, "sent": 0,
        }  # fmt: skip
        days = (await web.get("/api/history?since=2d&step=day")).json()["entries"]
        assert [(day["heard"], day["stations"], day["direct_stations"]) for day in days] == [(12, 1, 1), (12, 1, 1)]


async def test_a_station_has_its_track_and_its_days(tmp_path: Path) -> None:
    async with open_web(heard_for_long(tmp_path / "stile.db")) as web:
        past = (await web.get("/api/stations/qa1bcd-9?since=2d")).json()
        assert [point["latitude"] for point in past["track"]] == [58.7]
        assert past["days"][0] == {"date": "2026-06-06", "frames": 12, "direct": 12}
        assert len(past["heard"]) == 24
        assert (await web.get("/api/stations/QZ9NONE")).status_code == 404


async def test_frames_of_a_station_come_from_memory_and_then_from_the_journal(tmp_path: Path) -> None:
    async with open_web(heard_for_long(tmp_path / "stile.db")) as web:
        web.hear(BOAT)  # not in the journal yet
        page = (await web.get("/api/heard?source=QA1BCD-9&limit=3")).json()
        assert [frame["sequence"] for frame in page["heard"]] == [25, 24, 23]
        page = (await web.get(f"/api/heard?source=QA1BCD-9&limit=30&before={page['next_before']}")).json()
        assert [frame["sequence"] for frame in page["heard"]] == [*range(22, 0, -1)]
        assert "next_before" not in page


async def test_without_a_journal_frames_of_a_station_come_from_memory_and_the_reach_is_not_known() -> None:
    async with open_web() as web:
        web.hear(BOAT)
        assert len((await web.get("/api/heard?source=QA1BCD-9")).json()["heard"]) == 1
        answer = await web.get("/api/reach")
        assert (answer.status_code, "journal:" in answer.json()["detail"]) == (503, True)


async def test_a_frame_is_explained_with_what_was_heard_before_it_in_mind() -> None:
    gateway = Gateway(policy=source_of("rules: [{name: bench, when: {source: QZ9*}, then: keep}]"))
    async with open_web(gateway) as web:
        for line in (b"QZ9BCD>APRS:>test", BOAT, BOAT):
            web.hear(line)
        explained = (await web.get(f"/api/heard/{gateway.post.run}/1")).json()
        assert explained["steps"][-1]["step"] == "rule bench"
        assert explained["as_recorded"] is False
        copy = (await web.get(f"/api/heard/{gateway.post.run}/3")).json()
        assert (copy["steps"][-1]["step"], copy["steps"][-1]["decided"]) == ("duplicate", True)
        assert (await web.get(f"/api/heard/{gateway.post.run}/4")).status_code == 404


async def test_a_frame_of_another_run_is_explained_from_the_journal(tmp_path: Path) -> None:
    gateway = heard_for_long(tmp_path / "stile.db")
    async with open_web(gateway) as web:
        explained = (await web.get(f"/api/heard/{gateway.post.run}/7")).json()
        assert explained["time"] == "2026-06-06T18:00:00.000Z"
        assert explained["steps"][0]["answer"] == "no"


@pytest.mark.parametrize(
    "query",
    [
        "/api/reach?since=soon", "/api/reach?since=1d&since=2d", "/api/reach?since=4000d", "/api/reach?against=x",
        "/api/history?since=63d&step=hour", "/api/history?step=week", "/api/heard?source=no%20call",
        "/api/stations/%3Cb%3E",
        "/api/reach?since=2026-06-07/2026-06-06",
    ],
)  # fmt: skip
async def test_what_is_asked_wrongly_is_a_problem_that_says_what_to_write(query: str, tmp_path: Path) -> None:
    async with open_web(heard_for_long(tmp_path / "stile.db")) as web:
        answer = await web.get(query)
        assert answer.status_code == 400
        assert answer.json()["detail"]


@pytest.mark.parametrize("before", ["12", "run-12", "%3Cb%3E"])
async def test_a_page_before_a_frame_that_nobody_knows_is_not_found(before: str, tmp_path: Path) -> None:
    async with open_web(heard_for_long(tmp_path / "stile.db")) as web:
        assert (await web.get(f"/api/heard?source=QA1BCD-9&before={before}")).status_code == 404


async def test_the_time_now_is_that_of_the_post(tmp_path: Path) -> None:
    async with open_web(heard_for_long(tmp_path / "stile.db")) as web:
        reach = (await web.get("/api/reach?since=1h")).json()
        assert (reach["from"], reach["to"]) == ("2026-06-07T11:00:00.000Z", "2026-06-07T12:00:00.000Z")
        assert web.gateway.post.now().time_ms == NOON_MS + 24 * HOUR_MS


def try_policy(web: OpenWeb, text: str, since: str = "1d") -> Awaitable[httpx.Response]:
    """Ask what a policy would have done."""
    headers = {"Content-Type": "application/yaml"}
    path = f"/api/what-if?since={since}"
    return web.client.post(path, content=text.encode(), headers=headers, timeout=SECONDS_OF_A_CHILD)


async def test_a_policy_is_tried_over_what_was_heard_and_changes_nothing(tmp_path: Path) -> None:
    async with open_web(heard_for_long(tmp_path / "stile.db"), seconds=SECONDS_OF_A_CHILD) as web:
        keeps = "version: 1\nname: try\nrules: [{name: boats, when: {source: QA1*-*}, then: keep}]\n"
        tried = (await try_policy(web, keeps)).json()
        assert tried["difference"]["only_policy_forwards"]["frames"] == 24
        assert tried["difference"]["groups"][0]["rule"] == "boats"
        assert [policy["forward"] for policy in tried["policies"]] == [24, 0]
        assert "kept by" in tried["words"]
        assert (await web.get("/api/policy")).json()["policy"] == web.gateway.policy.label


async def test_one_policy_is_tried_at_a_time(tmp_path: Path) -> None:
    async with open_web(heard_for_long(tmp_path / "stile.db"), seconds=SECONDS_OF_A_CHILD) as web:
        answers = await asyncio.gather(try_policy(web, "rulse: []"), try_policy(web, "rulse: []"))
        assert sorted(answer.status_code for answer in answers) == [409, 422]
        (problem, *_) = next(answer.json()["problems"] for answer in answers if answer.status_code == 422)
        assert problem["file"] == "policy.yaml"


async def test_a_policy_that_takes_too_long_is_given_up(tmp_path: Path) -> None:
    what_if = WhatIf(tmp_path / "stile.db", POST, lambda: source_of(""), seconds=0.01)
    with pytest.raises(PastError, match="took longer"):
        await what_if("version: 1\nname: try\n", 0)


@pytest.mark.parametrize(
    ("headers", "body", "status"),
    [
        ({"Content-Type": "text/plain"}, b"version: 1", 415),
        ({"Content-Type": "application/yaml"}, b"\xff", 400),
        ({"Content-Type": "application/yaml"}, b"#" * (4 * 1024 * 1024 + 1), 413),
        ({"Content-Type": "application/yaml", "Origin": "https://elsewhere.example"}, b"version: 1", 403),
    ],
)
async def test_what_is_no_policy_of_the_operators_is_not_tried(
    headers: dict[str, str], body: bytes, status: int, tmp_path: Path
) -> None:
    async with open_web(Gateway(journal=tmp_path / "stile.db")) as web:
        answer = await web.client.post("/api/what-if", content=body, headers=headers)
        assert answer.status_code == status
