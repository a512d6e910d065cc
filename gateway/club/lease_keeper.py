"""Carries out what a lease asks of the engine."""

import asyncio
from functools import partial

from gateway.club.answers import AnswerTime, first_answer
from gateway.club.engine import ANSWER_SECONDS, Engine, EngineUnansweredError, OvertakenError, RefusedError
from gateway.club.lease import Lease, LeaseRecord, LeaseWrite, Look, RecordError, Request, Wait, read_record
from gateway.groundwork.clocks import steady_ms

AFTER_TROUBLE_SECONDS = 0.1


class Ask:
    """Requests about one key."""

    def __init__(self, engine: Engine, key: str) -> None:
        self._engine = engine
        self._key = key
        self._answer_time = AnswerTime()

    async def look(self) -> tuple[int, LeaseRecord | None] | None:
        """The key as it stands; None where nobody knows."""
        try:
            revision, octets = await first_answer(partial(self._engine.key, self._key))
            return revision, None if octets is None else read_record(octets)
        except (EngineUnansweredError, RefusedError, RecordError):
            await asyncio.sleep(AFTER_TROUBLE_SECONDS)
            return None

    async def write(self, write: LeaseWrite, *, takes: bool = False) -> int | None:
        """The revision that was written; None: nobody knows. Raises `OvertakenError`.

        `takes`: it takes the lease, and gives out no frames: nothing is lost where its answer comes too late.
        """
        seconds = self._answer_time.seconds if takes else ANSWER_SECONDS
        try:
            revision = await self._engine.set_key(self._key, write.record.to_octets(), write.revision, seconds)
        except OvertakenError:
            raise
        except (EngineUnansweredError, RefusedError):
            self._answer_time.unanswered()
            await asyncio.sleep(AFTER_TROUBLE_SECONDS)
            return None
        self._answer_time.answered()
        return revision

    async def of(self, lease: Lease, request: Request) -> Lease:
        """Carry out what a lease asks that has nothing to send; gives back the lease after it."""
        if isinstance(request, Wait):
            await asyncio.sleep(max(0.0, request.until_ms - steady_ms()) / 1000)
            return lease
        if isinstance(request, Look):
            key = await self.look()
            return lease.unanswered() if key is None else lease.looked(*key, steady_ms())
        try:
            revision = await self.write(request)
        except OvertakenError:
            return lease.refused()
        return lease.unanswered() if revision is None else lease.wrote(revision, steady_ms())
