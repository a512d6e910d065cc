"""The picture for small screens, `/panel.svg` and `/panel.png`: any size, drawn when somebody asks for it.

Pixels are drawn one picture at a time in a thread, so that nobody else waits for them; the last ones are remembered,
since a screen asks far more often than something changes.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from http import HTTPStatus
from typing import get_args

from aiohttp import web

from gateway.feed.heard_object import HeardPayload
from gateway.glance import layout, png, svg
from gateway.glance.scene import HIGHEST, LOWEST, NARROWEST, WIDEST, Canvas, Colours, Ground, Scene
from gateway.glance.shown import HealthShown, HeardShown
from gateway.glance.view import Known, view
from gateway.groundwork.bounded import BoundedMapping
from gateway.groundwork.own_thread import FewThreads
from gateway.web.heard_memory import HeardMemory
from gateway.web.problem import ProblemError
from gateway.web.query import choice, number
from gateway.web.sources import WebSources

USUAL_SIZE = (320, 240)
PICTURES = 8
"""So many are remembered, of some tens of kilobytes each at the most."""


@dataclass(frozen=True, slots=True)
class SmallScreens:
    """Answers for both paths."""

    callsign: str
    sources: WebSources
    memory: HeardMemory
    now_ms: Callable[[], int]
    """Unix milliseconds."""

    _pictures: BoundedMapping[Scene, bytes] = field(default_factory=lambda: BoundedMapping(PICTURES))
    _threads: FewThreads = field(default_factory=lambda: FewThreads(1))

    def routes(self) -> list[web.RouteDef]:
        """Both paths."""
        return [web.get("/panel.svg", self.vectors), web.get("/panel.png", self.pixels)]

    async def vectors(self, request: web.Request) -> web.StreamResponse:
        """`/panel.svg`."""
        body = svg.draw(self._scene(request)).encode("utf-8")
        return web.Response(body=body, content_type=svg.CONTENT_TYPE, charset="utf-8")

    async def pixels(self, request: web.Request) -> web.StreamResponse:
        """`/panel.png`."""
        scene = self._scene(request)
        picture = self._pictures.get(scene)
        if picture is None:
            try:
                picture = self._pictures[scene] = await self._threads.call(partial(png.draw, scene))
            except png.PillowMissingError as error:
                raise ProblemError(HTTPStatus.NOT_IMPLEMENTED, str(error)) from None
        return web.Response(body=picture, content_type=png.CONTENT_TYPE)

    def _scene(self, request: web.Request) -> Scene:
        """What is to be seen, on what the query asks for. Raises `ProblemError`."""
        canvas = canvas_of(request)
        post = Known(
            self.callsign,
            HealthShown.model_validate(self.sources.health().to_object()),
            _shown(self.memory.news),
            _shown(self.memory.emergency),
        )
        now = datetime.fromtimestamp(self.now_ms() / 1000, UTC).astimezone()
        return layout.scene(view(post, now), canvas)


def _shown(payload: HeardPayload | None) -> HeardShown | None:
    return None if payload is None else HeardShown.model_validate_json(payload.encoded())


def canvas_of(request: web.Request) -> Canvas:
    """The canvas that the query describes. Raises `ProblemError`."""
    width, height = USUAL_SIZE
    return Canvas(
        number(request, "width", NARROWEST, WIDEST) or width,
        number(request, "height", LOWEST, HIGHEST) or height,
        choice(request, "colours", get_args(Colours)) or "full",
        choice(request, "ground", get_args(Ground)) or "dark",
    )
