"""Recordings of a real gateway, between sockets of the test's, replayed: every verdict comes out as it was live."""

import asyncio
import gzip
from collections.abc import AsyncIterator, Iterable, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import NamedTuple

import pytest

from gateway import settings
from gateway.feed.heard_object import HeardPayload
from gateway.feed.sink import Sink
from gateway.judge.verdict import Judged, Reason
from gateway.replay.beginnings import Beginnings
from gateway.replay.contender import Contender
from gateway.replay.record import Record
from gateway.replay.replay import Replay, Replayed
from gateway.running.service import Service
from gateway.settings import policy_files
from tests.mosquitto_broker import MosquittoBroker, publish
from tests.replay.recording import read_back
from tests.waiting import until
from tests.whole_gateway import FAIL_SAFE_SECONDS, Decoder, kiss_of, policy_in_force, running, station_file

BUSY = """version: 1
name: busy
duplicates: {window: 2s}
rules:
  - {name: near-test, when: {contains: test, distance: {within: 10km}}, then: keep}
rates:
  - {name: one-station, allow: 40 per second, burst: 20}
  - {name: receiver, per: receiver, allow: 100 per second, reserve: {for: message, share: 25%}}
  - {name: all, per: everything, allow: 150 per second}
"""
QUIET = """version: 1
name: quiet
rates: [{name: one-station, allow: 2 per minute, burst: 3}]
"""
METERED = """version: 1
name: metered
duplicates: {window: 1s}
rates: [{name: month, per: everything, allow: 12 kB per month, reserve: {for: message, share: 5%}}]
"""
RECEIVERS = ("vhf", "hf")


class Recorder(Sink):
    """Keeps what is published of each frame, as a capture does."""

    def __init__(self) -> None:
        self.judged: list[Judged] = []
        self._lines: list[bytes] = []

    def offer(self, frames: Sequence[HeardPayload]) -> None:
        for payload in frames:
            self.judged.append(payload.judged)
            self._lines.append(payload.encoded())

    def offer_forwarded(self, frames: Sequence[HeardPayload], sent_at_ms: int) -> None:
        raise AssertionError("there is no uplink", frames, sent_at_ms)

    def read_back(self, folder: Path) -> list[Record]:
        path = folder / "capture.gz"
        path.write_bytes(gzip.compress(b"\n".join(self._lines)))
        return read_back(path)[0]


def burst(receiver: str, number: int) -> list[bytes]:
    """Frames with no time between them: some babble, copies of both receivers, a message, what no gateway passes."""
    return [
        *(b"QA%dBC>APRS,QD1RPT*:!5836.00N/00355.00W>lap %d" % (each % 9, number) for each in range(30)),
        *(b"QZ9BAB>APRS:>%b babbles %d %d" % (receiver.encode(), number, each) for each in range(40)),
        b"QB2CDE>APRS:!5836.00N/00355.00W>test %d" % number,
        b"QB2CDE>APRS:!6036.00N/00355.00W>test far off %d" % number,
        b"QB2CDE>APRS::QA1BC    :hello{%d" % number,
        b"QB2CDE>APRS,TCPIP*:>from the internet",
        b"QD2GAT>APZ001,QD1RPT*:}QB2BCD-7>APRS,QD3RPT*:>relayed %d" % number,
    ]


class Live(NamedTuple):
    """A run of the gateway; each run is another start of the process."""

    station: settings.StationFile
    decoders: Sequence[Decoder]
    service: Service


@asynccontextmanager
async def live(folder: Path, recorder: Recorder, more: str = "") -> AsyncIterator[Live]:
    async with Decoder() as vhf, Decoder() as hf:
        decoders = (vhf, hf)
        listed = ", ".join(
            f"{{name: {name}, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}"
            for name, decoder in zip(RECEIVERS, decoders, strict=True)
        )
        station = station_file(
            folder,
            "station: {callsign: QX1GAT-10, position: {latitude: 58.6, longitude: -3.9167}}\n"
            f"receivers: [{listed}]\npolicy: ./policy.yaml\n{more}",
        )
        async with running(station, recorder) as service:
            yield Live(station, decoders, service)


