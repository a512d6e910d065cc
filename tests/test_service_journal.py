"""The whole gateway with a journal: what it must know again after a restart, it does."""

from pathlib import Path

import pytest

from gateway.documents import DocumentError
from gateway.groundwork.part import PartKind, State
from gateway.judge.verdict import Reason
from gateway.settings import policy_files
from tests.journal.keeping import heard_objects
from tests.waiting import until
from tests.whole_gateway import Decoder, Ear, kiss_of, running, station_file

BUDGET = """
version: 1
name: thrifty
rates: [{name: data-plan, per: everything, allow: 1 kB per month}]
"""


def station_text(decoder: Decoder, more: str) -> str:
    return (
        "station: {callsign: QX1GAT-10}\n"
        f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\npolicy: ./thrifty.yaml\n{more}"
    )


async def test_a_budget_survives_a_restart(tmp_path: Path) -> None:
    (tmp_path / "thrifty.yaml").write_text(BUDGET)
    forwarded = []
    for start in range(2):
        ear = Ear()
        async with Decoder() as decoder:
            station = station_file(tmp_path, station_text(decoder, "journal: {path: stile.db}\n"))
            async with running(station, ear):
                lines = (b"QA1BCD-9>APRS:>start %d frame %03d" % (start, number) for number in range(12))
                await decoder.send(b"".join(map(kiss_of, lines)))
                await until(lambda ear=ear: len(ear.judged) == 12)  # type: ignore[misc]  # bound at once
        forwarded.append(sum(judged.forward for judged in ear.judged))
        assert {judged.verdict.reason for judged in ear.judged} <= {None, Reason.OVER_RATE}
    # 1000 octets hold 20 lines of 50: twelve at the first start, eight at the second.
    assert forwarded == [12, 8]


async def test_what_was_heard_is_in_the_journal_after_a_stop(tmp_path: Path) -> None:
    (tmp_path / "thrifty.yaml").write_text(BUDGET)
    ear = Ear()
    async with Decoder() as decoder:
        station = station_file(tmp_path, station_text(decoder, "journal: {path: stile.db, captures: captures}\n"))
        async with running(station, ear) as service:
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>hello") + kiss_of(b"QA1BCD-9>APRS,TCPIP*:>no"))
            await until(lambda: len(ear.judged) == 2)
            journal = next(part for part in service.health().parts if part.kind is PartKind.JOURNAL)
            assert journal.state is State.OK
    kept = list(heard_objects(tmp_path / "stile.db"))
    assert [(each["information"], each["verdict"]) for each in kept] == [(">hello", "forward"), (">no", "keep")]
    assert list((tmp_path / "captures").iterdir())


async def test_a_budget_without_a_journal_is_an_error_with_its_place(tmp_path: Path) -> None:
    (tmp_path / "thrifty.yaml").write_text(BUDGET)
    async with Decoder() as decoder:
        station = station_file(tmp_path, station_text(decoder, ""))
    with pytest.raises(DocumentError, match=r"thrifty.yaml:4: rates.*must survive a restart"):
        policy_files.load_for(station)
