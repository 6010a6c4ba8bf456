from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from textual.binding import Binding
from textual.pilot import Pilot

from rungs.bench.app import BenchApp, pane_widths, real_clock
from rungs.bench.help_screen import HelpScreen
from rungs.bench.help_text import SIMULATION
from rungs.bench.keys import KEYS, NOT_COMMANDS, footer, words
from rungs.bench.widgets.ladder import Ladder
from rungs.bench.widgets.lines import Lines
from tests.bench.panels import BUZZ, SHED, Hands, session_of

SCREENS = Path(__file__).parent / "screens"


class Bench:
    """An app under test: its session, its clock, and what stands on its screen."""

    def __init__(self, app: BenchApp, pilot: Pilot[None], hands: Hands) -> None:
        self.app = app
        self.pilot = pilot
        self.hands = hands
        self.session = app.session

    async def press(self, *keys: str) -> None:
        """Press keys, one after the other, without letting time pass."""
        await self.pilot.press(*keys)
        await self.look()

    async def wait(self, ms: int) -> None:
        """Let real time pass."""
        self.hands.wait(ms)
        await self.look()

    async def look(self) -> None:
        """Let the screen follow."""
        self.app.frame()
        await self.pilot.pause()

    @property
    def text(self) -> str:
        """What stands on the screen."""
        strips = self.app.screen._compositor.render_strips()
        return "\n".join(strip.text.rstrip() for strip in strips)

    def lines(self, pane: str) -> str:
        """What stands in one pane, its hidden lines as well."""
        held = self.app.screen_stack[0].query_one(pane, Lines)._lines
        return "\n".join("".join(text for text, _ in line).rstrip() for line in held)

    def on(self) -> set[str]:
        """The devices that are on."""
        return {name for name, contact in self.session.panel.state.contacts.items() if contact}


@asynccontextmanager
async def bench(
    text: str = SHED, size: tuple[int, int] = (80, 24), ascii_only: bool = False
) -> AsyncIterator[Bench]:
    hands = Hands()
    app = BenchApp(session_of(text), ascii_only, hands)
    async with app.run_test(size=size) as pilot:
        app.animation_level = "none"
        made = Bench(app, pilot, hands)
        await pilot.pause()
        await made.look()
        yield made


# --- keys


def test_bindings_are_the_table() -> None:
    bindings = [b for b in BenchApp.BINDINGS if isinstance(b, Binding)]
    bound = [(b.id, b.key, b.action, b.description, b.tooltip) for b in bindings]
    assert bound == [(k.id, k.keys, k.action, k.text, k.tooltip) for k in KEYS]
    assert len(bindings) == len(BenchApp.BINDINGS)


async def test_every_key_of_the_table_and_no_other_is_live() -> None:
    async with bench() as b:
        live = {key: active.binding.action for key, active in b.app.active_bindings.items()}
        table = {name: key.action for key in KEYS for name in key.keys.split(",")}
        assert live == table


async def test_every_action_exists() -> None:
    async with bench() as b:
        for key in KEYS:
            assert hasattr(b.app, f"action_{key.action.split('(')[0]}"), key.id


async def test_footer_and_help_show_the_table() -> None:
    async with bench(size=(200, 50)) as b:
        assert all(words(key) in b.lines("#bottom") for key in footer(198))
        await b.press("question_mark")
        assert isinstance(b.app.screen, HelpScreen)
        held = b.app.screen.query_one("#help", Lines)._lines
        text = " ".join(" ".join(t.strip() for t, _ in line) for line in held)
        for key in KEYS:
            assert f"{key.text}: {key.tooltip}".split()[0] in text
            assert key.tooltip in " ".join(text.split())
        assert SIMULATION in " ".join(text.split())
        await b.press("escape")
        assert not isinstance(b.app.screen, HelpScreen)


async def test_the_commands_are_the_table() -> None:
    async with bench() as b:
        commands = list(b.app.get_system_commands(b.app.screen))
        titles = {command.title for command in commands}
        expected = {f"{k.text} ({k.shown})" for k in KEYS if k.id not in NOT_COMMANDS}
        assert titles == expected | {"theme"}


async def test_a_command_does_what_its_key_does() -> None:
    async with bench() as b:
        commands = {c.title: c.callback for c in b.app.get_system_commands(b.app.screen)}
        commands["operate (space)"]()
        await b.pilot.pause()
        assert b.session.switch("lamp_switch").operated