async def send_bursts(gateway: Live, recorder: Recorder, numbers: Sequence[int]) -> None:
    """Each burst on both receivers at once."""
    for number in numbers:
        bursts = [burst(name, number) for name in RECEIVERS]
        due = len(recorder.judged) + sum(map(len, bursts))
        await asyncio.gather(
            *(
                decoder.send(b"".join(map(kiss_of, lines)))
                for decoder, lines in zip(gateway.decoders, bursts, strict=True)
            )
        )
        await until(lambda due=due: len(recorder.judged) >= due)  # type: ignore[misc]


def judged_again(
    found: Iterable[Record],
    station: settings.StationFile,
    *policies: Path,
    beginnings: Beginnings | None = None,
) -> tuple[Replay, list[Replayed]]:
    post = station.settings.post
    sources = [policy_files.load(str(path), post, beside=Path()) for path in policies]
    contenders = [
        Contender(path.name, source.compiled(post), beginnings) for path, source in zip(policies, sources, strict=True)
    ]
    replay = Replay(found, *contenders)
    return replay, list(replay)


async def test_bursts_two_receivers_and_another_policy_at_each_start_come_out_as_they_were(tmp_path: Path) -> None:
    policy, busy, quiet = (tmp_path / name for name in ("policy.yaml", "busy.yaml", "quiet.yaml"))
    busy.write_text(BUSY)
    quiet.write_text(QUIET)
    recorder = Recorder()
    for text in (BUSY, QUIET, BUSY):
        policy.write_text(text)
        async with live(tmp_path, recorder) as gateway:
            await send_bursts(gateway, recorder, range(4))
    replay, frames = judged_again(recorder.read_back(tmp_path), gateway.station, busy, quiet)

    assert (replay.order.runs, replay.order.complete) == (3, True)
    assert [frame.record.heard for frame in frames] == [judged.heard for judged in recorder.judged]
    for judged, frame in zip(recorder.judged, frames, strict=True):
        assert judged in (frame.judged, frame.against)
    agreements = list(replay.agreement.values())
    assert [agreement.compared for agreement in agreements] == [1200, 600]
    assert [(agreement.otherwise, agreement.unsure) for agreement in agreements] == [(0, 0), (0, 0)]
    reasons = {judged.verdict.reason for judged in recorder.judged}
    assert reasons == {None, Reason.DUPLICATE, Reason.INTERNET_ORIGIN, Reason.RULE, Reason.OVER_RATE}
    assert {judged.heard.receiver for judged in recorder.judged} == set(RECEIVERS)


async def test_what_was_heard_before_a_reload_comes_out_as_it_was_and_what_came_after_is_in_doubt(
    tmp_path: Path,
) -> None:
    policy, busy, quiet = (tmp_path / name for name in ("policy.yaml", "busy.yaml", "quiet.yaml"))
    busy.write_text(BUSY)
    quiet.write_text(QUIET)
    policy.write_text(QUIET)
    recorder = Recorder()
    async with live(tmp_path, recorder) as gateway:
        await send_bursts(gateway, recorder, range(2))
        before, old_policy = len(recorder.judged), policy_in_force(gateway.service)
        policy.write_text(BUSY)
        gateway.service.reload()
        await until(lambda: policy_in_force(gateway.service) != old_policy)
        await send_bursts(gateway, recorder, range(2))
    replay, frames = judged_again(recorder.read_back(tmp_path), gateway.station, quiet, busy)
    assert [frame.judged for frame in frames[:before]] == recorder.judged[:before]
    first, second = replay.agreement.values()
    assert (first.compared, first.agreed) == (before, before)
    assert second.compared == second.agreed + second.unsure == len(recorder.judged) - before
    assert second.otherwise == 0


