"""Whether a real home-automation hub, installed from PyPI for this, sets itself up by what the bus tells it.

The hub finds the gateway and the listed stations, follows them, runs the page's automation, and loses who is taken from
the list. Nothing of it stays: it goes into a virtual environment in a temporary folder, which takes some minutes and
Python 3.13; or one is used whose Python the environment names as STILE_BENCH_HUB. What was seen is printed, up to what
does not come about. It is skipped without such a Python, or without mosquitto.
"""

import asyncio
import json
import os
import shutil
import sys
import tempfile
from asyncio import subprocess
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from subprocess import run
from typing import Any

from tests.bench.fed_bus import fed_bus
from tests.bench.figures import Effort, Figure, Skipped
from tests.mosquitto_broker import MosquittoBroker, witness

HUB = ("homeassistant>=2025.4", "paho-mqtt==2.1.0")
"""The hub, and what it would install by itself for MQTT."""

NEEDED = ("mosquitto", "mosquitto_sub", "stdbuf")
INSTALLED = "STILE_BENCH_HUB"
PYTHONS = ("python3.14", "python3.13")
SECONDS = 60

CAR, BUOY = "QA1BCD-9", "QC3BUOY"
LIGHT = "house/quay/light"
CONFIGURATION = f"""
homeassistant: {{latitude: 58.6, longitude: -3.9167, unit_system: metric, time_zone: UTC}}
http: {{server_host: 127.0.0.1}}
mqtt:
  - light: {{name: Quay, unique_id: quay, command_topic: {LIGHT}}}
"""

FAR = b"QA1BCD-9>APRS:!5836.00N/00405.00W>088/036"
NEAR = b"QA1BCD-9>APRS:!5836.00N/00357.00W>088/036"
WEATHER = b"QC3BUOY>APRS:!5836.  N/00355.  W_220/004g005t077r000p000P000h50b09900"
TELEMETRY = (
    b"QC3BUOY>APRS::QC3BUOY  :PARM.Battery,Bilge {{ 1/0 }},,,,Hatch",
    b"QC3BUOY>APRS::QC3BUOY  :UNIT.volts,cm",
    b"QC3BUOY>APRS::QC3BUOY  :EQNS.0,0.1,0",
    b"QC3BUOY>APRS:T#005,127,003,255,073,123,10000000",
)


@dataclass
class Hub:
    """What a running hub knows."""

    states: dict[str, dict[str, Any]] = field(default_factory=dict)
    gone: set[str] = field(default_factory=set)
    _news: asyncio.Condition = field(default_factory=asyncio.Condition)

    async def read(self, printed: asyncio.StreamReader) -> None:
        """Take in what it prints."""
        async for line in printed:
            told = json.loads(line)
            async with self._news:
                if told["now"] is None:
                    self.states.pop(told["entity"], None)
                    self.gone.add(told["entity"])
                else:
                    self.states[told["entity"]] = told["now"]
                self._news.notify_all()

    async def until(self, what: str, holds: Callable[[], bool]) -> None:
        """Wait until something holds, and say so. Raises `TimeoutError`."""
        try:
            async with asyncio.timeout(SECONDS), self._news:
                await self._news.wait_for(holds)
        except TimeoutError:
            print(f"NOT SO: {what}", file=sys.stderr)
            raise
        print(f"  {what}", file=sys.stderr)

    def is_at(self, entity: str, state: str, **attributes: object) -> bool:
        """Whether an entity has this state, and these attributes among others."""
        known = self.states.get(entity)
        return (
            known is not None
            and known["state"] == state
            and all(known["attributes"].get(name) == value for name, value in attributes.items())
        )


@asynccontextmanager
async def running_hub(python: str, folder: Path, broker_port: int) -> AsyncIterator[Hub]:
    """The hub with the automation of the page, for a block."""
    inside = Path(__file__).with_name("hub_inside.py")
    command = (python, str(inside), str(folder), str(broker_port))
    with (folder.parent / "log").open("wb") as log:
        process = await asyncio.create_subprocess_exec(
            *command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log, limit=1 << 22
        )
        assert process.stdin is not None
        assert process.stdout is not None
        hub = Hub()
        reading = asyncio.create_task(hub.read(process.stdout))
        try:
            yield hub
        finally:
            process.stdin.close()
            await process.wait()
            await reading


async def follow(python: str, folder: Path) -> None:
    """Everything, in order. Raises `TimeoutError` at what does not come about."""
    async with (
        MosquittoBroker() as broker,
        witness(broker, LIGHT) as light,
        running_hub(python, folder, broker.port) as hub,
    ):
        async with fed_bus(broker, CAR, BUOY) as feed:
            feed.hear(FAR, WEATHER, *TELEMETRY, b"QC3BUOY>APRS:>a status hides nothing", b"QB2BCD>APRS:>not listed")
            feed.tell_health()
            await _until_found(hub)
            await _until_read(hub)
            feed.hear(NEAR, b"QA1BCD-9>APRS:>arrived")
            await hub.until(
                "the car has moved", lambda: hub.is_at("device_tracker.qa1bcd_9", "not_home", longitude=-3.95)
            )
            await light.until(lambda seen: any(message.payload == b"ON" for message in seen))
            print("  the page's automation has switched the light on: the car is within 5 km", file=sys.stderr)
        await hub.until(
            "the gateway has stopped: what it told is unavailable",
            lambda: (
                hub.is_at("sensor.qa1bcd_9_distance", "unavailable")
                and hub.is_at("binary_sensor.stile_qx1gat_10_connection", "off")
            ),
        )
        async with fed_bus(broker, CAR) as feed:
            feed.hear(NEAR)
            await hub.until(
                "the buoy was taken from the list: it is gone, and the car is back",
                lambda: (
                    {"device_tracker.qc3buoy", "sensor.qc3buoy_temperature", "sensor.qc3buoy_battery"} <= hub.gone
                    and hub.is_at("device_tracker.qa1bcd_9", "not_home", longitude=-3.95)
                ),
            )
            assert not any("qb2bcd" in entity for entity in hub.states)
            print("  who was never listed never came", file=sys.stderr)


