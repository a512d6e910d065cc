"""The table of checks, in the order of a frame's way: each one's name, and who judges."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from gateway.doctor import by_computer, by_files, by_house, by_network, by_receivers
from gateway.doctor.evidence import Evidence
from gateway.doctor.finding import CheckedFinding, Finding

Judgement = Callable[[Evidence], Iterator[Finding]]
"""Pure: what it finds follows from the evidence alone."""


@dataclass(frozen=True, slots=True)
class Check:
    """One row."""

    name: str
    judgement: Judgement


CHECKS = (
    Check("versions", by_computer.versions),
    Check("station file", by_files.station_file),
    Check("policy", by_files.policy),
    Check("gateway", by_computer.running_gateway),
    Check("folders", by_computer.folders),
    Check("ports", by_computer.ports),
    Check("clock", by_computer.clock),
    Check("names", by_network.names),
    Check("receivers", by_receivers.receivers),
    Check("place", by_receivers.place),
    Check("servers", by_network.servers),
    Check("same login", by_network.another_gateway),
    Check("broker", by_house.broker),
    Check("club", by_house.club),
)


def judge(evidence: Evidence) -> Iterator[CheckedFinding]:
    """All findings, in the order of the table."""
    for check in CHECKS:
        for finding in check.judgement(evidence):
            yield CheckedFinding(check.name, finding)
