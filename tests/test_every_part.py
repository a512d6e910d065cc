"""Every part answers for itself: each is given a fault of its own, and then health, page, metrics and log are asked."""

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families
from structlog.testing import capture_logs

from demo.network_server import Answer, Conduct, NetworkServer
from gateway.feed.health import Health
from gateway.feed.sink import Sink
from gateway.frames.heard import Run
from gateway.groundwork.part import FigureKind, State
from gateway.running import service as gateway_service
from gateway.running.service import Service
from gateway.settings import policy_files
from tests.receivers.listening import ScriptedDecoder, in_kiss, sends, stays
from tests.waiting import until
from tests.whole_gateway import Decoder, Ear, kiss_of, running, station_file

TEXT = b"QA1BCD-9>APRS:>monitor text\r\n"


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        return int(server.getsockname()[1])


def listening_post(decoder: Decoder) -> str:
    """A station file with one receiver."""
    receiver = f"{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}"
    return f"station: {{callsign: QX1GAT-10}}\nreceivers: [{receiver}]\n"


class Faulty(Sink):
    """A sink with a fault of its own."""

    def offer(self, frames: object) -> None:
        raise RuntimeError(frames)


@asynccontextmanager
async def post_of_faults(folder: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[tuple[Service, int]]:
    """A gateway each part of which has a fault, but for a healthy receiver and the web; gives back the web's port."""
    monkeypatch.setattr(gateway_service, "Run", lambda: Run(wall=lambda: 1_000_000_000.0))  # 2001
    (folder / "stile.db").mkdir()
    (folder / "captures").write_text("a file stands where the folder should be")
    policy = folder / "mine.yaml"
    policy.write_text("version: 1\nname: mine\n")
    web_port = free_port()
    async with contextlib.AsyncExitStack() as stack:
        enter = stack.enter_async_context
        healthy = await enter(Decoder())
        text = await enter(ScriptedDecoder(sends(TEXT, then=stays)))
        kiss = await enter(ScriptedDecoder(sends(in_kiss("one"), then=stays)))
        server = await enter(NetworkServer(conduct=Conduct(answer=Answer.UNVERIFIED)))
        taken = stack.enter_context(socket.create_server(("127.0.0.1", 0)))
        taken_udp = stack.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
        taken_udp.bind(("127.0.0.1", 0))
        udp_port = free_port()
        station = (
            "station: {callsign: QX1GAT-10}\n"
            "receivers:\n"
            f"  - {{name: healthy, from: 'kiss+tcp://127.0.0.1:{healthy.port}'}}\n"
            f"  - {{name: text-for-kiss, from: 'kiss+tcp://127.0.0.1:{text.port}'}}\n"
            f"  - {{name: kiss-for-text, from: 'tnc2+tcp://127.0.0.1:{kiss.port}'}}\n"
            f"  - {{name: no-socket, from: 'kiss+unix://{folder}/decoder'}}\n"
            f"  - {{name: no-device, from: 'kiss+serial://{folder}/ttyS9'}}\n"
            f"  - {{name: not-allowed, from: 'tnc2+udp://127.0.0.1:{udp_port}', allow: [192.0.2.1]}}\n"
            f"  - {{name: taken, from: 'axudp://127.0.0.1:{taken_udp.getsockname()[1]}'}}\n"
            "policy: ./mine.yaml\n"
            f"uplink: {{servers: ['tcp://127.0.0.1:{server.port}']}}\n"
            f"bus: {{broker: 'mqtt://127.0.0.1:{free_port()}'}}\n"
            f"lines: {{listen: '127.0.0.1:{taken.getsockname()[1]}'}}\n"
            f"web: {{listen: '127.0.0.1:{web_port}'}}\n"
            "journal: {path: stile.db, captures: captures}\n"
        )
        service = await enter(running(station_file(folder, station), Faulty()))
        await healthy.send(kiss_of(b"QA1BCD-9>APRS:>one"))
        policy.write_text("version: 1\nnmae: mine\n")
        service.reload()
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as stranger:

            def is_refused() -> bool:
                stranger.sendto(TEXT, ("127.0.0.1", udp_port))
                return figure_of(service.health(), "not-allowed", "not_allowed") > 0

            await until(is_refused)
        yield service, web_port


def figure_of(health: Health, name: str, figure_name: str) -> float:
    part = next(part for part in health.parts if part.name == name)
    return sum(each.value for each in health.figures[part] if each.name == figure_name)


FAULTS: dict[str, tuple[State, str]] = {
    "healthy": (State.OK, ""),
    "text-for-kiss": (State.WAITING, "they look like monitor text"),
    "kiss-for-text": (State.WAITING, "they look like KISS"),
    "no-socket": (State.DOWN, "No such file"),
    "no-device": (State.DOWN, "No such file"),
    "not-allowed": (State.WAITING, "not allowed, the last from 127.0.0.1"),
    "taken": (State.DOWN, "Address already in use"),
    "uplink": (State.DEGRADED, "does not accept the login"),
    "bus": (State.DOWN, "cannot be reached"),
    "lines": (State.DOWN, "Address already in use"),
    "web": (State.OK, ""),
    "journal": (State.DOWN, "cannot be opened"),
    "captures": (State.DOWN, "cannot be used"),
    "policy": (State.DEGRADED, "nmae"),
    "alerts": (State.OK, ""),
    "clock": (State.DEGRADED, "the clock shows 2001"),
    "pulse": (State.OK, ""),
    "gateway": (State.DEGRADED, "faults of the gateway's own"),
}


def has_come(service: Service) -> bool:
    """Whether every fault shows."""
    return all(
        part.state is FAULTS[part.name][0] and FAULTS[part.name][1] in part.why for part in service.health().parts
    )


async def test_the_fault_of_every_part_shows_in_health_page_metrics_and_log(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with capture_logs() as logs:
        async with post_of_faults(tmp_path, monkeypatch) as (service, port):
            with contextlib.suppress(TimeoutError):
                await until(lambda: has_come(service))
            shown = {part.name: (part.state, part.why) for part in service.health().parts}
            address = f"http://127.0.0.1:{port}"
            page = (await asyncio.to_thread(httpx.get, f"{address}/api/health")).json()
            metrics = (await asyncio.to_thread(httpx.get, f"{address}/metrics")).text
    assert shown.keys() == FAULTS.keys()
    for name, (state, why) in FAULTS.items():
        assert shown[name][0] is state, (name, shown[name])
        assert why in shown[name][1]
    assert {part["name"]: part["state"] for part in page["parts"]} == {
        name: state for name, (state, _) in FAULTS.items()
    }
    assert all(part["do"] for part in page["parts"] if part["state"] != "ok")
    for name, (state, _) in FAULTS.items():
        assert f'part="{name}",state="{state}"}} 1.0\n' in metrics
    said = " ".join(str(sorted(entry.items())) for entry in logs if entry["log_level"] in {"warning", "error"})
    for name in FAULTS.keys() - {"healthy", "web", "alerts", "clock", "pulse"}:
        words = {
            "lines": "the text port",
            "uplink": "the network",
            "gateway": "a fault of the gateway's own",
            "policy": "policy",
            "bus": "bus",
        }
        assert words.get(name, name) in said, name


async def test_every_figure_is_in_health_metrics_and_the_closing_summary_also_while_it_is_0(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with capture_logs() as logs:
        async with post_of_faults(tmp_path, monkeypatch) as (service, port):
            await until(lambda: service.sinks.web is not None and service.sinks.web.port == port)
            metrics = (await asyncio.to_thread(httpx.get, f"http://127.0.0.1:{port}/metrics")).text
            health = service.health()
    families = {one.name: one for one in text_string_to_metric_families(metrics)}
    plain = {part["name"]: part["figures"] for part in health.to_object()["parts"]}
    summary = {entry["part"]: entry for entry in logs if entry["event"] == "counted"}
    for part in health.parts:
        for one in health.figures[part]:
            labels = {"kind": part.kind.value, "part": part.name, **one.labels}
            assert labels in [sample.labels for sample in families[f"stile_{one.name}"].samples]
            assert one.name in plain[part.name]
            assert one.name in summary[part.name]
    assert figure_of(health, "uplink", "unconfirmed") == 0
    assert 'stile_unconfirmed_total{kind="uplink",part="uplink"} 0\n' in metrics
    for name in ("bus", "lines", "web", "journal", "captures"):
        assert name in {sample.labels["part"] for sample in families["stile_shed"].samples}


async def test_parts_that_count_the_same_thing_say_so_in_the_same_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with post_of_faults(tmp_path, monkeypatch) as (service, _):
        figures = [each for of_part in service.health().figures.values() for each in of_part]
    by_name: dict[str, set[tuple[FigureKind, str, tuple[str, ...]]]] = {}
    for each in figures:
        by_name.setdefault(each.name, set()).add((each.kind, each.help, tuple(each.labels)))
    assert {name: said for name, said in by_name.items() if len(said) > 1} == {}


async def test_asking_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock that jumps is seen once, by the tick, however often somebody asks in between."""
    wall = [1_780_747_200.0]
    monkeypatch.setattr(gateway_service, "Run", lambda: Run(monotonic=lambda: 0.0, wall=lambda: wall[0]))
    async with Decoder() as decoder:
        text = f"station: {{callsign: QX1GAT-10}}\nreceivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n"
        service = Service(station_file(tmp_path, text), policy_files.load_for(station_file(tmp_path, text)))
        first = service.health()
        wall[0] += 3600
        asked = [service.health() for _ in range(5)]
    assert {health.time_ms for health in asked} == {first.time_ms + 3_600_000}
    assert all(figure_of(health, "clock", "clock_set") == 0 for health in asked)
    assert asked[0].figures == asked[-1].figures


ALERTS = """
alerts:
  - {name: launch, when: {source: QA1BCD-9}}
  - {name: deaf, deaf: {for: 1m}}
"""


async def test_with_an_uplink_and_nobody_else_to_tell_the_watches_get_every_frame(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    elapsed = [0.0]
    monkeypatch.setattr(gateway_service, "Run", lambda: Run(monotonic=lambda: elapsed[0]))
    monkeypatch.setattr(gateway_service, "FIRST_HEALTH_SECONDS", 0.005)
    monkeypatch.setattr(gateway_service, "HEALTH_SECONDS", 0.005)
    monkeypatch.setattr(Service, "_beat", lambda _: asyncio.Event().wait())  # a clock that leaps is no standstill here
    async with Decoder() as decoder, NetworkServer() as server:
        text = f"{listening_post(decoder)}uplink: {{servers: ['tcp://127.0.0.1:{server.port}']}}\n{ALERTS}"
        with capture_logs() as logs:
            async with running(station_file(tmp_path, text)) as service:
                await until(lambda: part_state(service, "uplink") is State.OK)
                for number in range(4):
                    elapsed[0] += 40
                    await decoder.send(kiss_of(b"QA1BCD-9>APRS:>%d" % number))
                    await server.until(lambda number=number: server.counts.accepted == number + 1)  # type: ignore[misc]
                    await asyncio.sleep(0.02)
                heard = service.health().watched["activity"]["frames_per_minute"]
                elapsed[0] += 70
                await until(lambda: figure_of(service.health(), "alerts", "alerts") == 2)
                await decoder.send(kiss_of(b"QA1BCD-9>APRS:>back"))
                await until(lambda: any(entry["event"] == "alert is over" for entry in logs))
    named = [(entry["event"], entry["name"]) for entry in logs if entry["event"].startswith("alert")]
    assert named == [("alert", "launch"), ("alert", "deaf"), ("alert is over", "deaf")]
    assert heard == 2


def part_state(service: Service, name: str) -> State:
    return next(part.state for part in service.health().parts if part.name == name)


async def test_captures_that_cannot_be_written_are_down_and_tried_again(tmp_path: Path) -> None:
    (tmp_path / "captures").write_text("a file stands where the folder should be")
    ear = Ear()
    async with Decoder() as decoder:
        text = f"{listening_post(decoder)}journal: {{path: stile.db, captures: captures}}\n"
        async with running(station_file(tmp_path, text), ear) as service:
            await until(lambda: part_state(service, "captures") is State.DOWN)
            await until(lambda: part_state(service, "journal") is State.OK)
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>one"))
            await until(lambda: len(ear.judged) == 1)
            (tmp_path / "captures").unlink()
            await until(lambda: part_state(service, "captures") is State.OK)
            await until(lambda: figure_of(service.health(), "captures", "written") == 1)
    assert [path.suffix for path in (tmp_path / "captures").iterdir()] == [".gz"]
