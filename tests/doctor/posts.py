"""A post to be looked at: a station file in a folder, and what the doctor finds of it."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from gateway.doctor.checks import judge
from gateway.doctor.examination import examine
from gateway.doctor.finding import Finding, Grade

PASSCODE = "21161"  # trade-notes' check value for QX1GAT, from memory
LISTEN_SECONDS = 1.0
"""What a stand-in on loopback does not say by then it does not say."""


@dataclass
class Post:
    """A station file under the hands of a test."""

    folder: Path
    port: int
    """Of its decoder."""

    more: list[str] = field(default_factory=list)
    scheme: str = "kiss+tcp"
    position: str = "{latitude: 58.6000, longitude: -3.9167}"

    @property
    def path(self) -> Path:
        return self.folder / "station.yaml"

    def write(self) -> Path:
        self.path.write_text(
            "\n".join(
                [
                    f"station: {{callsign: QX1GAT-10, position: {self.position}}}",
                    f"receivers: [{{name: vhf, from: '{self.scheme}://127.0.0.1:{self.port}'}}]",
                    *self.more,
                    "",
                ]
            )
        )
        return self.path

    async def looked_at(self) -> "Looked":
        """What the doctor finds."""
        return Looked(judge(await examine(self.write(), listen_seconds=LISTEN_SECONDS)))


class Looked:
    """Findings, to be asked for."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = list(findings)

    def of(self, check: str) -> list[tuple[Grade, str]]:
        """By one check: the grade, and all words."""
        return [(one.grade, f"{one.subject}: {one.what} -> {one.do}") for one in self.findings if one.check == check]

    def one(self, check: str) -> tuple[Grade, str]:
        """The one finding of a check."""
        (found,) = self.of(check)
        return found

    def wrong(self) -> list[str]:
        """The checks that found something wrong."""
        return [one.check for one in self.findings if one.grade is Grade.WRONG]