async def test_the_command_list_opens_by_a_letter() -> None:
    async with bench() as b:
        await b.press("c")
        assert len(b.app.screen_stack) == 2
        await b.press("escape")
        assert len(b.app.screen_stack) == 1


async def test_the_help_can_be_read_to_its_end() -> None:
    async with bench() as b:
        await b.press("f1")
        assert "This is a simulation" in b.text
        for _ in range(8):
            await b.press("pagedown")
        assert "leave the bench" in b.text
        await b.press("q")
        assert b.app.is_running
        assert len(b.app.screen_stack) == 1


async def test_q_leaves() -> None:
    async with bench() as b:
        await b.pilot.press("q")
        await b.pilot.pause()
        assert b.app.return_code == 0
        assert not b.app.is_running


# --- hands


@pytest.mark.parametrize("key", ["space", "enter"])
async def test_a_maintained_switch_is_thrown(key: str) -> None:
    async with bench() as b:
        await b.press(key)
        await b.wait(50)
        assert "lamp" in b.on()
        assert "operated" in b.lines("#switches")
        await b.press(key)
        await b.wait(50)
        assert "lamp" not in b.on()


async def test_a_button_is_tapped_or_held() -> None:
    async with bench() as b:
        await b.press("down", "down", "space")
        await b.wait(50)
        assert "tapped" in b.lines("#switches")
        await b.wait(400)
        assert not b.session.switch("start").operated
        await b.press("h")
        await b.wait(1_000)
        assert b.session.switch("start").operated
        await b.press("h")
        assert not b.session.switch("start").operated


async def test_arrows_and_tab_walk_round_the_switches() -> None:
    async with bench() as b:
        seen = []
        for key in ("down", "tab", "down", "up", "shift+tab"):
            await b.press(key)
            seen.append(b.app.chosen_name)
        assert seen == ["stop", "start", "lamp_switch", "start", "stop"]
        assert "▸stop" in b.lines("#switches")


async def test_wires_are_broken_shorted_and_mended() -> None:
    async with bench() as b:
        for key, fault in (("b", "broken"), ("s", "shorted"), ("m", "sound")):
            await b.press(key)
            assert b.session.switch("lamp_switch").fault == fault
            assert ("1 wire" in b.lines("#switches")) == (fault != "sound")


async def test_the_chosen_switch_is_kept_in_view() -> None:
    inputs = "\n".join(f"input switch_{n} at I{n}" for n in range(60))
    async with bench(f"{inputs}\noutput o at R1\nrung switch_0 -> o") as b:
        await b.press("up")
        assert "▸switch_59" in b.text
        await b.press("up")
        assert "▸switch_58" in b.text
        await b.press("down", "down", "down")
        assert "▸switch_1 " in b.text


async def test_a_panel_without_switches_says_so() -> None:
    async with bench("output o at R1\nrung not o -> o") as b:
        for key in ("space", "h", "down", "b", "f"):
            await b.press(key)
            assert "no switches" in b.text


# --- time


async def test_time_follows_the_clock_and_not_the_frames() -> None:
    async with bench() as b:
        for _ in range(7):
            await b.look()
        assert b.session.panel.now == 0
        await b.wait(1_234)
        assert b.session.panel.now == 1_234
        assert "22:45:01.234" in b.text


async def test_fractions_of_a_millisecond_are_not_lost() -> None:
    async with bench() as b:
        for _ in range(10):
            b.hands.ns += 700_000
            b.app.frame()
        assert b.session.panel.now == 7


async def test_a_gap_in_real_time_pauses_and_says_so() -> None:
    async with bench() as b:
        await b.wait(8 * 3_600_000)
        assert not b.session.running
        assert b.session.panel.now == 0
        assert "slept" in b.text
        await b.press("r")
        await b.wait(100)
        assert b.session.panel.now == 100
        assert "slept" not in b.text


async def test_a_gap_while_paused_changes_nothing() -> None:
    async with bench() as b:
        await b.press("r")
        await b.wait(60_000)
        assert b.session.panel.now == 0
        assert "slept" not in b.text


def test_the_real_clock_runs() -> None:
    first = real_clock()
    assert 0 <= real_clock() - first < 1_000_000_000


