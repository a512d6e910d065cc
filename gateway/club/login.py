"""Two hubs with one login would take the network's connection from one another: the engine's record refuses the second.

It is the machine of the lease once more, on a key of the login's own: held for as long as the hub runs, taken over
only when it stood unchanged, or was given up.
"""

import asyncio

from gateway.club.engine import Engine
from gateway.club.lease import Lease, LeasePhase, Look
from gateway.club.lease_keeper import Ask
from gateway.club.trouble import LoginTakenError
from gateway.groundwork.clocks import steady_ms


class LoginRecord:
    """This hub's hold on its login."""

    def __init__(self, callsign: str, me: str, lease_ms: int) -> None:
        self.held = asyncio.Event()
        """Whether this hub has its login to itself. It stays so while the engine is away."""

        self._key = f"login.{callsign.lower()}"
        self._lease = Lease(me, lease_ms)
        self._is_given_up = False

    async def keep(self, engine: Engine) -> None:
        """Take the login and hold it until it is given up, then wait for ever. Raises `LoginTakenError`."""
        ask = Ask(engine, self._key)
        while not self._is_given_up:
            now_ms = steady_ms()
            request = self._lease.next(now_ms, able=True)
            self._lease = self._lease.begin(request, now_ms)
            after = await ask.of(self._lease, request)
            if self._is_given_up:
                break
            self._lease = after
            if self._lease.phase is LeasePhase.HOLDING:
                self.held.set()
            elif self.held.is_set():
                raise LoginTakenError
        await asyncio.Event().wait()  # the hub is still connected, and sends what waits

    async def give_up(self, engine: Engine) -> None:
        """Leave the login to whoever comes first, and do not take it again."""
        self._is_given_up = True
        ask = Ask(engine, self._key)
        while self._lease.phase is LeasePhase.HOLDING:  # a write of its own that was under way may come first
            request = self._lease.giving_up() or Look()
            self._lease = await ask.of(self._lease.begin(request, steady_ms()), request)
        self.held.clear()
