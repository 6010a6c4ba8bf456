"""The bench in a browser on this machine, through the screen library's own server.

Every tab is a bench of its own, in a process of its own. A browser lets any page that it shows talk
to this machine, so whoever asks is looked at first: only a page that came from here is answered.
"""

from __future__ import annotations

import asyncio
import logging
import shlex
import signal
import subprocess
import sys
from collections.abc import Awaitable, Callable, Sequence
from contextlib import suppress
from pathlib import Path

from aiohttp import web
from textual_serve.server import Server

HOST = "127.0.0.1"
CLOSING = 3.0  # seconds for the benches to end with the server
PAGE = Path(__file__).with_name("web_page")

_Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


def serve(file: Path, port: int, options: Sequence[str] = ()) -> None:
    """Serve the bench for a file until interrupted. `options` are those of `tab` in the module
    that starts benches. Raises OSError if the port cannot be had."""
    BenchServer(tab_command(file, options), port, f"rungs - {file.name}").serve()


def tab_command(file: Path, options: Sequence[str] = ()) -> str:
    """The command line of one tab, quoted for the shell of this system."""
    # whatever is in the current folder: the code of this very package
    code = "import sys; sys.path[0] = sys.argv.pop(1); from rungs.bench.start import tab; tab()"
    root = Path(__file__).parent.parent.parent
    words = [sys.executable, "-c", code, str(root), *options, "--", str(file)]
    if sys.platform == "win32":
        return subprocess.list2cmdline(words)
    # the shell would stay between server and bench
    return "exec " + shlex.join(words)


class BenchServer(Server):
    """Serves one command to browsers of this machine alone."""

    def __init__(self, command: str, port: int, title: str) -> None:
        super().__init__(
            command, host=HOST, port=port, title=title, templates_path=str(PAGE.absolute())
        )
        self._ours = {f"{name}:{port}" for name in (HOST, "localhost")}

    def initialize_logging(self) -> None:
        """Only what went wrong, and not among the results."""
        logging.basicConfig(level=logging.WARNING, stream=sys.stderr, format="rungs: %(message)s")

    async def _make_app(self) -> web.Application:
        app = await super()._make_app()
        app.middlewares.append(self._guard)
        app.on_response_prepare.append(self._limit)
        return app

    @web.middleware
    async def _guard(self, request: web.Request, handler: _Handler) -> web.StreamResponse:
        """A page from elsewhere may not talk to a bench: neither openly, nor under a name of its
        own that leads to this machine."""
        origin = request.headers.get("Origin")
        ours = origin is None or origin in {f"http://{name}" for name in self._ours}
        if request.host not in self._ours or not ours:
            raise web.HTTPForbidden(text="only pages of this bench are answered\n")
        return await handler(request)

    async def _limit(self, request: web.Request, response: web.StreamResponse) -> None:
        """Nothing is loaded from elsewhere, and no other page may frame a bench."""
        sockets = " ".join(f"ws://{name}" for name in sorted(self._ours))
        response.headers["Content-Security-Policy"] = (
            f"default-src 'self' data:; connect-src 'self' {sockets}; frame-ancestors 'none'; "
            "script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'"
        )
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["X-Content-Type-Options"] = "nosniff"

    def serve(self, debug: bool = False) -> None:
        """Serve until interrupted. Raises OSError if the port cannot be had."""
        self.debug = debug
        self.initialize_logging()
        asyncio.run(self._serve())

    async def _serve(self) -> None:
        runner = web.AppRunner(await self._make_app(), shutdown_timeout=CLOSING)
        await runner.setup()
        try:
            await web.TCPSite(runner, self.host, self.port).start()
            ended = asyncio.Event()
            for number in (signal.SIGINT, signal.SIGTERM):
                # a system without them ends by an exception
                with suppress(NotImplementedError):
                    asyncio.get_running_loop().add_signal_handler(number, ended.set)
            print(
                f"rungs: the bench is at {self.public_url} until Ctrl-C; there is no password, "
                "so anybody on this machine can use it and write files as you",
                file=sys.stderr,
                flush=True,
            )
            await ended.wait()
        finally:
            await runner.cleanup()

    async def on_startup(self, app: web.Application) -> None:
        """Nothing is said before there is somebody who answers."""