async def _until_found(hub: Hub) -> None:
    await hub.until(
        "the gateway was found, and is connected",
        lambda: hub.is_at("binary_sensor.stile_qx1gat_10_connection", "on", device_class="connectivity"),
    )
    await hub.until(
        "its health is read",
        lambda: (
            hub.is_at("sensor.stile_qx1gat_10_receiver_vhf", "ok")
            and hub.is_at("sensor.stile_qx1gat_10_stations_in_the_last_hour", "3")
            and hub.is_at("sensor.stile_qx1gat_10_keep_duplicate", "0")
        ),
    )


async def _until_read(hub: Hub) -> None:
    await hub.until(
        "the car is where it says",
        lambda: (
            hub.is_at("device_tracker.qa1bcd_9", "not_home", latitude=58.6, longitude=-4.083333, speed_kmh=66.7)
            and hub.is_at("sensor.qa1bcd_9_distance", "9.688", unit_of_measurement="km")
        ),
    )
    await hub.until(
        "the buoy's weather has its units, and its blurred place its size",
        lambda: (
            hub.is_at("sensor.qc3buoy_temperature", "25.0", unit_of_measurement="°C", device_class="temperature")
            and hub.is_at("sensor.qc3buoy_air_pressure", "990.0", unit_of_measurement="hPa")
            and hub.is_at("sensor.qc3buoy_wind_direction", "220", state_class="measurement_angle")
            and hub.is_at("device_tracker.qc3buoy", "not_home", gps_accuracy=926)
        ),
    )
    await hub.until(
        "its telemetry has names, and those do no harm",
        lambda: (
            hub.is_at("sensor.qc3buoy_battery", "12.7", unit_of_measurement="V", device_class="voltage")
            and hub.is_at("sensor.qc3buoy_bilge_1_0", "3", friendly_name="QC3BUOY Bilge 1/0")
            and hub.is_at("binary_sensor.qc3buoy_hatch", "on")
        ),
    )


def automation_of_the_page() -> str:
    """The automation as the page has it."""
    page = resources.files("gateway.bus").joinpath("README.md").read_text("utf-8")
    start = page.index("automation:\n")
    return page[start : page.index("```", start)]


def prepare(folder: Path) -> Path:
    """A folder with the hub's configuration."""
    configuration = folder / "hub"
    configuration.mkdir()
    (configuration / "configuration.yaml").write_text(CONFIGURATION + automation_of_the_page(), "utf-8")
    return configuration


def works(python: str) -> bool:
    """Whether there is such a Python, and it runs."""
    return (
        shutil.which(python) is not None
        and run([python, "--version"], capture_output=True, check=False).returncode == 0
    )


def version(python: str) -> str:
    """The hub's, in the environment of this Python."""
    ask = "from homeassistant.const import __version__; print(__version__)"
    return run([python, "-c", ask], capture_output=True, check=True, text=True).stdout.strip()


async def install(python: str, folder: Path) -> str:
    """Install the hub into an environment in `folder`; returns its Python. Raises `RuntimeError`."""
    environment = folder / "environment"
    installed = str(environment / "bin" / "python")
    for command in ((python, "-m", "venv", str(environment)), (installed, "-m", "pip", "install", "-q", *HUB)):
        process = await asyncio.create_subprocess_exec(*command, stdout=sys.stderr)
        if await process.wait() != 0:
            raise RuntimeError(f"the hub could not be installed by {python}")
    return installed


def measure(_effort: Effort) -> Iterator[Figure]:
    """How much of what it should know it does not."""
    base = os.environ.get(INSTALLED) or next(filter(works, PYTHONS), None)
    missing = [tool for tool in NEEDED if shutil.which(tool, path=f"{os.environ['PATH']}:/usr/sbin") is None]
    if base is None or missing:
        raise Skipped(f"{', '.join(missing or PYTHONS)} not installed")
    with tempfile.TemporaryDirectory(prefix="hub-") as name, asyncio.Runner() as runner:
        folder = Path(name)
        python = base if INSTALLED in os.environ else runner.run(install(base, folder))
        release = version(python)
        try:
            runner.run(follow(python, prepare(folder)))
        except TimeoutError:
            print((folder / "log").read_text("utf-8", "replace")[-4000:], file=sys.stderr)
            unknown = 1
        else:
            unknown = 0
    yield Figure("not as it should be", unknown, "things", "", f"hub {release}")
