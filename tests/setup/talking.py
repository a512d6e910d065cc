"""Whom the dialogue talks with, in tests: an operator who has the answers ready, and a computer as a test wants it."""

from dataclasses import dataclass, field

from gateway.setup.answers import GivenAnswers
from gateway.setup.console import Console, LeftError
from gateway.setup.surroundings import FoundDecoder, ThisComputer
from gateway.setup.trials import Trial

DECODER = FoundDecoder("kiss+tcp://127.0.0.1:7581", speaks=True, heard="speaks KISS: QA1BCD-9>APRS:>x")
SILENT = FoundDecoder("kiss+tcp://127.0.0.1:7584", speaks=False, heard="said nothing; may be a decoder")


@dataclass
class Computer(ThisComputer):
    """What is around."""

    decoders: list[FoundDecoder] = field(default_factory=lambda: [DECODER, SILENT])
    serial_devices: list[str] = field(default_factory=lambda: ["/dev/ttyUSB0"])
    has_broker: bool = False
    can_embed_a_broker: bool = True
    is_for_a_service: bool = False
    can_be_a_service: bool = True


class Operator(Console):
    """Answers from a list, the next to each question; with none left, the operator leaves."""

    def __init__(self, *lines: str) -> None:
        self._lines = list(lines)
        self.said: list[str] = []
        self.asked: list[str] = []
        self.asked_secretly: list[str] = []

    def say(self, text: str) -> None:
        self.said += text.splitlines()

    def ask(self, prompt: str) -> str:
        self.asked.append(prompt)
        if not self._lines:
            raise LeftError
        return self._lines.pop(0)

    def ask_secretly(self, prompt: str) -> str:
        self.asked_secretly.append(prompt)
        return self.ask(prompt)

    @property
    def has_said_all(self) -> bool:
        return not self._lines


def all_is_fine(_key: str, _answers: GivenAnswers) -> Trial:
    return Trial()
