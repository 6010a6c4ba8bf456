"""The screen itself: sizes, panes, colours, plain signs, and screens that are kept as text."""

from __future__ import annotations

import os
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.color_triplet import ColorTriplet

from rungs.bench.screen import LEAST, SIDE_BY_SIDE, shares
from rungs.bench.themes import THEMES
from tests.bench.harness import Bench, bench
from tests.bench.panels import SHED

SCREENS = Path(__file__).parent / "screens"

# --- sizes

SIZES = [(1, 1), (2, 40), (59, 16), (60, 15), (60, 16), (77, 20), (78, 16), (80, 24), (300, 100)]


async def test_no_size_crashes_and_small_ones_say_what_is_needed() -> None:
    async with bench() as b:
        for width, height in [*SIZES, (10, 5), (80, 24), (59, 16), (60, 16)]:
            await b.resize(width, height)
            await b.press("space")
            small = width < LEAST[0] or height < LEAST[1]
            said = "".join(b.text.split())
            if width * height >= 40:
                assert ("needs60x16" in said) == small, (width, height)
                assert (f"thisis{width}x{height}." in said) == small
            assert ("SWITCHES" in b.text) == (not small)


async def test_a_small_screen_does_nothing_unseen() -> None:
    async with bench(size=(50, 12)) as b:
        await b.press("space", "p", "f", "t")
        assert b.dialogs == 0
        assert not b.session.switch("lamp_switch").operated
        assert b.session.panel.powered
        await b.resize(80, 24)
        await b.press("space")
        assert b.session.switch("lamp_switch").operated


async def test_the_keyboard_is_never_lost() -> None:
    async with bench(size=(140, 45)) as b:
        for pane in ("switches", "ladder", "devices", "chart"):
            await b.to(pane)
            had = b.app.bench.pane()
            for size in ((20, 5), (70, 24), (140, 45)):
                await b.resize(*size)
            assert b.app.bench.focused in b.app.bench.panes()
            assert b.app.bench.pane() == had
        await b.press("y", "y", "y")  # no chart
        assert b.focused == "ladder"
        await b.to("switches")
        await b.press("f3", "shift+tab")
        assert b.focused == "switches"
        await b.resize(80, 24)  # where the text takes the room of the lists
        assert b.focused == "ladder"


MOMENTS: dict[str, tuple[str, ...]] = {
    "menu": ("f",),
    "prompt": ("t",),
    "ticks": ("tab", "tab", "tab", "enter"),
    "help": ("question_mark",),
    "commands": ("c",),
    "text": ("f3", "x"),
    "part-way": ("i", "i"),
    "past": ("o", "O", "space"),
    "tall chart": ("y", "y"),
}


async def leave(b: Bench) -> None:
    """From any of the moments back to the list of switches."""
    await b.press("escape", "escape")
    assert b.dialogs == 0
    if b.app.text_open:
        b.app.close_text()
    await b.press("l")
    await b.to("switches")


async def test_resizing_at_any_moment_is_survived() -> None:
    async with bench() as b:
        for number, (moment, names) in enumerate(MOMENTS.items()):
            await b.press(*names)
            for size in (((1, 1), (60, 16), (300, 100))[number % 3], (80, 24)):
                await b.resize(*size)
                assert b.app.is_running, (moment, size)
            await leave(b)


@settings(max_examples=80)
@given(
    st.integers(60, 300),
    st.integers(16, 100),
    st.booleans(),
    st.integers(0, 3),
    st.integers(0, 300),
)
def test_the_shares_leave_the_rungs_their_room(
    width: int, height: int, text: bool, chart: int, traces: int
) -> None:
    found = shares(width, height, text, chart, traces)
    left = width - found.left - found.right - 2
    if text and width >= SIDE_BY_SIDE:
        assert min(found.text, left - found.text) >= 35
    else:
        assert left >= 39
    # two lines stand above and below, and the text needs its detail
    assert height - found.chart - 3 - text >= 9
    assert found.chart == 0 or found.chart >= 2
    assert found.chart <= traces + 2
    assert found.above == (width < SIDE_BY_SIDE)


@pytest.mark.parametrize("height", [16, 24, 50])
def test_a_wider_screen_takes_nothing_from_the_lists(height: int) -> None:
    for width in range(78, 300):
        one, other = shares(width, height, False, 1, 9), shares(width + 1, height, False, 1, 9)
        assert (one.left, one.right) <= (other.left, other.right)


