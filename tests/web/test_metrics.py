"""The metrics, held to what Prometheus' own tool and parser say of them."""

import asyncio
import subprocess

import pytest
from prometheus_client.parser import text_string_to_metric_families

from gateway.judge.verdict import Reason
from gateway.web import exposition
from tests.web.opened import Gateway, OpenWeb, open_web


async def metrics_of(web: OpenWeb) -> bytes:
    answer = await web.get("/metrics")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == exposition.CONTENT_TYPE
    return answer.content


@pytest.mark.needs("promtool", "prometheus")
async def test_prometheus_own_tool_finds_nothing_to_mend() -> None:
    async with open_web() as web:
        web.hear()
        written = await metrics_of(web)
    checked = await asyncio.to_thread(
        subprocess.run, ["promtool", "check", "metrics"], input=written, capture_output=True, check=False
    )
    assert (checked.returncode, checked.stdout, checked.stderr) == (0, b"", b"")


async def test_the_numbers_are_those_of_the_health_and_add_up() -> None:
    async with open_web() as web:
        web.hear()
        families = {one.name: one for one in text_string_to_metric_families((await metrics_of(web)).decode())}

    def numbers(name: str, label: str) -> dict[str, float]:
        return {sample.labels[label]: sample.value for sample in families[name].samples}

    def number(name: str) -> float:
        (sample,) = families[name].samples
        return float(sample.value)

    assert number("stile_frames_heard") == 5 == sum(numbers("stile_frames_judged", "verdict").values())
    kept = numbers("stile_frames_kept", "reason")
    assert set(kept) == {reason.value for reason in Reason}
    assert sum(kept.values()) == numbers("stile_frames_judged", "verdict")["keep"]
    outcomes = sum(numbers("stile_forward_outcomes", "outcome").values())
    assert outcomes + number("stile_forward_waiting") == numbers("stile_frames_judged", "verdict")["forward"]
    states = {(s.labels["part"], s.labels["state"]): s.value for s in families["stile_part_state"].samples}
    assert (states["uplink", "degraded"], states["uplink", "ok"], states["vhf", "ok"]) == (1, 0, 1)
    assert number("stile_stations") == 1
    assert families["stile_shed"].samples[0].labels == {"kind": "uplink", "part": "uplink", "carries": "lines"}


async def test_a_post_that_has_heard_nothing_does_not_say_when() -> None:
    async with open_web() as web:
        assert b"stile_last_heard_timestamp_seconds" not in await metrics_of(web)
        web.hear()
        assert b"stile_last_heard_timestamp_seconds 1780747200.0\n" in await metrics_of(web)


async def test_nothing_from_the_air_is_a_label() -> None:
    gateway = Gateway()
    async with open_web(gateway) as web:
        before = [line.partition(b" ")[0] for line in (await metrics_of(web)).splitlines()]
        for number in range(50):
            web.hear(b"QA%dBC>APZ%d,QD%dA*:>%d" % (number, number, number, number))
        after = [line.partition(b" ")[0] for line in (await metrics_of(web)).splitlines()]
    assert set(after) - set(before) <= {b"#", b"stile_last_heard_timestamp_seconds"}
