"""Stations that the broker holds are taken in after a restart without a journal; only what is too old is cleared."""

import json
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.bus.adoption import Adoption
from gateway.bus.options import QueueLimits
from gateway.bus.outbox import MessageOutbox
from gateway.bus.topics import Topics
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.frames.heard import Moment
from gateway.groundwork.duration import DAY_MS, HOUR_MS
from tests.alerts.alerting import PLACE
from tests.judged_frames import NOON_MS, Post, offer
from tests.mosquitto_broker import MosquittoBroker, publish, retained
from tests.remembering import any_json
from tests.whole_gateway import Decoder, kiss_of, running, station_file

BOAT = b"QA1BCD-9>APRS,QD1RPT*:!5836.00N/00355.00W>under way"
WEATHER = b"QA1BCD-9>APRS:_10090556c220s004g005t077r000p000P000h50b09900wRSW"


class Gateway:
    """The bus's side of one run, without a connection."""

    def __init__(self, run: str, *, limit: int = 100, trusted: bool = True, elapsed_ms: int = 0) -> None:
        self.post = Post(run)
        self.post.moment = Moment(elapsed_ms, NOON_MS + elapsed_ms)
        self.stations = Stations(limit, DAY_MS, followed=("QA1BCD-9",))
        adoption = Adoption(self.stations, lambda: self.post.moment, ReportReader(PLACE), lambda: trusted)
        self.outbox = MessageOutbox(Topics("stile", "QX1GAT-10"), QueueLimits(), self.stations, adoption)

    def hear(self, line: bytes) -> None:
        offer(self.outbox, self.post.hear(line), ReportReader(PLACE))

    def connect(self, held: dict[str, bytes]) -> dict[str, bytes]:
        """The broker tells what it holds; what is written and cleared then."""
        self.outbox.connected()
        for name, payload in held.items():
            self.outbox.found_station(name, payload)
        self.outbox.settle()
        changes = {}
        while len(self.outbox.station_topics):
            message = self.outbox.take()
            if message is not None and "/stations/" in message.topic:
                changes[message.topic.rpartition("/")[2]] = message.payload
        return changes


def held_after(*lines: bytes) -> dict[str, bytes]:
    """What the broker holds after a run in which these lines were heard, a second apart."""
    first = Gateway("first")
    first.connect({})
    for line in lines:
        first.hear(line)
        first.post.wait(1000)
    return first.connect({})


def test_after_a_restart_nothing_is_cleared_and_nothing_written_anew() -> None:
    held = held_after(BOAT, WEATHER, b"QB2CDE>APRS:>moored")
    second = Gateway("second")
    second.post.wait(HOUR_MS)
    assert second.connect(held) == {}
    station = second.stations.get("QA1BCD-9")
    assert station is not None
    assert (station.frames, station.first_heard_ms, station.last_direct_ms) == (2, NOON_MS, NOON_MS + 1000)
    assert station.latest is not None
    assert station.latest.position is not None
    assert station.latest.weather is not None
    assert station.last.report() is not None


def test_what_is_heard_then_counts_on() -> None:
    second = Gateway("second", elapsed_ms=HOUR_MS)
    second.connect(held_after(BOAT, BOAT))
    second.hear(BOAT)
    [(name, payload)] = second.connect({}).items()
    assert (name, json.loads(payload)["memory"]["frames"]) == ("QA1BCD-9", 3)


def test_what_was_heard_before_the_broker_told_is_joined_to_it() -> None:
    second = Gateway("second", elapsed_ms=HOUR_MS)
    second.hear(BOAT)
    held = held_after(BOAT, BOAT)
    [(name, payload)] = second.connect(held).items()
    told = json.loads(payload)
    assert (name, told["run"], told["memory"]["frames"]) == ("QA1BCD-9", "second", 3)
    assert told["memory"]["first_heard"] == "2026-06-06T12:00:00.000Z"
    assert second.connect({name: payload}) == {}
    assert second.connect(held)[name] == payload  # and not joined once more


@pytest.mark.parametrize(("trusted", "cleared"), [(True, {"QA1BCD-9": b""}), (False, {})])
def test_what_is_older_than_a_station_is_remembered_is_cleared_if_the_clock_can_be_trusted(
    trusted: bool, cleared: dict[str, bytes]
) -> None:
    second = Gateway("second", trusted=trusted, elapsed_ms=DAY_MS)
    assert second.connect(held_after(BOAT)) == cleared


