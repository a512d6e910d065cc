"""The whole gateway with a journal and a web: what it heard before a restart, it tells after it."""

from pathlib import Path
from typing import Any

import httpx
import pytest

from gateway.cli import main
from gateway.running.service import Service
from tests.test_emergencies import free_port
from tests.waiting import until
from tests.whole_gateway import Decoder, Ear, kiss_of, running, station_file

LINES = (
    b"QA1BCD-9>APRS:!5842.00N/00355.00W>under way",
    b"QB2CDE-7>APRS:!5836.00N/00354.00W>!EMERGENCY!",
    b"QC3DEF>APRS,TCPIP*:>from the internet",
)


def station_text(decoder: Decoder, port: int) -> str:
    return (
        "station: {callsign: QX1GAT-10, position: {latitude: 58.6, longitude: -3.9167}}\n"
        f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n"
        f"web: {{listen: '127.0.0.1:{port}'}}\njournal: {{path: stile.db}}\n"
    )


async def told(service: Service, path: str) -> dict[str, Any]:
    web = service.sinks.web
    assert web is not None
    await until(lambda: web.port is not None)
    async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{web.port}", trust_env=False) as client:
        answer = await client.get(path)
        assert answer.status_code == 200, answer.text
        plain: dict[str, Any] = answer.json()
        return plain


async def test_what_was_heard_before_a_restart_is_told_after_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    async with Decoder() as decoder:
        station = station_file(tmp_path, station_text(decoder, free_port()))
        ear = Ear()
        async with running(station, ear) as service:
            await decoder.send(b"".join(map(kiss_of, LINES)))
            await until(lambda: len(ear.judged) == len(LINES))
            (before,) = (await told(service, "/api/alerts"))["alerts"]
        async with running(station, Ear()) as service:
            run = ear.judged[0].heard.run
            (after,) = (await told(service, "/api/alerts"))["alerts"]
            assert {**after, "age_s": 0} == {**before, "age_s": 0}
            assert (after["holds"], after["alert"]["kind"]) == (True, "emergency")
            reach = await told(service, "/api/reach?since=1d")
            assert (reach["whole"]["stations"], reach["whole"]["farthest_station"]) == (2, "QA1BCD-9")
            (entry, *_) = (await told(service, "/api/history?since=1d&step=day"))["entries"]
            assert (entry["heard"], entry["keep_by_reason"], entry["stations"]) == (3, {"internet-origin": 1}, 3)
            past = await told(service, "/api/stations/QA1BCD-9")
            assert (past["memory"]["frames"], len(past["track"])) == (1, 1)
            frame = await told(service, f"/api/heard/{run}/3")
            assert (frame["steps"][-1]["step"], frame["as_recorded"]) == ("internet-origin", True)
            assert main(["who", str(station.path), "QA1BCD-9"]) == 0  # while it runs
        assert "under way" in capsys.readouterr().out