async def test_pause_one_scan_change_and_event() -> None:
    async with bench() as b:
        await b.press("r", "space")
        assert "paused" in b.text
        assert "time stands still" in b.text
        await b.press("o")
        assert b.session.panel.scan_number == 1
        assert "lamp_switch closed, lamp on" in b.text
        await b.press("e")
        assert "night on" in b.text
        assert "23:00:00.000" in b.text
        await b.press("space", "n")
        assert "lamp off" in b.text
        await b.press("r")
        assert "running" in b.text


async def test_speeds_are_shown() -> None:
    async with bench() as b:
        await b.press("u", "u")
        assert "running x60" in b.text
        assert "one second is 60.0 s" in b.text
        await b.press("d")
        await b.wait(100)
        assert b.session.panel.now == 1_000


async def test_a_lagging_panel_is_said_to_lag() -> None:
    async with bench(BUZZ) as b:
        await b.press("space", "u", "u", "u")
        await b.wait(50)
        assert "lagging" in b.text


async def test_power_and_start_again() -> None:
    async with bench() as b:
        await b.press("space")
        await b.wait(100)
        await b.press("p")
        assert "no power" in b.text
        assert "power off" in b.text
        await b.press("n")
        assert "has no power" in b.text
        await b.press("p")
        assert "power on" in b.text
        await b.press("a")
        assert b.session.panel.now == 0
        assert not b.session.switch("lamp_switch").operated


async def test_messages_go_after_a_while() -> None:
    async with bench() as b:
        await b.press("u")
        assert "one second" in b.text
        for _ in range(4):
            await b.wait(1_900)
        assert "one second" not in b.text
        assert "lamp_switch: released" in b.text


# --- the ladder


async def test_only_rungs_that_changed_are_painted(monkeypatch: pytest.MonkeyPatch) -> None:
    async with bench() as b:
        await b.wait(1_000)
        ladder = b.app.screen.query_one(Ladder)
        painted: list[int] = []
        monkeypatch.setattr(ladder, "refresh_lines", lambda y, n: painted.append(y))
        await b.wait(100)
        assert painted == []
        await b.press("space")
        await b.wait(50)
        assert painted[0] == 0
        assert set(painted) == {0}


async def test_find_shows_the_rungs_that_read_the_switch() -> None:
    rungs = "\n".join(f"rung a -> o{n}" for n in range(30))
    outputs = "\n".join(f"output o{n} at R{n}" for n in range(30))
    text = f"input a at I1\ninput z at I2\n{outputs}\noutput p at R99\n{rungs}\nrung z or a -> p"
    async with bench(text) as b:
        assert "o29" not in b.text.replace("o29 ", "")
        await b.press("down", "f")
        assert "z is read by rung 31" in b.text
        assert b.app.screen.query_one(Ladder).scroll_offset.y > 20


async def test_the_rungs_can_be_paged_by_keys() -> None:
    async with bench() as b:
        ladder = b.app.screen.query_one(Ladder)
        await b.press("end")
        assert ladder.scroll_offset.y == ladder.max_scroll_y > 0
        await b.press("home")
        assert ladder.scroll_offset.y == 0
        await b.press("pagedown")
        assert ladder.scroll_offset.y > 0
        await b.press("pageup")
        assert ladder.scroll_offset.y == 0


async def test_a_rung_wider_than_the_pane_is_reached_by_keys() -> None:
    deep = "a"
    for _ in range(12):
        deep = f"b and (a or {deep})"
    text = f"input a at I1\ninput b at I2\noutput far_coil at R1\nrung {deep} -> far_coil"
    async with bench(text) as b:
        ladder = b.app.screen.query_one(Ladder)
        before = b.text
        await b.press(*["right"] * 24)
        assert b.text != before
        assert ladder.scroll_offset.x > 0
        await b.press(*["left"] * 24)
        assert ladder.scroll_offset.x == 0
        assert b.text == before


async def test_the_rest_of_the_devices_is_reached_by_a_key() -> None:
    relays = "\n".join(f"output relay_{n} at R{n}\nrung a -> relay_{n}" for n in range(50))
    async with bench(f"input a at I1\n{relays}") as b:
        assert "relay_49" not in b.lines("#detail")
        pane = b.app.screen.query_one("#devices", Lines)
        seen = []
        for _ in range(4):
            await b.press("l")
            seen.append(pane.scroll_offset.y)
        assert 0 < seen[0] < seen[1] == pane.max_scroll_y
        assert seen[2:] == [0, seen[0]]


