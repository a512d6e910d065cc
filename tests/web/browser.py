"""A real browser without a window, driven by the W3C WebDriver protocol."""

import asyncio
import base64
import socket
import subprocess
import tempfile
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx

from tests.web.opened import FAIL_SAFE_SECONDS

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
    "--window-size=1280,1000",
]


class Browser:
    """One window."""

    def __init__(self, client: httpx.AsyncClient, session: str) -> None:
        self._client = client
        self._session = session

    async def open(self, address: str) -> None:
        """Go to an address."""
        await self._say("url", {"url": address})

    async def script(self, source: str, *arguments: object) -> Any:  # noqa: ANN401 - whatever the script returns
        """Run the body of a function in the page, and give back what it returns."""
        return await self._say("execute/sync", {"script": source, "args": arguments})

    async def text(self, selector: str) -> str:
        """What a reader sees of the first element that a selector finds."""
        found = (
            "const found = document.querySelector(arguments[0]); return found?.checkVisibility() ? found.innerText : ''"
        )
        return str(await self.script(found, selector))

    async def until(self, selector: str, holds: Callable[[str], bool]) -> str:
        """Wait until the text of an element is as it should be; gives it back."""
        async with asyncio.timeout(FAIL_SAFE_SECONDS):
            while not holds(text := await self.text(selector)):  # noqa: ASYNC110 - it is at the other end of a socket
                await asyncio.sleep(0.05)
        return text

    async def complaints(self) -> list[str]:
        """What the browser's console has been told since the last time: faults, and what its rules forbade."""
        return [str(entry["message"]) for entry in await self._say("se/log", {"type": "browser"})]

    async def picture(self) -> bytes:
        """What the window shows, as PNG."""
        answer = await self._client.get(f"/session/{self._session}/screenshot")
        return base64.b64decode(answer.json()["value"])

    async def _say(self, command: str, body: dict[str, object]) -> Any:  # noqa: ANN401 - whatever the browser answers
        answer = await self._client.post(f"/session/{self._session}/{command}", json=body)
        value = answer.json()["value"]
        assert answer.status_code == 200, value
        return value


@asynccontextmanager
async def open_browser() -> AsyncIterator[Browser]:
    """A browser with a profile of its own, for a block."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory(prefix="browser-", ignore_cleanup_errors=True) as folder:
        driver = await asyncio.create_subprocess_exec(
            "chromedriver", f"--port={port}", stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        base = f"http://127.0.0.1:{port}"
        async with httpx.AsyncClient(base_url=base, timeout=FAIL_SAFE_SECONDS, trust_env=False) as client:
            try:
                async with asyncio.timeout(FAIL_SAFE_SECONDS):
                    session = await _begin(client, Path(folder))
                try:
                    yield Browser(client, session)
                finally:
                    await client.delete(f"/session/{session}")  # the driver would leave its browser behind
            finally:
                driver.terminate()
                await driver.wait()


async def _begin(client: httpx.AsyncClient, folder: Path) -> str:
    wanted = {
        "browserName": "chrome",
        "goog:chromeOptions": {"args": [*FLAGS, f"--user-data-dir={folder}"]},
        "goog:loggingPrefs": {"browser": "ALL"},
    }
    while True:
        try:
            answer = await client.post("/session", json={"capabilities": {"alwaysMatch": wanted}})
            break
        except httpx.ConnectError:
            await asyncio.sleep(0.05)
    value = answer.json()["value"]
    assert answer.status_code == 200, value
    return str(value["sessionId"])
