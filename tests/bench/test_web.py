"""The bench in a browser: what is served, to whom, and that it is the real one."""

from __future__ import annotations

import asyncio
import json
import os
import re
import shlex
import signal
import socket
import subprocess
import sys
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from rungs.cli import open_bench
from rungs.cli.exits import CliError
from rungs.cli.main import main
from rungs.desk.recovery import offers
from tests.bench.panels import SHED
from tests.chromium import CHROMIUM, browser

ROOT = Path(__file__).parent.parent.parent
TEXT = SHED.lstrip()
ESCAPES = re.compile(r"\x1b(\[[0-9;:?<>=]*[ -/]*[@-~]|[@-Z\\-_])")


def test_without_the_extra_it_says_how_to_install_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "shed.rungs"
    path.write_text(TEXT, encoding="utf-8")
    monkeypatch.setattr(open_bench, "find_spec", lambda name: None)
    with pytest.raises(CliError, match=r"pip install 'rungs-logic\[web\]'") as told:
        main(["open", str(path), "--web"])
    assert told.value.code == 2


@pytest.mark.parametrize("port", ["0", "65536", "-1"])
def test_a_port_that_cannot_be_is_told(tmp_path: Path, port: str) -> None:
    with pytest.raises(CliError, match="from 1 to 65535") as told:
        main(["open", str(tmp_path / "new.rungs"), "--web", f"--port={port}"])
    assert told.value.code == 2


aiohttp = pytest.importorskip("aiohttp")
pytest.importorskip("textual_serve")
posix = pytest.mark.skipif(sys.platform == "win32", reason="quotes and signals of the Unix kind")


def test_a_file_that_no_tab_could_open_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(CliError, match="is a folder"):
        main(["open", str(tmp_path), "--web"])


@posix
@pytest.mark.parametrize("name", ["two words", "it's $(touch here)", 'a"b', "-x; ls", "ärm&"])
def test_a_name_is_quoted_for_the_shell(name: str) -> None:
    from rungs.bench.web import tab_command

    words = shlex.split(tab_command(Path(name), ["--ascii"]))
    assert words[0] == "exec"
    assert words[-3:] == ["--ascii", "--", name]


# --- a real server


@dataclass(frozen=True, slots=True)
class Served:
    """A server, its port, the file, and what it said when it began."""

    process: subprocess.Popen[str]
    port: int
    file: Path
    said: str

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def served(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    file = tmp_path / "the shed's $HOME.rungs"
    file.write_text(TEXT, encoding="utf-8")
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "-m", "rungs", "open", str(file), "--web", f"--port={port}"],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    said = process.stderr.readline()
    yield Served(process, port, file, said)
    process.send_signal(signal.SIGTERM)
    assert process.wait(timeout=30) == 0
    process.stderr.close()


@asynccontextmanager
async def tab(served: Served, **headers: str) -> AsyncIterator[Any]:
    """A browser tab without the browser."""
    async with (
        aiohttp.ClientSession() as session,
        session.ws_connect(f"{served.url}/ws?width=100&height=30", headers=headers) as socket,
    ):
        yield socket


async def shown(tab: Any, sign: str, seconds: float = 30) -> str:
    """What a tab is sent until a sign is in it, without colours and places."""
    seen = b""
    async with asyncio.timeout(seconds):
        while True:
            message = await tab.receive()
            assert message.type in (aiohttp.WSMsgType.BINARY, aiohttp.WSMsgType.TEXT), seen
            if message.type == aiohttp.WSMsgType.BINARY:
                seen += message.data
            text = ESCAPES.sub("", seen.decode("utf-8", "replace"))
            if sign in text:
                return text


async def test_it_says_where_it_is_and_all_that_it_loads_comes_from_there(served: Served) -> None:
    assert served.url in served.said
    assert "anybody on this machine can use it" in served.said
    async with aiohttp.ClientSession() as session:
        async with session.get(served.url) as response:
            page = await response.text()
            policy = response.headers["Content-Security-Policy"]
        links = re.findall(r"""(?:https?:|wss?:)?//[^\s"'<>]+""", page)
        assert links == [f"ws://127.0.0.1:{served.port}/ws"]
        assert "default-src 'self'" in policy
        assert "the shed&#39;s $HOME.rungs" in page
        loaded = re.findall(r"""(?:src=|href=|url\()"(/[^"]+)""", page)
        assert len(loaded) == 3
        for path in loaded:
            async with session.get(served.url + path) as response:
                assert response.status == 200, path
                body = await response.read()
            assert b"@import" not in body
            assert b"fonts.g" not in body


