"""A station file in, the whole diagnosis out: in words, as a plain object, and whether anything is wrong."""

import asyncio
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from gateway.doctor.checks import judge
from gateway.doctor.evidence import Evidence
from gateway.doctor.examination import examine
from gateway.doctor.finding import Finding, Grade
from gateway.frames.plain import PlainObject
from gateway.groundwork.printable import printable
from gateway.probes.receiver import LISTEN_SECONDS


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What is to be said of one station."""

    station: Path
    evidence: Evidence
    findings: tuple[Finding, ...]

    @property
    def is_wrong(self) -> bool:
        """Whether something must be done."""
        return self.count(Grade.WRONG) > 0

    def count(self, grade: Grade) -> int:
        """How many findings are of one grade."""
        return Counter(finding.grade for finding in self.findings)[grade]

    def in_words(self) -> str:
        """A line for each finding, what to do beneath it, and a last line that adds up."""
        return "\n".join(printable(line) for line in (*self._lines(), self.summary()))

    def summary(self) -> str:
        """How many of each."""
        return ", ".join(f"{self.count(grade)} {grade}" for grade in reversed(Grade))

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {
            "station": str(self.station),
            **{str(grade): self.count(grade) for grade in Grade},
            "findings": [finding.to_object() for finding in self.findings],
        }

    def _lines(self) -> Iterator[str]:
        width = max((len(finding.check) for finding in self.findings), default=0)
        for finding in self.findings:
            subject = f"{finding.subject}: " if finding.subject else ""
            yield f"{finding.grade:5}  {finding.check:{width}}  {subject}{finding.what}"
            if finding.do:
                yield f"{'':5}  {'':{width}}  -> {finding.do}"


def diagnose(station: Path, *, time_host: str | None = None, listen_seconds: float = LISTEN_SECONDS) -> Diagnosis:
    """Find out all about the station file at `station`, and judge it."""
    evidence = asyncio.run(examine(station, time_host=time_host, listen_seconds=listen_seconds))
    return Diagnosis(station, evidence, tuple(judge(evidence)))
