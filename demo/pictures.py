"""Takes pictures of the page: the demo plays with thirty days behind it, and a browser without a window looks at it.

    python -m demo.pictures /tmp/pictures              # every view at every size, light and dark
    python -m demo.pictures demo/page --few             # the two that the README shows

It wants the extras `test` and `panel`, and the system's chromium.
"""

import argparse
import asyncio
import shutil
import socket
import sys
import tempfile
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import product
from pathlib import Path
from typing import Literal

import structlog
from PIL import Image
from playwright.async_api import Browser, async_playwright, expect

from demo.decoder import SimulatedDecoder
from demo.network_server import NetworkServer
from demo.past import write_past
from demo.play import PASSCODE, STATION_FILE
from gateway import settings
from gateway.running.service import Service
from gateway.settings import policy_files

SIZES = {"desk": (1280, 800), "phone": (390, 844), "tiny": (320, 240)}
COLOURS: tuple[Literal["light", "dark"], ...] = ("light", "dark")
VIEWS = (
    "now",
    "station/QA1FGH-8",
    "station/QG5ISL",
    "station/QB7FRY-8",
    "why",
    "reach",
    "when",
    "policy",
    "alerts",
    "parts",
)
PLAYED_SECONDS = 40.0
"""So long the race goes on before the first picture: long enough for the drill, and for some tracks."""

SETTLE_SECONDS = 0.8
COLOURS_OF_A_SMALL_ONE = 48


@dataclass(frozen=True, slots=True)
class Picture:
    """What is taken."""

    view: str
    size: str
    colours: Literal["light", "dark"]

    @property
    def name(self) -> str:
        """Of its file."""
        return f"{self.view.replace('/', '-')}-{self.size}-{self.colours}.png"


FEW = (Picture("now", "desk", "light"), Picture("reach", "phone", "dark"))


def every(views: tuple[str, ...]) -> Iterator[Picture]:
    """Each view at each size in each light."""
    for size, colours, view in product(SIZES, COLOURS, views):
        yield Picture(view, size, colours)


@asynccontextmanager
async def playing(folder: Path, seconds: float) -> AsyncIterator[str]:
    """The demo after so many seconds of the race; gives the address of its page."""
    async with NetworkServer() as network, SimulatedDecoder() as decoder:
        web = _free_port()
        text = (
            "station: {callsign: QX1GAT-10, position: {latitude: 58.6000, longitude: -3.9167}}\n"
            f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n"
            f"policy: {STATION_FILE.parent / 'policy.yaml'}\n"
            f"uplink: {{servers: ['tcp://127.0.0.1:{network.port}']}}\n"
            f"web: {{listen: '127.0.0.1:{web}'}}\n"
            "journal: {path: stile.db, keep: 40d}\n"
            "alerts:\n"
            "  - {name: launch-near, when: {source: QA1BCD-9, distance: {within: 5km}}}\n"
            "  - {name: bench, when: {source: QZ9BCD}}\n"
        )
        station = settings.read(text, folder / "station.yaml", {settings.PASSCODE_VARIABLE: PASSCODE})
        source = policy_files.load(station.settings.policy, station.settings.post, beside=folder)
        write_past(folder / "stile.db", station, source, datetime.now(UTC))
        stopped = asyncio.Event()
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(Service(station, source).run(stopped))
            await asyncio.sleep(seconds)
            yield f"http://127.0.0.1:{web}"
            stopped.set()


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port: int = server.getsockname()[1]
        return port


async def take(browser: Browser, address: str, picture: Picture, folder: Path) -> None:
    """Take one picture. Says where a page would have to be scrolled sideways."""
    width, height = SIZES[picture.size]
    context = await browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme=picture.colours,
        locale="en-GB",
        timezone_id="Europe/London",
    )
    page = await context.new_page()
    page.on("console", lambda message: print(f"{picture.name}: {message.text}", file=sys.stderr))
    await page.add_init_script(f"localStorage['stile-seen-emergencies'] = '[[\"QA1BCD-9\", {2**52}]]'")
    await page.goto(f"{address}/#{picture.view}")
    await expect(page.locator("#wire")).to_have_text("live", timeout=20_000)
    await asyncio.sleep(SETTLE_SECONDS)
    if await page.evaluate("document.documentElement.scrollWidth > innerWidth"):
        print(f"{picture.name}: it is wider than the window", file=sys.stderr)
    await page.screenshot(path=folder / picture.name, full_page=picture.size == "phone" and picture.view != "now")
    await context.close()


def make_small(file: Path) -> None:
    """A page has few colours: so many octets are enough for them."""
    with Image.open(file) as picture:
        few = picture.convert("RGB").quantize(COLOURS_OF_A_SMALL_ONE)
    few.save(file, optimize=True)


async def take_all(pictures: list[Picture], folder: Path, seconds: float) -> None:
    """Play, look, and leave the pictures in `folder`."""
    with tempfile.TemporaryDirectory(prefix="pictures-") as beside:
        async with playing(Path(beside), seconds) as address, async_playwright() as playwright:
            browser = await playwright.chromium.launch(
                executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
            )
            for picture in pictures:
                await take(browser, address, picture, folder)
            await browser.close()


def main() -> int:
    """Read the arguments and take them."""
    parser = argparse.ArgumentParser(prog="python -m demo.pictures", description=__doc__)
    parser.add_argument("folder", type=Path, help="where the pictures go")
    parser.add_argument("--few", action="store_true", help="only those that the README shows")
    parser.add_argument("--view", action="append", help="only this one; may be given again")
    parser.add_argument("--for", dest="seconds", type=float, default=PLAYED_SECONDS, help="seconds of the race before")
    options = parser.parse_args()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger("warning"))
    pictures = list(FEW) if options.few else list(every(tuple(options.view or VIEWS)))
    options.folder.mkdir(parents=True, exist_ok=True)
    asyncio.run(take_all(pictures, options.folder, options.seconds))
    for picture in pictures:
        make_small(options.folder / picture.name)
    return 0


if __name__ == "__main__":
    sys.exit(main())
