"""What is spoken at an address of which nothing is known, told by real sockets."""

from pathlib import Path

import pytest

from gateway.probes import speech
from gateway.probes.speech import Language
from gateway.receivers.address import HostPort, UnixSocket
from tests.mosquitto_broker import free_port
from tests.probes.answering import frame, in_kiss, saying

LONG = 20.0
"""Seconds; what is looked for comes at once."""


@pytest.mark.parametrize(
    ("octets", "language"),
    [(in_kiss(frame(">under way")), Language.KISS), (b"QA1BCD-9>APRS,QD1AA*:>under way\r\n", Language.TEXT)],
)
async def test_the_first_frame_tells_the_language(octets: bytes, language: Language) -> None:
    async with saying(octets) as port:
        heard = await speech.listen(HostPort("127.0.0.1", port), seconds=LONG)
    assert heard.open
    assert heard.language is language
    assert heard.frame is not None
    assert heard.frame.information == b">under way"


async def test_silence_is_an_open_connection_without_a_language() -> None:
    async with saying(b"") as port:
        heard = await speech.listen(HostPort("127.0.0.1", port), seconds=0.02)
    assert (heard.open, heard.octets, heard.language) == (True, 0, None)


async def test_what_is_no_decoder_has_no_language() -> None:
    async with saying(b"SSH-2.0-x\r\n", leaves=True) as port:
        heard = await speech.listen(HostPort("127.0.0.1", port), seconds=LONG)
    assert (heard.open, heard.octets, heard.language) == (True, 11, None)
    assert heard.trouble == "the other end closed the connection"


async def test_a_port_that_nobody_listens_at_is_said_to_refuse() -> None:
    heard = await speech.listen(HostPort("127.0.0.1", free_port()), seconds=LONG)
    assert (heard.open, heard.trouble) == (False, "Connection refused")


async def test_a_socket_that_is_not_there_is_said_to_be_missing(tmp_path: Path) -> None:
    heard = await speech.listen(UnixSocket(tmp_path / "none"), seconds=LONG)
    assert (heard.open, heard.trouble) == (False, "No such file or directory")


async def test_a_source_without_end_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(speech, "MOST_OCTETS", 1000)
    async with saying(b"x" * 100_000) as port:
        heard = await speech.listen(HostPort("127.0.0.1", port), seconds=LONG)
    assert heard.octets >= 1000
    assert heard.language is None
