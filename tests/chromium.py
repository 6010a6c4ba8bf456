"""A real browser for tests: a page of headless Chromium, by its own protocol for developers."""

from __future__ import annotations

import asyncio
import shutil
import subprocess
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

aiohttp = pytest.importorskip("aiohttp")

CHROMIUM = shutil.which("chromium")


class Browser:
    """A page of a browser, by its own protocol for developers."""

    def __init__(self, socket: Any) -> None:
        self.socket = socket
        self.asked: list[str] = []  # every address that the page asked for
        self._count = 0

    async def call(self, method: str, **params: object) -> dict[str, Any]:
        self._count += 1
        await self.socket.send_json({"id": self._count, "method": method, "params": params})
        while True:
            said = await self.socket.receive_json()
            if said.get("method") == "Network.requestWillBeSent":
                self.asked.append(said["params"]["request"]["url"])
            if said.get("id") == self._count:
                assert "result" in said, said
                return dict(said["result"])

    async def value(self, code: str) -> Any:
        result = await self.call("Runtime.evaluate", expression=code)
        return result["result"].get("value")

    async def until(self, code: str, seconds: float = 40) -> None:
        async with asyncio.timeout(seconds):
            while not await self.value(code):
                await asyncio.sleep(0.1)

    async def press(self, key: str, code: str, number: int, text: str = "") -> None:
        for kind in ("keyDown", "keyUp"):
            shown = text if kind == "keyDown" else ""
            await self.call(
                "Input.dispatchKeyEvent",
                type=kind,
                key=key,
                code=code,
                text=shown,
                windowsVirtualKeyCode=number,
            )


@asynccontextmanager
async def browser(folder: Path) -> AsyncIterator[Browser]:
    """An empty page."""
    assert CHROMIUM is not None
    words = [CHROMIUM, "--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run"]
    words += ["--remote-debugging-port=0", f"--user-data-dir={folder}", "--window-size=1000,700"]
    process = subprocess.Popen(
        [*words, "about:blank"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        told = folder / "DevToolsActivePort"
        async with asyncio.timeout(40):
            while not told.exists() or not told.read_text().strip():
                await asyncio.sleep(0.1)
        port = told.read_text().split()[0]
        async with aiohttp.ClientSession() as session:
            async with session.get(f"http://127.0.0.1:{port}/json") as response:
                pages = [page for page in await response.json() if page["type"] == "page"]
            address = pages[0]["webSocketDebuggerUrl"]
            async with session.ws_connect(address, max_msg_size=0) as socket:
                made = Browser(socket)
                for part in ("Page", "Network", "Runtime"):
                    await made.call(f"{part}.enable")
                yield made
    finally:
        process.terminate()
        process.wait(timeout=20)
