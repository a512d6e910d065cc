"""The table of checks, in the order of a frame's way: each one's name, and who judges."""

from collections.abc import Callable, Iterator
from dataclasses import replace

from gateway.doctor import by_computer, by_files, by_house, by_network, by_receivers
from gateway.doctor.evidence import Evidence
from gateway.doctor.finding import Finding

Judgement = Callable[[Evidence], Iterator[Finding]]
"""Pure: what it finds follows from the evidence alone."""


CHECKS: tuple[tuple[str, Judgement], ...] = (
    ("versions", by_computer.versions),
    ("station file", by_files.station_file),
    ("policy", by_files.policy),
    ("gateway", by_computer.running_gateway),
    ("folders", by_computer.folders),
    ("ports", by_computer.ports),
    ("clock", by_computer.clock),
    ("names", by_network.names),
    ("receivers", by_receivers.receivers),
    ("place", by_receivers.place),
    ("servers", by_network.servers),
    ("same login", by_network.another_gateway),
    ("broker", by_house.broker),
    ("club", by_house.club),
)


def judge(evidence: Evidence) -> Iterator[Finding]:
    """All findings, in the order of the table."""
    for check, judgement in CHECKS:
        for finding in judgement(evidence):
            yield replace(finding, check=check)
