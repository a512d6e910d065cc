"""The page's tiles say what those of the terminal and of small screens say, of the same health."""

from itertools import combinations

from playwright.async_api import Browser

from gateway.glance.shown import HealthShown
from gateway.glance.tiles import tiles
from gateway.groundwork.part import Part, PartKind, State
from tests.glance.scenarios import CUT_OFF, DEAF, LATER, QUIET, RECEIVER, UPLINK, WEB, health
from tests.judged_frames import NOON_MS
from tests.web.browser import IN_A_BROWSER, open_window
from tests.web.opened import open_web

pytestmark = IN_A_BROWSER

CLUB = Part(PartKind.CLUB, "club", State.OK, NOON_MS)
OTHER = Part(PartKind.RECEIVER, "hf", State.WAITING, NOON_MS, "not connected yet")
FULL = Part(PartKind.JOURNAL, "journal", State.DEGRADED, NOON_MS, "the disk is full", "make room")
PARTS = (RECEIVER, DEAF, QUIET, OTHER, UPLINK, CUT_OFF, CLUB, FULL, WEB)
NOTHING_YET = {"frames_per_minute": 0, "stations_last_hour": 0}

DRAWN = """async (healths) => {
  const { Tiles } = await import("/page/tiles.js");
  return healths.map((health) => {
    const place = document.createElement("ul");
    new Tiles(place).draw(health, false);
    return [...place.querySelectorAll(".word")].map((word) => word.textContent);
  });
}"""


def healths() -> list[HealthShown]:
    """Any three parts, on a busy post, a silent one and one that heard nothing yet."""
    chosen = list(combinations(PARTS, 3))
    busy = [health(*parts) for parts in chosen]
    silent = [health(*parts, frames=0) for parts in chosen]
    new = [HealthShown.model_validate(one.model_dump() | {"activity": NOTHING_YET}) for one in silent]
    return [*busy, *silent, *new]


async def test_whatever_the_parts_say_page_and_terminal_have_the_same_words(browser: Browser) -> None:
    told = healths()
    async with open_web() as web, open_window(browser) as window:
        await window.open(web.address)
        drawn = await window.page.evaluate(DRAWN, [one.model_dump(mode="json", exclude_none=True) for one in told])
    assert drawn == [[tile.word for tile in tiles(one, LATER)] for one in told]
