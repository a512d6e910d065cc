"""A station's part in its club, joined to the service: a post hands on beside its own house, a hub judges for all."""

import contextlib
from collections.abc import AsyncIterator
from typing import TYPE_CHECKING

import structlog

from gateway.club.embedded import EmbeddedEngine, EmbeddedEngineError
from gateway.club.hub_member import HubHost, HubMember
from gateway.club.options import ClubOptions, Role
from gateway.club.post import ClubPost
from gateway.frames.heard import Run
from gateway.frames.plain import PlainObject
from gateway.groundwork.kept_tasks import KeptTasks
from gateway.groundwork.part import Answers
from gateway.settings import DocumentError, StationFile, policy_files

if TYPE_CHECKING:
    from gateway.feed.heard_object import HeardPayload
    from gateway.uplink.client import Uplink

_log = structlog.get_logger("stile")


class Clubhouse:
    """What a station with `club:` has besides."""

    def __init__(self, options: ClubOptions, run: Run, host: HubHost) -> None:
        self.hub: HubMember | None = None
        """What is heard at a hub is judged when it comes back from the stream, and not before."""

        if options.role is Role.HUB:
            self.hub = HubMember(options, run, host, policy_files.ready_policies())
        self.post = ClubPost(options, run)
        self._embedded = options.embedded

    @property
    def answers(self) -> Answers:
        """Who answers for the club."""
        return self.post if self.hub is None else self.hub

    def watched(self) -> dict[str, PlainObject]:
        """What is watched of the club as a whole."""
        return {} if self.hub is None else {"club": self.hub.watched()}

    def start(self, tasks: KeptTasks, uplink: "Uplink[HeardPayload] | None", *, hears: bool) -> None:
        """Let it work. A hub logs in once no other hub has its login. `hears`: the station has receivers of its own."""
        if self.hub is not None:
            tasks.keep(self.hub.run(uplink), name="hub")
            if uplink is not None:
                tasks.keep(self._log_in(self.hub, uplink), name="uplink")
        if hears:
            tasks.keep(self.post.run(), name="post")

    async def drain(self, seconds: float) -> None:
        """What waits may still go, and the lease is left to others, within the time."""
        await self.post.drain(seconds / 2)
        if self.hub is not None:
            await self.hub.drain(seconds / 2)

    @contextlib.asynccontextmanager
    async def engine(self, station: StationFile) -> AsyncIterator[None]:
        """An engine in a child process, where the station file asks for one. Raises `DocumentError`."""
        if self._embedded is None:
            yield
            return
        folder, port = self._embedded
        async with contextlib.AsyncExitStack() as lifetime:
            try:
                await lifetime.enter_async_context(EmbeddedEngine(folder, port))
            except EmbeddedEngineError as error:
                raise DocumentError([station.document.problem(("club", "servers"), str(error))]) from None
            _log.info("engine started", address=f"nats://127.0.0.1:{port}")
            yield

    async def _log_in(self, hub: HubMember, uplink: "Uplink[HeardPayload]") -> None:
        await hub.until_login_is_held()
        await uplink.run()
