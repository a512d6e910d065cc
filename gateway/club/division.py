"""How a club's frames are divided among its hubs: the engine's record refuses a hub that would take some of another's.

Hubs that take the same slices stand by for one another, by a lease of their own. Two that take some of the same, and
not all, would both send them: neither's lease knows of the other's. So every hub writes the slices it takes into one
key, by compare-and-set, where they go together with those that stand there. Nothing is ever taken out of it by a hub,
since a hub that stands still may come back: to divide a club anew, stop its hubs and take the key out.
"""

import asyncio
import json
from dataclasses import dataclass

import structlog

from gateway.club.engine import Engine, EngineUnansweredError, OvertakenError, RefusedError
from gateway.club.lease_keeper import AFTER_TROUBLE_SECONDS
from gateway.club.slices import SLICES, Slices, slices_from

KEY = "division"
LOOK_SECONDS = 5.0
MAXIMUM_OCTETS = 4096

_log = structlog.get_logger("club")


class DivisionError(ValueError):
    """What stands in the key is no record of ours; the text holds nothing of it."""


@dataclass(frozen=True, slots=True)
class Division:
    """The sets of slices that the hubs of a club take. No two of them overlap."""

    sets: tuple[Slices, ...] = ()

    def against(self, slices: Slices) -> Slices | None:
        """The set that these cannot stand beside; None where they can."""
        return next((other for other in self.sets if other.overlap(slices)), None)

    def with_set(self, slices: Slices) -> "Division":
        """With these besides."""
        return Division((*self.sets, slices))

    def to_octets(self) -> bytes:
        """The value of the key."""
        return json.dumps({"sets": [slices.numbers for slices in self.sets]}, separators=(",", ":")).encode("ascii")


def read_division(octets: bytes) -> Division:
    """Read the value of the key. Raises `DivisionError`."""
    if len(octets) > MAXIMUM_OCTETS:
        raise DivisionError("the record of the division is too long")
    try:
        match json.loads(octets):
            case {"sets": list(sets)} if len(sets) <= SLICES:
                return Division(tuple(map(slices_from, sets)))
    except (ValueError, RecursionError):
        pass
    raise DivisionError("the record of the division is not of our form")


class Share:
    """One hub's share in it."""

    def __init__(self, slices: Slices) -> None:
        self.is_ours = False
        """Whether this hub may send its slices. It stays so while the engine is away."""

        self.refusal = ""
        """Why it may not; empty where it may, or nobody knows yet."""

        self._slices = slices

    async def keep(self, engine: Engine) -> None:
        """Take the share, and look again and again whether it stands, for ever."""
        while True:
            pause = LOOK_SECONDS
            try:
                await self._look(engine)
            except OvertakenError:  # another hub wrote just now: look soon what it says
                pause = AFTER_TROUBLE_SECONDS
            except DivisionError as error:
                self._refuse(str(error))
            except (EngineUnansweredError, RefusedError):
                pass
            await asyncio.sleep(pause)

    async def _look(self, engine: Engine) -> None:
        revision, octets = await engine.key(KEY)
        division = Division() if octets is None else read_division(octets)
        against = division.against(self._slices)
        if against is not None:
            self._refuse(f"this hub takes {self._slices}, and others of the club {against}")
            return
        if self._slices not in division.sets:
            await engine.set_key(KEY, division.with_set(self._slices).to_octets(), revision)
        self.is_ours, self.refusal = True, ""

    def _refuse(self, refusal: str) -> None:
        if refusal != self.refusal:
            _log.error("this hub cannot send for the club", why=refusal)
        self.is_ours, self.refusal = False, refusal
