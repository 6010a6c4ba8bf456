"""From a path to a bench on the terminal, and safely off it again, however it ends."""

from __future__ import annotations

import os
import signal
import sys
import time
from argparse import ArgumentParser
from contextlib import suppress
from pathlib import Path
from threading import Thread

from rungs.bench.app import BenchApp
from rungs.bench.keymap import keymap_file, read_keymap
from rungs.bench.session.session import Session
from rungs.bench.work import open_work
from rungs.desk.signals import exit_code, on_signals
from rungs.findings import Finding
from rungs.program.nodes import Program

try:
    from termios import TCSANOW, tcgetattr, tcsetattr
    from termios import error as TermiosError  # noqa: N812 - it is named so there

    HAS_TERMIOS = True
except ImportError:  # only systems of the Unix kind have it
    HAS_TERMIOS = False

# what the screen library asks terminals for, taken back: keys as usual, the usual screen, cursor
# and folding, no reports of mouse, focus or size, no bracketed paste, no colours
_BACK = (
    "\x1b[<u\x1b[?1049l\x1b[?25h\x1b[?7h"
    "\x1b[?1000l\x1b[?1003l\x1b[?1015l\x1b[?1006l\x1b[?1016l\x1b[?1004l\x1b[?2048l\x1b[?2004l"
    "\x1b[0m\r\n"
)


def bench_of(
    path: Path, ascii_only: bool = False, start: int | None = None
) -> BenchApp | tuple[Finding, ...]:
    """The bench for the file at a path, which may be one that is still to be written, or the
    findings that say why it cannot be edited.

    `start` is the wall time at t = 0, ms UTC. Raises FileError for a file that cannot be read.
    """
    if _attributes() is not None:
        # the library believes them more than the terminal, and would never see another size
        for name in ("COLUMNS", "LINES"):
            os.environ.pop(name, None)
    work = open_work(path)
    if isinstance(work, tuple):
        return work
    program = work.program if work.program is not None else Program()
    session = Session(program, start)
    keys, wrong = read_keymap(keymap_file())
    app = BenchApp(session, work, ascii_only, keys=keys)
    if wrong:
        app.say(wrong[0], True)
    return app


def run_on_terminal(app: BenchApp, mouse: bool = True) -> int:
    """Run the bench until it is left; the exit code."""
    attributes = _attributes()

    def keep() -> None:
        app.work.close(keep=True)

    def end(number: int) -> None:
        # while a bench runs, the library has put something else in the place of sys.stderr
        if sys.__stderr__ is not None:
            with suppress(OSError, ValueError):
                os.write(sys.__stderr__.fileno(), _BACK.encode("ascii"))
        _restore(attributes)
        # the screen library would wait for tasks that a lost terminal never ends
        os._exit(exit_code(number))

    put_back = on_signals(keep, end)
    try:
        app.run(mouse=mouse)
    except BaseException:
        # a mistake of ours must not cost what was typed
        app.work.close(keep=True)
        raise
    finally:
        put_back()
    if not app.left:
        app.work.close(keep=True)
    return app.return_code or 0


def tab() -> None:
    """Run the bench of one browser tab, on the pipes of the server; never returns.

    Takes `[--ascii] [--start MS] FILE`, the time as ms UTC.
    """
    parser = ArgumentParser()
    parser.add_argument("file", type=Path)
    parser.add_argument("--ascii", action="store_true")
    parser.add_argument("--start", type=int)
    args = parser.parse_args()
    app = bench_of(args.file, args.ascii, args.start)
    if isinstance(app, tuple):
        # it was looked at before anything was served, so it has changed since
        sys.exit("\n".join(finding.message for finding in app))
    Thread(target=_end_with, args=(os.getppid(),), daemon=True).start()
    sys.exit(run_on_terminal(app))


def _end_with(server: int) -> None:
    """End when the server has: a bench that nobody sees would hold the file for ever."""
    while os.getppid() == server:
        time.sleep(1)
    signal.raise_signal(signal.SIGTERM)


def _attributes() -> list[object] | None:
    if HAS_TERMIOS:
        with suppress(TermiosError, OSError, ValueError):
            return list(tcgetattr(sys.stdin.fileno()))
    return None


def _restore(attributes: list[object] | None) -> None:
    if HAS_TERMIOS and attributes is not None:
        with suppress(TermiosError, OSError, ValueError):
            tcsetattr(sys.stdin.fileno(), TCSANOW, attributes)  # type: ignore[arg-type]
