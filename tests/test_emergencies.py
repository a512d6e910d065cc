"""How many emergencies there were is the same number wherever it is told, and all of them are told."""

import asyncio
import socket
from pathlib import Path

import httpx
from structlog.testing import capture_logs

from gateway.feed.heard_object import encode, heard_object
from gateway.feed.reader import ReportReader
from gateway.glance.shown import HeardShown
from gateway.judge.verdict import Judged
from gateway.replay.contender import Contender
from tests.judge.listening import POST, source_of
from tests.waiting import until
from tests.whole_gateway import Decoder, Ear, kiss_of, running, station_file

# Ours, after APRS101 chapter 10: three digits first in the destination are the message bits 000, an emergency; S32 are
# 100.
# APRS12, from memory: !EMERGENCY! in the comment of a station's own position.
FRAMES = [
    b'QA1BCD-9>332564:`(_fn"Oj/forwarded',
    b'QA1BCD-9>332564,QD1AA*:`(_fn"Oj/forwarded',  # a copy of it by a repeater
    b'QB2CDE-1>332564,NOGATE:`(_fn"Oj/kept by a rule of the network',
    b'QD1AA>APRS,WIDE1-1:}QC3DEF>332564:`(_fn"Oj/relayed',
    b'QD1AA>332564,WIDE1-1:}QE4EFG>S32564:`(_fn"Oj/the relay alone looks like one',
    b'QF5FGH-9>S32564:`(_fn"Oj/returning',
    b"QG6GHJ-9>APRS:!5836.00N/00355.00W>!EMERGENCY!",
    b"QH7HJK-9>APRS::QA1BCD-9 :!EMERGENCY!",  # a message, which tells of others or quotes
]
EMERGENCIES = 4


def station_text(decoder: Decoder, port: int) -> str:
    return (
        "station: {callsign: QX1GAT-10}\n"
        f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n"
        f"web: {{listen: 127.0.0.1:{port}}}\n"
    )


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port: int = listening.getsockname()[1]
    return port


def counted_by_the_page(judged: Judged) -> bool:
    """As the page asks of a heard object."""
    plain = heard_object(judged, ReportReader(POST)(judged))
    return bool(plain["report"].get("emergency")) and plain.get("reason") != "duplicate"


def counted_by_the_terminal(judged: Judged) -> bool:
    plain = encode(heard_object(judged, ReportReader(POST)(judged)))
    return HeardShown.model_validate_json(plain).counts_as_emergency


def counted_by_a_replay(frames: list[Judged]) -> int:
    contender = Contender("receive-only", source_of("").compiled(POST))
    for judged in frames:
        contender.judge(judged.heard)
    return contender.tally.emergencies


async def test_health_metrics_alerts_page_terminal_and_replay_count_the_same_emergencies(tmp_path: Path) -> None:
    ear, port = Ear(), free_port()
    async with Decoder() as decoder:
        with capture_logs() as logs:
            async with running(station_file(tmp_path, station_text(decoder, port)), ear) as service:
                await decoder.send(b"".join(map(kiss_of, FRAMES)))
                await until(lambda: len(ear.judged) == len(FRAMES))
                health = service.health()
                web = service.sinks.web
                assert web is not None
                await until(lambda: web.port == port)
                metrics = (await asyncio.to_thread(httpx.get, f"http://127.0.0.1:{port}/metrics")).text
    past_rates = health.watched["past_rates"]
    assert health.counts.emergencies == EMERGENCIES
    assert f"stile_emergencies_heard_total {EMERGENCIES}\n" in metrics
    assert sum(entry.get("name") == "emergency" for entry in logs) == EMERGENCIES
    assert sum(map(counted_by_the_page, ear.judged)) == EMERGENCIES
    assert sum(map(counted_by_the_terminal, ear.judged)) == EMERGENCIES
    assert counted_by_a_replay(ear.judged) == EMERGENCIES
    assert {source: taken["frames"] for source, taken in past_rates["by_source"].items()} == {
        "QA1BCD-9": 1,
        "QC3DEF": 1,
        "QG6GHJ-9": 1,
    }
    assert "stile_emergency_frames_past_rates_total 3\n" in metrics
    assert f"stile_emergency_octets_past_rates_total {past_rates['octets']}\n" in metrics