@pytest.mark.parametrize("size", [(60, 16), (80, 24), (140, 45)])
async def test_nothing_jumps_when_states_change(size: tuple[int, int]) -> None:
    async with bench(size=size) as b:

        def places() -> list[tuple[str, object]]:
            panes = (b.app.bench.switches, b.ladder, b.app.bench.device_list, b.app.bench.chart)
            return [(str(pane.id), pane.region) for pane in panes]

        def names() -> list[list[int]]:
            rows = b.text.split("\n")
            words = ("lamp_switch", "start", "pump", "warm", "flap", "SWITCHES", "RELAYS", "scan ")
            return [[row.find(word) for row in rows[: 9 + size[1] // 3]] for word in words]

        await b.press("r", "o")
        there, columns = places(), names()
        for key in ("space", "o", "b", "o", "down", "down", "h", "n", "n", "o"):
            await b.press(key)
            assert places() == there
        # wires at fault and forces say so in room that is kept for them
        await b.press("o")
        for before, after in zip(columns[4:], names()[4:], strict=True):
            assert before == after


@pytest.mark.parametrize("size", [(60, 16), (80, 24), (140, 45)])
async def test_tab_walks_through_the_panes_and_round(size: tuple[int, int]) -> None:
    async with bench(size=size) as b:
        seen = []
        for _ in range(5):
            seen.append(b.app.bench.pane())
            await b.press("tab")
        expected = ["switches", "rungs", "devices", "chart"]
        if not b.app.bench.shares.chart:
            expected.remove("chart")
        assert seen[: len(expected)] == expected
        assert seen[len(expected)] == "switches"
        back = b.app.bench.pane()
        await b.press("shift+tab", "tab")
        assert b.app.bench.pane() == back


@pytest.mark.parametrize("size", [(60, 16), (80, 24), (140, 45)])
async def test_text_and_ladder_are_both_seen(size: tuple[int, int]) -> None:
    async with bench(size=size) as b:
        await b.press("f3")
        assert b.app.bench.pane() == "text"
        text, ladder = b.app.bench.text.region, b.ladder.region
        assert not text.overlaps(ladder)
        assert min(text.width, ladder.width) >= 38
        assert min(text.height, ladder.height) >= 4
        assert "The lamp follows the switch" in b.text
        await b.press("f3")
        assert not b.app.bench.text.display
        assert b.app.bench.pane() == "rungs"


async def test_the_pane_with_the_keyboard_is_seen() -> None:
    async with bench() as b:
        assert "pick" in b.toned("#switches", "SWITCHES")
        await b.press("tab")
        assert "pick" not in b.toned("#switches", "SWITCHES")


# --- rungs that are long or wide


async def test_the_rungs_can_be_paged_from_every_list() -> None:
    async with bench() as b:
        for pane in ("switches", "ladder", "devices", "chart"):
            await b.to(pane)
            await b.press("pagedown")
            assert b.ladder.scroll_offset.y > 0
            await b.press("pageup")
            assert b.ladder.scroll_offset.y == 0


async def test_a_rung_wider_than_the_pane_is_reached_by_keys() -> None:
    deep = "a"
    for _ in range(12):
        deep = f"b and (a or {deep})"
    text = f"input a at I1\ninput b at I2\noutput far_coil at R1\nrung {deep} -> far_coil"
    async with bench(text) as b:
        await b.press("r")
        before = b.text
        await b.press(*["greater_than_sign"] * 30)
        assert b.text != before
        assert b.ladder.scroll_offset.x == b.ladder.max_scroll_x > 0
        await b.press(*["less_than_sign"] * 30)
        assert b.ladder.scroll_offset.x == 0
        await b.to("ladder")
        await b.press(*["right"] * 25)
        assert b.app.chosen_in_ladder == "far_coil"
        assert "far_coil" in b.text.replace("R1 far_coil", "")


async def test_the_rest_of_the_devices_is_reached_by_keys() -> None:
    relays = "\n".join(f"output relay_{n} at R{n}\nrung a -> relay_{n}" for n in range(50))
    async with bench(f"input a at I1\n{relays}") as b:
        await b.to("devices")
        await b.press("up")
        assert b.app.viewing.chosen_device == "relay_49"
        region = b.app.bench.devices.region
        shown = [row[region.x :] for row in b.text.split("\n")]
        assert any("relay_49" in row for row in shown)
        await b.press("enter")
        assert b.app.rung_index == 49


async def test_a_click_on_a_device_chooses_it() -> None:
    async with bench() as b:
        await b.click_on("#devices", "flap")
        assert b.app.bench.pane() == "devices"
        assert b.app.subject == "flap"


# --- colours and signs


async def test_no_color_runs_and_states_can_be_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with bench() as b:
        assert b.app.no_color
        dead = b.text
        await b.press("space", "n")
        live = b.text
        assert "━( )━" in live.split("\n")[2]
        assert "━( )━" not in dead.split("\n")[2]
        for moment in ("menu", "prompt", "ticks", "help", "commands", "text"):
            await b.press(*MOMENTS[moment])
            assert b.text.strip()
            await leave(b)


PLAIN_MOMENTS: dict[str, tuple[str, ...]] = {
    **MOMENTS,
    "forces": ("f", "n", "o", "tab"),
    "why": ("w",),
    "finding": ("f3", "x", "f8"),
    "ladder menu": ("tab", "enter"),
    "ladder question": ("tab", "enter", "s"),
    "wrong answer": ("t", "enter"),
    "file": ("x",),
}


@pytest.mark.parametrize("size", [(80, 24)])
async def test_plain_signs_are_ascii(size: tuple[int, int]) -> None:
    async with bench(SHED, size, ascii_only=True) as b:
        await b.press("space", "down", "b", "n")
        for moment, names in PLAIN_MOMENTS.items():
            await b.press(*names)
            assert {c for c in b.text if not c.isascii()} == set(), moment
            await leave(b)


async def test_themes_and_tones_differ_as_they_mean() -> None:
    async with bench() as b:
        pane = b.app.bench.switches
        grounds = []
        for theme in THEMES:
            b.app.theme = theme.name
            await b.look()
            tones = ("plain", "quiet", "live", "wrong", "stop", "forced", "title", "title pick")
            styles = {tone: pane.tone_style(tone) for tone in tones}
            assert len({str(style) for style in styles.values()}) == len(tones)
            ground = styles["plain"].bgcolor
            assert ground is not None
            grounds.append(sum(ground.get_truecolor()))
            # without its colour a state still has its weight
            heavy = {tone for tone, style in styles.items() if style.bold}
            assert heavy == set(tones) - {"plain", "quiet"}
            assert styles["forced"].reverse
            assert styles["title pick"].bgcolor != ground
            assert pane.tone_style("live glow").underline
        assert grounds[0] < 200 < 600 < grounds[1]


def contrast(one: ColorTriplet, other: ColorTriplet) -> float:
    """The contrast ratio of two colours. FROM MEMORY of WCAG 2: relative luminance, (a + .05) /
    (b + .05)."""

    def luminance(colour: ColorTriplet) -> float:
        parts = [c / 255 for c in colour]
        r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


async def test_every_tone_can_be_read_on_its_ground() -> None:
    async with bench() as b:
        pane = b.app.bench.switches
        for theme in THEMES:
            b.app.theme = theme.name
            await b.look()
            for tone in ("plain", "quiet", "live", "wrong", "stop", "forced", "title"):
                for more in ("", " pick"):
                    style = pane.tone_style(tone + more)
                    assert style.color is not None
                    assert style.bgcolor is not None
                    ink, ground = style.color.get_truecolor(), style.bgcolor.get_truecolor()
                    assert contrast(ink, ground) >= 4.5, (theme.name, tone, more)


# --- screens that are kept

Act = Callable[[Bench], Awaitable[None]]


def keys(*names: str) -> Act:
    async def act(b: Bench) -> None:
        await b.press(*names)

    return act


async def the_past(b: Bench) -> None:
    await b.press("space")
    await b.wait(1_500)
    await b.press("t")
    await b.fill_in("500ms")


KEPT: dict[str, tuple[tuple[int, int], bool, Act]] = {
    "usual": ((80, 24), False, keys()),
    "wide": ((140, 45), False, keys()),
    "least": ((60, 16), False, keys()),
    "ascii": ((80, 24), True, keys()),
    "past": ((80, 24), False, the_past),
    "one_rung": ((80, 24), False, keys("r", "down", "space", "i", "i")),
    "forces": ((80, 24), False, keys("tab", "tab", "f", "n", "o")),
    "chart": ((100, 30), False, keys("tab", "tab", "tab", "plus", "left", "left")),
    "text": ((80, 24), False, keys("f3")),
    "text_wide": ((140, 45), False, keys("f3")),
    "force_menu": ((80, 24), False, keys("tab", "tab", "f")),
    "help": ((80, 24), False, keys("question_mark")),
}


@pytest.mark.parametrize("name", KEPT)
async def test_the_screen_is_as_it_was_kept(name: str) -> None:
    size, ascii_only, act = KEPT[name]
    async with bench(SHED, size, ascii_only) as b:
        await b.press("down", "down", "space")
        await b.wait(1_500)
        await act(b)
        shown = b.text.rstrip("\n") + "\n"
        kept = SCREENS / f"{name}.txt"
        if os.environ.get("KEEP_SCREENS"):
            kept.write_text(shown, encoding="utf-8")
        assert shown == kept.read_text(encoding="utf-8")


def test_every_kept_screen_is_looked_at() -> None:
    assert {path.stem for path in SCREENS.iterdir()} == set(KEPT)