# --- mouse


async def test_a_click_operates_a_switch() -> None:
    async with bench() as b:
        await b.pilot.click("#switches", offset=(3, 1))
        await b.look()
        assert b.session.switch("lamp_switch").operated
        await b.pilot.click("#switches", offset=(3, 4))
        await b.look()
        assert b.app.chosen_name == "stop"
        assert b.session.switch("stop").operated


async def test_a_click_on_a_word_of_the_footer_does_it() -> None:
    async with bench() as b:
        at = b.lines("#bottom").index("r run/pause")
        await b.pilot.click("#bottom", offset=(at + 3, 0))
        await b.look()
        assert not b.session.running


# --- screens


HOSTILE = """
title "[bold red]Title[/] \\\\[@click=app.quit]x[/]"
input  a at I1 "[reverse]label[/reverse] [link=x]"
output o at R1 "[b]"
rung "[bold]shown[/bold] as it stands [/nope]" a -> o
"""


async def test_markup_in_labels_is_shown_as_it_stands() -> None:
    async with bench(HOSTILE.replace("\\\\", ""), size=(140, 30)) as b:
        assert "[bold]shown[/bold] as it stands [/nope]" in b.text
        assert "[bold red]Title[/]" in b.text
        assert "[reverse]label[/reverse]" in b.text


SIZES = [(1, 1), (2, 40), (59, 16), (60, 15), (60, 16), (77, 20), (78, 16), (80, 24), (200, 60)]


async def test_no_size_crashes_and_small_ones_say_what_is_needed() -> None:
    async with bench() as b:
        for width, height in [*SIZES, (10, 5), *reversed(SIZES)]:
            await b.pilot.resize_terminal(width, height)
            await b.press("space")
            small = width < 60 or height < 16
            said = "".join(b.text.split())
            if (width, height) != (1, 1):
                assert ("needs60x16" in said) == small, (width, height)
            assert ("SWITCHES" in b.text) == (not small)


@pytest.mark.parametrize("width", range(60, 201, 7))
def test_the_ladder_keeps_at_least_half_of_the_screen(width: int) -> None:
    left, right = pane_widths(width)
    assert width - left - right - 2 >= 39
    assert 2 * (width - left - right) >= width


async def test_no_color_runs_and_states_can_be_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with bench() as b:
        assert b.app.no_color
        dead = b.text
        await b.press("space", "n")
        live = b.text
        assert "━( )━" in live
        assert "━( )━" not in dead.split("\n")[2]
        await b.press("question_mark")
        assert "simulation" in b.text


@pytest.mark.parametrize("size", [(80, 24), (140, 45)])
async def test_ascii_only_is_ascii(size: tuple[int, int]) -> None:
    async with bench(SHED, size, ascii_only=True) as b:
        await b.press("space", "down", "b", "n", "l", "f")
        assert b.text.isascii()
        await b.press("question_mark")
        assert b.text.isascii()


@pytest.mark.parametrize(
    ("name", "size", "ascii_only"),
    [
        ("narrow", (80, 24), False),
        ("wide", (140, 40), False),
        ("least", (60, 16), False),
        ("ascii", (80, 24), True),
    ],
)
async def test_the_screen_is_as_it_was_kept(
    name: str, size: tuple[int, int], ascii_only: bool
) -> None:
    async with bench(SHED, size, ascii_only) as b:
        await b.press("down", "down", "space")
        await b.wait(1_500)
        kept = SCREENS / f"{name}.txt"
        assert b.text.rstrip("\n") + "\n" == kept.read_text(encoding="utf-8")


async def test_tones_differ_as_they_mean() -> None:
    async with bench() as b:
        pane = b.app.screen.query_one("#switches", Lines)
        plain, quiet, live = (pane.tone_style(tone) for tone in ("plain", "quiet", "live"))
        grey = [style.color.get_truecolor().red for style in (plain, quiet) if style.color]
        assert grey[1] < grey[0]  # on a dark ground
        assert live.bold
        assert not plain.bold
        assert pane.tone_style("live glow").underline
        assert pane.tone_style("plain pick").bgcolor != plain.bgcolor
        b.app.theme = "textual-light"
        await b.look()
        assert pane.tone_style("plain").bgcolor != plain.bgcolor
