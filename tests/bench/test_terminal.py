"""The bench on real terminals: in a multiplexer, and on a line that goes away."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from rungs.desk.recovery import offers
from tests.bench.panels import SHED

pytest.importorskip("termios", reason="needs terminals of the Unix kind")

from tests.bench.terminals import F2, F3, Terminal

ROOT = Path(__file__).parent.parent.parent
TEXT = SHED.lstrip()
SHELL = r"(?m)^[$#]\s*$"  # a shell that waits
TMUX = shutil.which("tmux")


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A panel file, and a folder of state that is the test's own."""
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    for name in ("NO_COLOR", "COLORTERM", "TMUX", "TEXTUAL_COLOR_SYSTEM"):
        monkeypatch.delenv(name, raising=False)
    path = tmp_path / "shed.rungs"
    path.write_text(TEXT, encoding="utf-8")
    return path


def bench_words(path: Path, *options: str) -> list[str]:
    return [sys.executable, "-m", "rungs", "open", str(path), *options]


# --- in a multiplexer


class Tmux:
    """A terminal of a multiplexer, with a shell on it; `session` is on a server of its own."""

    def __init__(self, socket: Path, size: tuple[int, int]) -> None:
        self._socket = socket
        width, height = map(str, size)
        self._run(
            *("-f", "/dev/null", "new-session", "-d", "-x", width, "-y", height, "-s", "bench"),
            "sh",
        )
        self._run("set-option", "-g", "status", "off")
        self._run("resize-window", "-t", "bench", "-x", width, "-y", height)

    def _run(self, *words: str) -> str:
        assert TMUX is not None
        return subprocess.run(
            [TMUX, "-S", str(self._socket), *words],
            check=True,
            capture_output=True,
            text=True,
            timeout=20,
        ).stdout

    def keys(self, *names: str) -> None:
        """Press keys, by the multiplexer's names."""
        self._run("send-keys", "-t", "bench", *names)

    def text(self, words: str) -> None:
        """Type."""
        self._run("send-keys", "-t", "bench", "-l", words)

    def command(self, words: str) -> None:
        """Run something in the shell."""
        self.text(words)
        self.keys("Enter")

    @property
    def screen(self) -> str:
        """What stands on the terminal."""
        return self._run("capture-pane", "-t", "bench", "-p")

    @property
    def colours(self) -> str:
        """The same with its colours."""
        return self._run("capture-pane", "-t", "bench", "-p", "-e")

    def until(self, pattern: str, seconds: float = 30) -> str:
        """Wait for something to stand there."""
        end = time.monotonic() + seconds
        while not re.search(pattern, screen := self.screen):
            assert time.monotonic() < end, f"{pattern!r} never stood on:\n{screen}"
            time.sleep(0.03)
        return screen

    def close(self) -> None:
        """End the multiplexer."""
        self._run("kill-server")


@pytest.fixture
def tmux(request: pytest.FixtureRequest, tmp_path: Path, file: Path) -> Iterator[Tmux]:
    if TMUX is None:
        pytest.skip("needs tmux")
    made = Tmux(tmp_path / "tmux", getattr(request, "param", (80, 24)))
    yield made
    made.close()


def set_of(tmux: Tmux, number: int) -> str:
    """How the terminal is set, in the words of stty."""
    tmux.command(f"clear; stty -g; echo set {number}")
    screen = tmux.until(rf"(?m)^set {number}$")
    # a row that is too long for the terminal goes on in the next
    found = "".join(re.findall(r"(?m)^[0-9a-f:]+$", screen))
    assert found.count(":") > 20, screen
    return found


@pytest.mark.slow
@pytest.mark.parametrize(
    "tmux, wide", [((80, 24), False), ((140, 45), True)], indirect=["tmux"], ids=["80x24", "140x45"]
)
def test_a_day_at_the_bench(tmux: Tmux, wide: bool, file: Path) -> None:
    before = set_of(tmux, 1)
    tmux.command(shlex.join(bench_words(file)))
    tmux.until("quit")
    tmux.until(r"lamp +○")
    # operate a switch, and see the load go on
    tmux.keys("Space")
    tmux.until(r"lamp +●")
    assert "operated" in tmux.screen
    # step back, to before it was operated
    tmux.keys("N")
    tmux.until("past")
    tmux.keys("O")
    tmux.until(r"lamp +○")
    tmux.keys("l")
    tmux.until(r"lamp +●")
    # open the text, type, save
    tmux.keys("F3")
    tmux.until("complete")
    # where there is room the lists stay beside the text
    tmux.until(r"(?s)RELAYS.*complete" if wide else r"(?s)\A(?!.*RELAYS).*complete")
    tmux.keys("PageUp", "PageUp", "PageUp", "Home")
    tmux.until(r" 1 +title")
    tmux.text("# by hand ")
    tmux.until("# by hand")
    tmux.keys("Enter")
    tmux.until(r"\* ")
    tmux.keys("F2")
    tmux.until("saved shed.rungs")
    assert "# by hand \n" in file.read_text(encoding="utf-8")
    tmux.keys("Escape")
    tmux.until("edit here")
    tmux.keys("q")
    tmux.until(SHELL)
    assert set_of(tmux, 2) == before
    assert offers(file) == ()


