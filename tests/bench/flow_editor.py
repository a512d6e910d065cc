"""Whether the flow on the page about the bus counts frames in the real flow editor, installed from npm for this.

Nothing of it stays: it goes into a temporary folder, in about half a minute; or one is used whose folder the
environment names as STILE_BENCH_EDITOR. Without npm or mosquitto it is skipped.
"""

import asyncio
import json
import os
import shutil
import signal
import sys
import tempfile
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, suppress
from importlib import resources
from pathlib import Path

from tests.bench.fed_bus import fed_bus
from tests.bench.figures import Effort, Figure, Skipped
from tests.mosquitto_broker import MosquittoBroker, free_port, witness

EDITOR = "node-red"
INSTALLED = "STILE_BENCH_EDITOR"
COUNTS = "house/frames-per-source"
START_SECONDS = 60
NEEDED = ("npm", "node", "mosquitto", "mosquitto_sub", "stdbuf")

SETTINGS = """
module.exports = {{
    uiHost: "127.0.0.1", uiPort: {port}, disableEditor: true, credentialSecret: false, flowFile: "flows.json",
    logging: {{console: {{level: "warn"}}}},
}};
"""


async def install(folder: Path) -> None:
    """Install the editor into `folder`. Raises `RuntimeError`."""
    npm = await asyncio.create_subprocess_exec(
        "npm", "install", "--silent", "--no-fund", "--no-audit", "--prefix", str(folder), EDITOR, stdout=sys.stderr
    )
    if await npm.wait() != 0:
        raise RuntimeError(f"npm could not install {EDITOR}")


def flow_of_the_page() -> str:
    """The flow as the page has it."""
    page = resources.files("gateway.bus").joinpath("README.md").read_text("utf-8")
    return page.partition("```json\n")[2].partition("```")[0]


def prepare(folder: Path, broker_port: int) -> None:
    """Put the flow of the page, and settings, into the folder of a user of the editor."""
    folder.mkdir()
    (folder / "flows.json").write_text(flow_of_the_page().replace("1883", str(broker_port)), "utf-8")
    (folder / "settings.js").write_text(SETTINGS.format(port=free_port()), "utf-8")


@asynccontextmanager
async def running_editor(modules: Path, folder: Path, broker_port: int) -> AsyncIterator[None]:
    """The editor with the flow of the page, for a block."""
    prepare(folder, broker_port)
    editor = await asyncio.create_subprocess_exec(
        "node",
        str(modules / EDITOR / "red.js"),
        *("--userDir", str(folder), "--settings", str(folder / "settings.js")),
        stdout=sys.stderr,
        start_new_session=True,
    )
    try:
        yield
    finally:
        with suppress(ProcessLookupError):
            os.killpg(editor.pid, signal.SIGTERM)
        await editor.wait()


async def count(modules: Path, folder: Path) -> tuple[dict[str, int], dict[str, int]]:
    """How many frames of each source were sent, and how many the flow counted."""
    async with (
        MosquittoBroker() as broker,
        fed_bus(broker) as feed,
        witness(broker, COUNTS) as watching,
        running_editor(modules, folder, broker.port),
        asyncio.timeout(START_SECONDS),
    ):
        while not watching.seen:  # until the flow listens
            feed.hear(b"QP0FIRST>APRS:>is anybody there")
            await asyncio.sleep(0.2)
        sent = {f"QA{number}BCD": 10 * number for number in range(1, 6)}
        for source, times in sent.items():
            feed.hear(*[b"%b>APRS:>x" % source.encode()] * times)
        feed.hear(b"no frame at all", b"QZ9/+#>APRS:>odd", b"QE0LAST>APRS:>the last")
        seen = await watching.until(lambda seen: b"QE0LAST" in seen[-1].payload)
        counted: dict[str, int] = json.loads(seen[-1].payload)
        return sent, {source: times for source, times in counted.items() if not source.startswith(("QP0", "QE0"))}


def measure(_effort: Effort) -> Iterator[Figure]:
    """For how many sources the flow counted something else than was sent."""
    missing = [tool for tool in NEEDED if shutil.which(tool, path=f"{os.environ['PATH']}:/usr/sbin") is None]
    if missing:
        raise Skipped(f"{', '.join(missing)} not installed")
    with tempfile.TemporaryDirectory(prefix="flow-editor-") as name, asyncio.Runner() as runner:
        folder = Path(os.environ.get(INSTALLED, name))
        if INSTALLED not in os.environ:
            runner.run(install(folder))
        modules = folder / "node_modules"
        version = json.loads((modules / EDITOR / "package.json").read_text("utf-8"))["version"]
        sent, counted = runner.run(count(modules, Path(name, "user")))
    others = {source for source in sent.keys() | counted.keys() if sent.get(source) != counted.get(source)}
    yield Figure("counted otherwise", len(others), "sources", f"{len(counted)} counted", f"{EDITOR} {version}")