async def test_a_budget_that_runs_out_over_restarts_does_so_in_the_journal_and_in_captures(tmp_path: Path) -> None:
    policy = tmp_path / "policy.yaml"
    policy.write_text(METERED)
    recorder = Recorder()
    kept_in_run: list[int] = []
    for run in range(3):
        async with live(tmp_path, recorder, "journal: {path: stile.db, captures: captures}\n") as gateway:
            await send_bursts(gateway, recorder, range(run * 2, run * 2 + 2))
        kept_in_run.append(sum(judged.verdict.rule == "month" for judged in recorder.judged) - sum(kept_in_run))
    assert kept_in_run[0] == 0
    assert kept_in_run[1] < kept_in_run[2]
    captures = sorted((tmp_path / "captures").iterdir(), key=lambda path: path.stat().st_mtime_ns)
    assert len(captures) == 3
    for paths in ([tmp_path / "stile.db"], captures):
        found, read = read_back(*paths)
        assert (read.reading.damaged, read.reading.unreadable, read.reading.without_end) == (0, [], [])
        replay, frames = judged_again(found, gateway.station, policy, beginnings=read.beginnings)
        assert [frame.judged for frame in frames] == recorder.judged
        assert all(map(replay.policy.knows_beginning, {record.heard.run for record in found}))
        agreement = replay.agreement[replay.policy.label]
        assert (agreement.compared, agreement.agreed) == (len(recorder.judged), len(recorder.judged))


async def test_copies_that_came_after_a_restart_come_out_as_they_were(tmp_path: Path) -> None:
    policy = tmp_path / "policy.yaml"
    policy.write_text("version: 1\nname: patient\nduplicates: {window: 10m}\n")
    recorder = Recorder()
    for _ in range(3):
        async with live(tmp_path, recorder, "journal: {path: stile.db, captures: captures}\n") as gateway:
            await send_bursts(gateway, recorder, range(1))
    again = recorder.judged[len(recorder.judged) // 3 :]
    assert {judged.verdict.reason for judged in again} == {Reason.DUPLICATE, Reason.INTERNET_ORIGIN}
    captures = sorted((tmp_path / "captures").iterdir(), key=lambda path: path.stat().st_mtime_ns)
    for paths in ([tmp_path / "stile.db"], captures, captures[1:], captures[2:]):
        found, read = read_back(*paths)
        assert read.reading.damaged == 0
        replay, _ = judged_again(found, gateway.station, policy, beginnings=read.beginnings)
        agreement = replay.agreement[replay.policy.label]
        assert agreement.compared == agreement.agreed == len(found) > 0


@pytest.mark.needs("mosquitto", "mosquitto")
@pytest.mark.needs("mosquitto_sub", "mosquitto-clients")
async def test_what_mosquitto_sub_printed_is_replayed_as_it_was(tmp_path: Path) -> None:
    policy = tmp_path / "policy.yaml"
    policy.write_text(BUSY)
    recorder = Recorder()
    recording = tmp_path / "recording"
    async with MosquittoBroker() as broker:
        await publish(broker, "test/ready", b"yes", retain=True)
        with recording.open("wb") as printed:
            witness = await asyncio.create_subprocess_exec(
                *("stdbuf", "-oL", "mosquitto_sub", "-h", "127.0.0.1", "-p", str(broker.port)),
                *("-q", "1", "-v", "-t", "test/ready", "-t", "stile/#"),
                stdout=printed,
            )
        try:
            await until(lambda: recording.stat().st_size > 0)
            bus = f"bus: {{broker: 'mqtt://127.0.0.1:{broker.port}'}}\n"
            async with live(tmp_path, recorder, bus) as gateway:
                await send_bursts(gateway, recorder, range(2))
                await until(lambda: recording.read_bytes().count(b"/heard {") >= len(recorder.judged))
        finally:
            witness.terminate()
            await asyncio.wait_for(witness.wait(), FAIL_SAFE_SECONDS)
    replay, frames = judged_again(read_back(recording)[0], gateway.station, policy)
    assert [frame.judged for frame in frames] == recorder.judged
    agreement = replay.agreement[replay.policy.label]
    assert (agreement.compared, agreement.agreed) == (len(recorder.judged), len(recorder.judged))
    assert replay.order.complete