async def test_a_page_from_elsewhere_is_turned_away(served: Served) -> None:
    strange = ({"Origin": "http://example.org"}, {"Origin": "null"}, {"Host": "example.org:80"})
    for headers in strange:
        with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
            async with tab(served, **headers):
                pass
        assert refused.value.status == 403
        async with (
            aiohttp.ClientSession() as session,
            session.get(served.url, headers=headers) as got,
        ):
            assert got.status == 403
    # our own page is let in under both names of this machine
    async with tab(served, Origin=f"http://localhost:{served.port}") as ours:
        await shown(ours, "SWITCHES")


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="needs the list of open ports")
def test_it_listens_on_this_machine_alone(served: Served) -> None:
    rows = [
        line.split()
        for table in ("tcp", "tcp6")
        if Path(f"/proc/net/{table}").exists()
        for line in Path(f"/proc/net/{table}").read_text(encoding="ascii").splitlines()[1:]
    ]
    listening = [row[1] for row in rows if row[3] == "0A"]  # as the kernel numbers LISTEN
    # READ: proc(5) gives addresses as they lie in memory; 127.0.0.1 the other way round here
    local = "0100007F" if sys.byteorder == "little" else "7F000001"
    assert [a for a in listening if a.endswith(f":{served.port:04X}")] == [
        f"{local}:{served.port:04X}"
    ]


async def test_a_tab_is_a_bench_and_another_is_told_of_it(served: Served) -> None:
    async with tab(served) as first:
        screen = await shown(first, "quit")
        for words in ("Shed light and pump", "lamp_switch", "RELAYS", "The lamp follows"):
            assert words in screen
        async with tab(served) as second:
            await shown(second, "the file is open in another bench")


async def test_a_closed_tab_leaves_what_was_typed(served: Served) -> None:
    async with tab(served) as typing:
        await shown(typing, "quit")
        await typing.send_json(["stdin", "\x1bOR"])
        await shown(typing, "complete")
        await typing.send_json(["stdin", "# kept"])
        await shown(typing, "# kept")
    async with asyncio.timeout(20):
        while not offers(served.file):
            await asyncio.sleep(0.05)
    assert "# kept" in offers(served.file)[0].text
    assert served.file.read_text(encoding="utf-8") == TEXT
    async with tab(served) as later:
        await shown(later, "without saving")


async def test_a_killed_server_takes_its_benches_along(served: Served, tmp_path: Path) -> None:
    async with tab(served) as typing:
        await shown(typing, "quit")
        locks = list((tmp_path / "state" / "locks").glob("*.json"))
        assert len(locks) == 1
        pid = json.loads(locks[0].read_text())["owner"]["pid"]
        await typing.send_json(["stdin", "r\x1bOR"])
        await shown(typing, "complete")
        await typing.send_json(["stdin", "# kept"])
        await shown(typing, "# kept")
        served.process.send_signal(signal.SIGSTOP)
        os.kill(served.process.pid, signal.SIGKILL)
        served.process.wait(timeout=20)
        async with asyncio.timeout(20):
            while _runs(pid):
                await asyncio.sleep(0.05)
    served.process.returncode = 0  # it has ended as it was to
    assert "# kept" in offers(served.file)[0].text


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{pid}/stat")
    return not stat.exists() or ") Z " not in stat.read_text(encoding="ascii")


def test_a_port_that_is_taken_is_told(served: Served) -> None:
    again = subprocess.run(
        [sys.executable, "-m", "rungs", "open", str(served.file), "--web", f"--port={served.port}"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert again.returncode == 3
    assert f"cannot serve at port {served.port}" in again.stderr
    assert "Traceback" not in again.stderr


# --- a real browser


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="needs a browser")
async def test_a_browser_shows_the_bench_and_saves_what_is_typed(
    served: Served, tmp_path: Path
) -> None:
    async with browser(tmp_path / "browser") as page:
        await page.call("Page.navigate", url=served.url)
        await page.until("document.body && document.body.className.includes('-first-byte')")
        await page.until("document.querySelectorAll('canvas').length > 0")
        assert await page.value("document.fonts.check('16px \"Roboto Mono\"')") is True
        # the keyboard is the bench's without a click
        await page.until("document.activeElement.className == 'xterm-helper-textarea'")
        await page.press("F3", "F3", 114)
        await asyncio.sleep(1.5)
        await page.press("#", "Digit3", 51, "#")
        await asyncio.sleep(0.5)
        await page.press("F2", "F2", 113)
        async with asyncio.timeout(20):
            while served.file.read_text(encoding="utf-8") == TEXT:
                await asyncio.sleep(0.05)
        assert served.file.read_text(encoding="utf-8").count("#") == TEXT.count("#") + 1
        assert len(page.asked) >= 4
        assert all(url.startswith((served.url + "/", "data:")) for url in page.asked), page.asked
        # leaving the bench says so on the page
        await page.press("Escape", "Escape", 27)
        await asyncio.sleep(0.3)
        await page.press("q", "KeyQ", 81, "q")
        await page.until("document.body.className.includes('-closed')")
        assert "has ended" in await page.value("document.body.innerText")
