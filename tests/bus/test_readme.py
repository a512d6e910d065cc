"""Every recipe of the page about the bus, run against a real broker; what cannot run here is held to what it needs."""

import asyncio
import json
import os
import re
import signal
import sys
from asyncio import subprocess
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from importlib import resources
from typing import Any

import pytest
import yaml

from gateway.bus.asyncapi import document
from gateway.bus.discovery import Announcer
from gateway.bus.options import QueueLimits
from gateway.bus.repertoire import Repertoire
from gateway.bus.topics import TopicGroup
from gateway.documents import check, parse
from gateway.feed.reader import ReportReader
from gateway.judge.conditions import Post as PostSettings
from gateway.settings import Settings
from tests.bus.conftest import OpenBus, options_for
from tests.judged_frames import Post, offer
from tests.mosquitto_broker import FAIL_SAFE_SECONDS, MosquittoBroker
from tests.options import bus_options, discovery_options
from tests.waiting import until

PAGE = resources.files("gateway.bus").joinpath("README.md").read_text("utf-8")
READER = ReportReader(PostSettings("QX1GAT-10", 58.6, -3.9167))
CAR = b"QA1BCD-9>APRS:!5836.00N/00405.00W>088/036"


def blocks(language: str) -> list[str]:
    return [match[1] for match in re.finditer(rf"^```{language}\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)]


def shell_line(topic: str) -> str:
    (line,) = (text for text in blocks("sh") if topic in text)
    return line


@asynccontextmanager
async def running(*command: str) -> AsyncIterator[asyncio.StreamReader]:
    """What a program prints, which is ended with all that it started."""
    process = await asyncio.create_subprocess_exec(
        *command, stdout=subprocess.PIPE, start_new_session=True, env={**os.environ, "PYTHONUNBUFFERED": "1"}
    )
    assert process.stdout is not None
    try:
        async with asyncio.timeout(FAIL_SAFE_SECONDS):
            yield process.stdout
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        await process.wait()


@pytest.mark.needs("mosquitto", "mosquitto")
@pytest.mark.needs("mosquitto_sub", "mosquitto-clients")
@pytest.mark.needs("jq", "jq")
async def test_the_line_for_the_shell_prints_every_frame(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    line = shell_line("stile/+/heard").replace("1883", str(broker.port))
    async with open_bus(options_for(broker.port)) as bus, running("sh", "-c", line) as printed:
        printing = asyncio.create_task(printed.readline())
        while not printing.done():  # until it has subscribed
            offer(bus, post.hear(CAR), READER)
            await asyncio.wait([printing], timeout=0.1)
        assert json.loads(await printing) == ["2026-06-06T12:00:00.000Z", "QA1BCD-9", "forward", "position"]


@pytest.mark.needs("mosquitto", "mosquitto")
@pytest.mark.needs("mosquitto_sub", "mosquitto-clients")
async def test_the_line_for_one_station_prints_what_is_retained(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    line = shell_line("stations/QA1BCD-9").replace("1883", str(broker.port))
    async with open_bus(options_for(broker.port)) as bus:
        offer(bus, post.hear(CAR), READER)
        await until(lambda: bus.tally[TopicGroup.STATIONS].published == 1)
        async with running("sh", "-c", line) as printed:
            assert json.loads(await printed.read())["source"] == "QA1BCD-9"


@pytest.mark.needs("mosquitto", "mosquitto")
@pytest.mark.needs("mosquitto_sub", "mosquitto-clients")
async def test_the_python_client_prints_how_far_away_stations_are(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    (program,) = blocks("python")
    program = program.replace("1883", str(broker.port)).replace("sleep(5)", "sleep(0.05)")
    async with open_bus(options_for(broker.port)) as bus:
        offer(bus, post.hear(CAR), READER)
        await until(lambda: bus.tally[TopicGroup.STATIONS].published == 1)
        async with running(sys.executable, "-c", program) as printed:
            assert await printed.readline() == b"QA1BCD-9      9.7 km\n"
            await broker.kill()
            await broker.start()
            assert await printed.readline() == b"QA1BCD-9      9.7 km\n"


def test_the_yaml_for_the_station_file_works() -> None:
    station = "station: {callsign: QX1GAT-10}\nreceivers: [{name: vhf, from: kiss+tcp://127.0.0.1:7581}]\n"
    shortest, whole = (check(parse(text + station, "README.md"), Settings).bus for text in blocks("yaml")[:2])
    assert shortest is not None
    assert whole is not None
    assert whole.discovery is not None
    assert whole.discovery.callsigns == ["QA1BCD-9", "QC3BUOY"]


def test_the_automation_waits_for_an_entity_that_we_announce() -> None:
    """A hub names an entity after its device and itself, in small letters with underscores (page "MQTT", "Naming")."""
    *_, text = blocks("yaml")
    ((automation,),) = yaml.safe_load(text).values()
    ((trigger,), (action,)) = automation["triggers"], automation["actions"]
    assert (trigger["trigger"], trigger["below"], action["action"]) == ("numeric_state", 5, "light.turn_on")
    announced = Announcer("node", "QX1GAT-10", "stile/QX1GAT-10").station(
        "QA1BCD-9", Repertoire(frozenset({"distance_km"}))
    )
    distance = announced["components"]["distance_km"]
    name = f"{announced['device']['name']} {distance['name']}"
    assert trigger["entity_id"] == f"{distance['platform']}.{re.sub('[^a-z0-9]+', '_', name.lower())}"
    assert distance["unit_of_measurement"] == "km"


def flow() -> list[dict[str, Any]]:
    nodes: list[dict[str, Any]] = json.loads(blocks("json")[0])
    return nodes


def test_the_flow_holds_together() -> None:
    """Its format, from memory: an array of nodes, each with `id` and `type`, tied by `wires` and by names of others."""
    nodes = {node["id"]: node for node in flow()}
    assert len(nodes) == len(flow())
    for node in nodes.values():
        assert node["type"]
        assert node.get("z", "stile-tab") in nodes
        assert not node["type"].startswith("mqtt ") or node["broker"] in nodes
        assert all(target in nodes for port in node.get("wires", []) for target in port)
    assert nodes["stile-heard"]["topic"] == "stile/+/heard"


@pytest.mark.needs("node", "nodejs")
async def test_the_function_in_the_flow_counts_frames_by_source_and_nothing_odd() -> None:
    (function,) = (node["func"] for node in flow() if node["type"] == "function")
    program = """
        const kept = {};
        const flow = {get: (key) => kept[key], set: (key, value) => { kept[key] = value; }};
        const count = new Function('msg', 'flow', process.argv[1]);
        const heard = ['QA1BCD-9', 'QB2', 'QA1BCD-9', undefined, '__proto__', 'a/b', 'QA1BCD-9'];
        let last = null;
        for (const source of heard) { last = count({payload: {source}}, flow) || last; }
        console.log(JSON.stringify(last.payload));
        for (let i = 0; i < 5000; i++) { count({payload: {source: 'Q' + i}}, flow); }
        console.log(Object.keys(kept.counts).length <= 1000);
    """
    async with running("node", "-e", program, function) as printed:
        assert json.loads(await printed.readline()) == {"QA1BCD-9": 3, "QB2": 1}
        assert await printed.readline() == b"true\n"


def test_the_table_of_topics_says_what_the_document_of_the_feed_says() -> None:
    rows = [[cell.strip() for cell in line.split("|")[1:-1]] for line in PAGE.splitlines() if line.startswith("| `")]
    shown = {topic.strip("`"): (quality, retained) for topic, _, quality, retained in rows}
    wanted = {"<prefix>/status": ("", "")}
    for name, operation in document()["operations"].items():
        if operation["action"] == "send":
            address = document()["channels"][name]["address"].removeprefix("{base}/{callsign}/")
            binding = operation["bindings"]["mqtt"]
            topic = address.replace("{", "<").replace("}", ">")
            wanted[topic] = (str(binding["qos"]), "yes" if binding["retain"] else "")
    assert shown == wanted


def test_the_figures_on_the_page_are_those_of_the_code() -> None:
    limits = QueueLimits()
    for figure in (limits.heard, limits.lines, limits.forwarded, limits.alerts):
        assert re.search(rf"\b{figure}\b", PAGE)
    options = bus_options()
    assert f"`{options.client_identifier}`" in PAGE
    assert f"{discovery_options().prefix}/device/{options.client_identifier}/gateway/config" in PAGE
