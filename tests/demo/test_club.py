"""The demo of a club adds up, though its sending hub and a server of its engine are killed."""

import pytest

pytest.importorskip("nats")

from demo import club


async def test_the_race_goes_up_once_though_hub_and_engine_server_die(capsys: pytest.CaptureFixture[str]) -> None:
    assert await club.play(20.0), capsys.readouterr().out
    told = capsys.readouterr().out
    assert "QX2HUB-10 sends" in told
    assert "NO " not in told