@pytest.mark.slow
@pytest.mark.parametrize(
    "setting, options",
    [
        ("TERM=xterm-256color", ()),
        ("TERM=screen", ()),
        ("NO_COLOR=1", ()),
        ("LANG=C LC_ALL=C", ("--ascii",)),
    ],
)
def test_other_terminals_show_the_same(
    tmux: Tmux, setting: str, options: tuple[str, ...], file: Path
) -> None:
    tmux.command(f"{setting} {shlex.join(bench_words(file, *options))}")
    tmux.until("quit")
    tmux.keys("Space")
    on = "*" if options else "●"
    screen = tmux.until(rf"lamp +{re.escape(on)}")
    for words in ("Shed light and", "lamp_switch", "TIMERS", "The lamp follows"):
        assert words in screen
    if options:
        assert screen.isascii(), [line for line in screen.splitlines() if not line.isascii()]
    if setting == "NO_COLOR=1":
        shades = re.findall(r"\x1b\[[0-9;]*?[34]8;2;(\d+);(\d+);(\d+)", tmux.colours)
        assert all(red == green == blue for red, green, blue in shades), "that is a colour"
        bright = re.findall(r"\x1b\[(?:[0-9;]*;)?(?:3|4|9|10)([1-6])(?:;[0-9;]*)?m", tmux.colours)
        assert not bright, "that is a colour by its number"
    tmux.keys("q")
    tmux.until(SHELL)


# --- on a line of our own


class Line:
    """A bench on a terminal that is ours to pull away."""

    def __init__(self, file: Path) -> None:
        self.terminal = Terminal()
        self.before = self.terminal.attributes()
        # the first terminal that the leader of a session opens becomes the one that hangs it up
        code = (
            "import sys; from tests.bench.terminals import take_terminal; "
            "take_terminal(sys.argv.pop(1)); from rungs.cli.main import run; run()"
        )
        self.process = subprocess.Popen(
            [sys.executable, "-c", code, self.terminal.name, "open", str(file)],
            cwd=ROOT,
            env={**os.environ, "TERM": "xterm-256color"},
        )
        self.terminal.until(b"quit")
        self.terminal.listen(0.3)

    def type(self, text: str) -> None:
        """Open the text, and type there until it is shown."""
        self.terminal.send(F3)
        self.terminal.until(b"complete")
        self.terminal.listen(0.3)
        self.terminal.send(text.encode())
        self.shown(text)

    def shown(self, text: str) -> None:
        """Listen until something was shown."""
        end = time.monotonic() + 20
        while text not in re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", self._seen()):
            assert time.monotonic() < end, self._seen()[-2_000:]
            self.terminal.listen(0.05)

    def _seen(self) -> str:
        return self.terminal.seen.decode("utf-8", "replace")

    def ended(self) -> int:
        """The exit code."""
        end = time.monotonic() + 20
        while self.process.poll() is None:
            assert time.monotonic() < end, "it goes on"
            if self.terminal.ours >= 0:
                self.terminal.listen(0.05)
            else:
                time.sleep(0.05)
        return int(self.process.returncode)


@pytest.fixture
def line(file: Path) -> Iterator[Line]:
    made = Line(file)
    yield made
    if made.process.poll() is None:
        made.process.kill()
    made.process.wait(timeout=20)
    if made.terminal.ours >= 0:
        made.terminal.close()


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_keeps_what_was_typed_and_puts_the_terminal_back(
    number: signal.Signals, line: Line, file: Path
) -> None:
    line.type("#kept")
    assert line.terminal.attributes() != line.before  # it was set otherwise meanwhile
    line.process.send_signal(number)
    assert line.ended() == 128 + number  # as POSIX shells count: 143 and 129
    (offer,) = offers(file)
    assert offer.text.count("#kept") == 1
    assert file.read_text(encoding="utf-8") == TEXT
    assert line.terminal.attributes() == line.before
    line.terminal.listen(0.1)
    seen = bytes(line.terminal.seen)
    # the usual screen, the cursor, no reports of mouse or focus: READ in xterm's list of modes
    pairs = [(b"?1049h", b"?1049l"), (b"?25l", b"?25h"), (b"?1003h", b"?1003l")]
    for on, off in (*pairs, (b"?1004h", b"?1004l"), (b"?2004h", b"?2004l")):
        assert seen.rfind(off) > seen.rfind(on) > 0, (on, seen[-300:])


@pytest.mark.slow
def test_a_line_that_goes_away_keeps_what_was_typed(line: Line, file: Path) -> None:
    line.type("#kept")
    line.terminal.close()
    assert line.ended() == 129
    (offer,) = offers(file)
    assert offer.text.count("#kept") == 1
    assert file.read_text(encoding="utf-8") == TEXT


@pytest.mark.slow
def test_interrupting_does_not_end_a_bench_and_the_next_key_is_heard(
    line: Line, file: Path
) -> None:
    line.terminal.send(b"\x03")
    line.terminal.listen(0.5)
    assert line.process.poll() is None
    # unsaved text is asked about, and kept where nobody answers otherwise
    line.type("#kept")
    line.terminal.send(b"\x1b")
    line.shown("edit here")
    line.terminal.send(b"q")
    line.shown("There is unsaved text")
    line.terminal.send(b"k")
    assert line.ended() == 0
    assert [offer.text.count("#kept") for offer in offers(file)] == [1]
    assert line.terminal.attributes() == line.before


@pytest.mark.slow
def test_what_is_typed_ahead_goes_where_it_was_meant(line: Line, file: Path) -> None:
    # a newline, up before it, two letters and one of them taken back: in one go, over a slow line
    line.terminal.send(F3 + b"\r\x1b[A#on2\x7fe" + F2)
    end = time.monotonic() + 20
    while "#one\n" not in file.read_text(encoding="utf-8"):
        assert time.monotonic() < end, line.terminal.seen[-500:]
        line.terminal.listen(0.05)
    assert file.read_text(encoding="utf-8").count("#one") == 1
    line.terminal.send(b"\x1b")
    line.shown("edit here")
    line.terminal.send(b"q")
    assert line.ended() == 0