def test_an_adopted_station_is_forgotten_when_it_would_have_been() -> None:
    held = held_after(BOAT, b"QB2CDE>APRS:>moored")
    second = Gateway("second", elapsed_ms=HOUR_MS)
    second.connect(dict(reversed(held.items())))
    second.stations.forget(DAY_MS - 1)
    assert [station.source for station in second.stations] == ["QA1BCD-9", "QB2CDE"]
    second.stations.forget(DAY_MS)
    assert [station.source for station in second.stations] == ["QB2CDE"]


def test_no_station_leaves_for_an_adopted_one() -> None:
    second = Gateway("second", limit=1, elapsed_ms=HOUR_MS)
    second.hear(b"QB2CDE>APRS:>here")
    assert second.connect(held_after(BOAT))["QA1BCD-9"] == b""
    assert [station.source for station in second.stations] == ["QB2CDE"]


@pytest.mark.parametrize(
    "changed",
    [
        {"source": "QB2CDE"}, {"source": 5}, {"verdict": "perhaps"}, {"time": "once"}, {"memory": 5}, {"memory": {}},
        {"memory": {"frames": 0, "first_heard": "2026-06-06T12:00:00.000Z"}},
        {"memory": {"frames": -1, "first_heard": "2026-06-06T12:00:00.000Z"}},
        {"memory": {"frames": 1, "first_heard": "+99999-01-01T00:00:00Z"}},
        {"information": "x" * 70_000},
    ],
)  # fmt: skip
def test_what_is_no_station_object_is_a_stray(changed: dict[str, object]) -> None:
    held = held_after(BOAT)
    spoiled = json.dumps({**json.loads(held["QA1BCD-9"]), **changed}).encode()
    assert Gateway("second").connect({"QA1BCD-9": spoiled}) == {"QA1BCD-9": b""}


@given(st.binary(max_size=100) | any_json.map(json.dumps).map(str.encode))
def test_whatever_the_broker_holds_nothing_is_raised(payload: bytes) -> None:
    assert Gateway("second").connect({"QA1BCD-9": payload}) == {"QA1BCD-9": b""}


@given(
    st.dictionaries(st.sampled_from(["frames", "first_heard", "last_heard_direct", "position", "telemetry"]), any_json)
)
def test_whatever_its_memory_says_what_is_adopted_can_be_published(memory: dict[str, object]) -> None:
    plain = json.loads(held_after(BOAT)["QA1BCD-9"])
    plain["memory"].update(memory)
    second = Gateway("second")
    second.connect({"QA1BCD-9": json.dumps(plain).encode()})
    second.hear(BOAT)
    [payload] = second.connect({}).values()
    assert json.loads(payload)["memory"]["frames"] >= 1


@pytest.fixture
async def broker() -> AsyncIterator[MosquittoBroker]:
    async with MosquittoBroker() as started:
        yield started


@pytest.mark.needs("mosquitto", "mosquitto")
async def test_a_restart_of_a_gateway_without_a_journal_leaves_every_station_on_a_real_broker(
    tmp_path: Path, broker: MosquittoBroker
) -> None:
    topics = "stile/QX1GAT-10/stations/"
    await publish(broker, f"{topics}QZ9BCD", b"no station", retain=True)
    told = []
    for line in (BOAT, b"QB2CDE>APRS:>moored"):
        async with Decoder() as decoder:
            station = station_file(
                tmp_path,
                "station: {callsign: QX1GAT-10}\n"
                f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n"
                f"bus: {{broker: 'mqtt://127.0.0.1:{broker.port}'}}\n",
            )
            async with running(station):
                await decoder.send(kiss_of(line))
                source = line.partition(b">")[0].decode()
                while f"{topics}{source}" not in (held := await retained(broker, f"{topics}+")):
                    pass
        told.append(held)
    assert set(told[1]) == {f"{topics}QA1BCD-9", f"{topics}QB2CDE"}
    assert told[1][f"{topics}QA1BCD-9"] == told[0][f"{topics}QA1BCD-9"]
