"""What a gateway that runs says of itself, asked of its own web: who hears already need not be tried beside it."""

from collections.abc import Mapping
from pathlib import Path

from gateway.commands.watching.client import Client, UnansweredError, gateway_of
from gateway.glance.shown import HealthShown, PartShown
from gateway.settings import DocumentError

Parts = Mapping[tuple[str, str], PartShown]
"""By kind and name."""


async def ask(station: Path) -> Parts:
    """The parts of the gateway that runs with this station file; none where it has no web, or does not answer."""
    try:
        async with Client(gateway_of(station), catch_up=False) as client:
            health = HealthShown.model_validate((await client.health()).plain)
    except (DocumentError, UnansweredError):
        return {}
    return {(part.kind, part.name): part for part in health.parts}
