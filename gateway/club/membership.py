"""Stays with the engine: one connection after the other, to each server in turn, for as long as a member runs."""

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, replace
from typing import Any

import structlog

from gateway.club.engine import Engine, EngineError, EngineOptions, connected
from gateway.club.subjects import Subjects
from gateway.club.together import together
from gateway.groundwork.back_off import BackOff, Pauses
from gateway.groundwork.clocks import steady_ms

PAUSES = Pauses(first=0.25, longest=5.0, steady=10.0)
"""Short ones: a lease is a matter of seconds, and the engine is the club's own."""

_log = structlog.get_logger("club")


@dataclass(frozen=True, slots=True)
class MemberStanding:
    """How the connection to the engine is."""

    connected: bool
    since_ms: float
    server: str = ""
    reason: str = ""


class Membership:
    """One member's way to the engine."""

    def __init__(self, options: EngineOptions, subjects: Subjects) -> None:
        self.standing = MemberStanding(connected=False, since_ms=steady_ms())
        self.connects = 0
        self._options = options
        self._subjects = subjects
        self._logged = ""

    async def stay(self, work: Callable[[Engine], Coroutine[Any, Any, None]]) -> None:
        """Connect, let `work` run until the connection is lost or it returns, and again, for ever.

        `work` is cancelled when the connection is lost; what it raises ends the membership.
        """
        servers = self._options.servers
        back_off = BackOff(PAUSES, turns=len(servers))
        turn = 0
        while True:
            server = servers[turn % len(servers)]
            turn += 1
            begun_ms = steady_ms()
            reason = await self._one_connection(server, work)
            self._stand(MemberStanding(connected=False, since_ms=steady_ms(), server=server, reason=reason))
            say = _log.debug if reason == self._logged else _log.warning
            self._logged = reason
            say("no connection to the club's engine", server=server, reason=reason)
            await asyncio.sleep(back_off.failed((steady_ms() - begun_ms) / 1000))

    async def _one_connection(self, server: str, work: Callable[[Engine], Coroutine[Any, Any, None]]) -> str:
        try:
            async with connected(self._options, self._subjects, server) as engine:
                self.connects += 1
                self._stand(MemberStanding(connected=True, since_ms=steady_ms(), server=server))
                _log.info("connected to the club's engine", server=server)
                self._logged = ""
                await together(work(engine), engine.lost.wait())
                return "the connection was lost" if engine.lost.is_set() else "it was left"
        except EngineError as error:
            return str(error)

    def _stand(self, standing: MemberStanding) -> None:
        if standing.connected is self.standing.connected:
            standing = replace(standing, since_ms=self.standing.since_ms)
        self.standing = standing
