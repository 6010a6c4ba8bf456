"""The table of keys: what can be done stands in it once, and all words come from it."""

from __future__ import annotations

import string
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from textual.binding import Binding

from rungs.bench.app import BenchApp
from rungs.bench.dialogs import Find
from rungs.bench.help_text import SIMULATION, help_lines
from rungs.bench.keymap import keymap_file, read_keymap
from rungs.bench.keys import (
    KEYS,
    NOT_COMMANDS,
    PANES,
    Key,
    Pane,
    by_id,
    clashes,
    footer,
    remapped,
    words,
    works_in,
)
from rungs.bench.pages.words import ASCII_SIGNS, SIGNS
from rungs.bench.widgets.ladder import Ladder
from rungs.bench.widgets.pane import Chart, Devices, Switches
from rungs.bench.widgets.text import _OWN
from tests.bench.harness import bench, plain

WIDGETS: dict[Pane, type] = {
    "switches": Switches,
    "rungs": Ladder,
    "devices": Devices,
    "chart": Chart,
}


def names_of(key: Key) -> list[str]:
    return key.keys.split(",")


def as_words(lines: object) -> str:
    return " ".join(str(lines).split())


# --- the table


def test_every_id_is_there_once_and_no_key_does_two_things() -> None:
    assert [i for i, n in Counter(key.id for key in KEYS).items() if n > 1] == []
    assert clashes(KEYS) == ()
    assert by_id("bench.quit").text == "quit"


def test_a_clash_is_found() -> None:
    again = replace(by_id("time.scan"), keys="r")
    keys = tuple(again if key.id == "time.scan" else key for key in KEYS)
    assert clashes(keys) == (("r", "time.run", "time.scan"),)
    inside = replace(by_id("switch.hold"), keys="f3")  # f3 works everywhere
    keys = tuple(inside if key.id == "switch.hold" else key for key in KEYS)
    assert [key for key, _, _ in clashes(keys)] == ["f3"]


# common practice, no source: chords that arrive as another key, prefixes of multiplexers, flow
# and job control, and what terminals and desktops take
SWALLOWED = {
    *(f"ctrl+{c}" for c in "abdhijmopvw"),
    "ctrl+left_square_bracket",
    "ctrl+space",
    "ctrl+at",
    "ctrl+slash",
    "ctrl+underscore",
    "shift+pageup",
    "shift+pagedown",
    "ctrl+up",
    "ctrl+down",
    "ctrl+left",
    "ctrl+right",
    "ctrl+tab",
    "f10",
    "f11",
    "f12",
}
SECOND = {"ctrl+s", "ctrl+q"}  # flow control on some terminals: only beside another key
TEXT_ONLY = {"ctrl+z", "ctrl+y", "f6", "f7"}  # what the editor has its own use for


def test_no_key_is_one_that_terminals_take() -> None:
    for key in KEYS:
        names = names_of(key)
        assert not SWALLOWED & set(names), key.id
        assert not any("alt+" in name for name in names), key.id
        assert names[0] not in SECOND, key.id
        assert key.where == "text" or not TEXT_ONLY & set(names), key.id


def test_a_function_key_is_never_the_only_way() -> None:
    for key in KEYS:
        if all(name[0] == "f" and name[1:].isdigit() for name in names_of(key)):
            # the text takes every letter; elsewhere there is the list of commands
            assert key.where == "text" or key.id not in NOT_COMMANDS, key.id


def test_a_capital_walks_back() -> None:
    by_key = {name: key.id for key in KEYS for name in names_of(key) if key.where == "panel"}
    for letter in "oine":
        assert by_key[letter.upper()] == f"{by_key[letter]}_back"


def test_a_letter_stands_for_a_letter_of_its_words() -> None:
    odd = {
        key.shown
        for key in KEYS
        if key.shown in string.ascii_letters
        and not key.id.endswith("_back")
        and key.shown.lower() not in f"{key.text} {key.tooltip}".lower()
    }
    # undo and redo, the chart's size, and scenarios have none left
    assert odd == {"z", "Z", "y", "v", "V"}


# --- what comes from the table


def bound(widget: type) -> list[tuple[object, ...]]:
    own = [b for b in vars(widget)["BINDINGS"] if isinstance(b, Binding) and b.id]
    return [(b.id, b.key, b.action, b.description, b.tooltip) for b in own]


@pytest.mark.parametrize("pane", WIDGETS)
def test_the_bindings_of_a_pane_are_its_part_of_the_table(pane: Pane) -> None:
    assert bound(WIDGETS[pane]) == [
        (k.id, k.keys, f"app.do('{k.id}')", k.text, k.tooltip) for k in KEYS if k.where == pane
    ]


def test_the_bindings_of_the_app_are_the_rest_of_it() -> None:
    assert bound(BenchApp) == [
        (k.id, k.keys, f"do('{k.id}')", k.text, k.tooltip)
        for k in KEYS
        if k.where in ("panel", "always")
    ]


async def test_every_id_has_a_command_and_every_command_a_key() -> None:
    async with bench() as b:
        assert set(b.app.table) == {key.id for key in KEYS}


async def test_in_the_text_the_keys_of_the_table_live_beside_those_of_the_editor() -> None:
    async with bench(size=(140, 45)) as b:
        await b.press("f3")
        assert b.app.active_bindings == {}  # nothing overtakes what is typed
        table = {
            name: f"app.do_in_text('{key.id}')"
            for key in KEYS
            if works_in(key, "text")
            for name in names_of(key)
        }
        assert b.app.bench.text.actions == {**dict(_OWN), **table}
        assert not set(table) & set(dict(_OWN))


@pytest.mark.parametrize("pane", WIDGETS)
async def test_in_a_pane_the_keys_of_the_table_live_and_no_others(pane: Pane) -> None:
    async with bench(size=(140, 45)) as b:
        await b.to("ladder" if pane == "rungs" else pane)
        live = {key: one.binding.action for key, one in b.app.active_bindings.items()}
        table = {
            name: f"{'app.' if key.where == pane else ''}do('{key.id}')"
            for key in sorted(KEYS, key=lambda key: key.where == pane)  # its own come last, and win
            for name in names_of(key)
            if works_in(key, pane)
        }
        assert live == table


async def test_letters_do_nothing_but_write_in_the_text() -> None:
    async with bench() as b:
        await b.press("f3")
        letters = string.ascii_letters + "?+-<>"
        await b.type(letters)
        assert letters in b.app.bench.text.text
        assert b.dialogs == 0
        assert b.app.is_running
        assert b.session.running


@pytest.mark.parametrize("pane", PANES)
async def test_the_footer_and_the_help_come_from_the_table(pane: Pane) -> None:
    async with bench(size=(200, 50)) as b:
        if pane == "text":
            await b.press("f3")
        else:
            await b.to("ladder" if pane == "rungs" else pane)
        for key in footer(198, pane):
            assert words(key) in b.lines("#bottom")
        await b.press("f1")
        assert b.dialogs == 1
        text = as_words(b.lines("#page"))
        for key in KEYS:
            assert as_words(f"{key.text}: {key.tooltip}") in text
        assert as_words(SIMULATION) in text
        await b.press("escape")
        assert b.dialogs == 0


@pytest.mark.parametrize("pane", PANES)
@pytest.mark.parametrize("signs", [SIGNS, ASCII_SIGNS])
@pytest.mark.parametrize("width", [56, 76, 100])
def test_the_help_fits_and_begins_with_the_pane(pane: Pane, signs: object, width: int) -> None:
    assert signs in (SIGNS, ASCII_SIGNS)
    lines = [
        plain(line) for line in help_lines(width, SIGNS if signs is SIGNS else ASCII_SIGNS, pane)
    ]
    assert max(map(len, lines)) <= width
    headings = [line for line in lines if line.startswith("KEYS ")]
    expected = {
        "switches": "SWITCHES",
        "rungs": "LADDER",
        "devices": "RELAYS",
        "chart": "CHART",
        "text": "TEXT",
    }
    assert expected[pane] in headings[0]
    assert len(headings) == len({key.where for key in KEYS})


async def test_the_commands_are_the_table() -> None:
    async with bench() as b:
        await b.press("c")
        assert isinstance(b.app.screen, Find)
        shown = {(key_id, name) for key_id, name, _ in b.app.screen.found()}
        assert shown == {(k.id, f"{k.text} ({k.shown})") for k in KEYS if k.id not in NOT_COMMANDS}


async def test_a_list_of_commands_gets_shorter_with_every_word() -> None:
    async with bench() as b:
        await b.press("c")
        await b.type("WIRE sh")
        assert isinstance(b.app.screen, Find)
        assert [key_id for key_id, _, _ in b.app.screen.found()] == ["wire.short"]
        await b.type("zz")
        await b.press("enter")
        assert b.dialogs == 1
        assert "nothing has these words" in b.text


async def test_a_command_does_what_its_key_does() -> None:
    async with bench() as b:
        await b.press("c")
        assert b.dialogs == 1
        await b.type("break wire")
        await b.press("enter")
        assert b.dialogs == 0
        assert b.session.switch("lamp_switch").fault == "broken"


async def test_the_command_list_opens_from_everywhere_and_closes() -> None:
    async with bench(size=(140, 45)) as b:
        for pane in ("switches", "ladder", "devices", "chart"):
            await b.to(pane)
            await b.press("c")
            assert b.dialogs == 1
            await b.press("escape")
            assert b.dialogs == 0
        await b.press("f3", "f9")
        assert b.dialogs == 1


async def test_q_leaves() -> None:
    async with bench() as b:
        await b.pilot.press("q")
        await b.pilot.pause()
        assert b.app.return_code == 0
        assert not b.app.is_running


# --- other keys


def keymap(tmp_path: Path, text: str) -> tuple[tuple[Key, ...], tuple[str, ...]]:
    path = tmp_path / "keys.toml"
    path.write_text(text, encoding="utf-8")
    return read_keymap(path)


def test_no_file_changes_nothing(tmp_path: Path) -> None:
    assert read_keymap(tmp_path / "none.toml") == (KEYS, ())


def test_the_file_can_be_elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNGS_KEYS", "/elsewhere/k.toml")
    assert keymap_file() == Path("/elsewhere/k.toml")
    monkeypatch.delenv("RUNGS_KEYS")
    assert keymap_file().name == "keys.toml"


async def test_a_key_of_ones_own_works_and_is_shown(tmp_path: Path) -> None:
    keys, wrong = keymap(tmp_path, '[keys]\n"time.run" = "j"\n"switch.operate" = "k,enter"\n')
    # k keeps scenarios everywhere, yet the list of switches has it first
    assert wrong == ()
    async with bench(keys=keys) as b:
        assert "j run/pause" in b.lines("#bottom")
        assert "k operate" in b.lines("#bottom")
        await b.press("j")
        assert not b.session.running
        await b.press("r", "f5")
        assert not b.session.running
        await b.press("k")
        assert b.session.switch("lamp_switch").operated
        await b.press("space")
        assert b.session.switch("lamp_switch").operated
        await b.press("question_mark")
        assert "j                 run/pause" in b.lines("#page")
        await b.press("escape")
        await b.press("c")
        assert isinstance(b.app.screen, Find)
        assert "run/pause (j)" in {name for _, name, _ in b.app.screen.found()}


def test_a_wrong_line_costs_itself_alone(tmp_path: Path) -> None:
    keys, wrong = keymap(
        tmp_path,
        '[keys]\n"time.rum" = "j"\n"time.scan" = 7\n"time.run" = "o"\n'
        '"bench.quit" = "Q"\n"ask.why" = "a b"\n',
    )
    assert keys == remapped({"bench.quit": "Q"})
    assert len(wrong) == 4
    told = "\n".join(wrong)
    assert "did you mean 'time.run'?" in told
    assert "'time.scan' is given keys as text" in told
    assert "'o' would be both 'time.run' and 'time.scan'" in told
    assert "'ask.why': there is no key called 'a b'" in told


def test_two_keys_can_change_places(tmp_path: Path) -> None:
    for lines in ('"time.run" = "o"\n"time.scan" = "r"', '"time.scan" = "r"\n"time.run" = "o"'):
        keys, wrong = keymap(tmp_path, f"[keys]\n{lines}\n")
        assert wrong == ()
        assert (by_id("time.run", keys).keys, by_id("time.scan", keys).keys) == ("o", "r")


@pytest.mark.parametrize("text", ["[keys", "keys = 3\n", '[keys]\n"time.run" = ["r"]\n'])
def test_a_file_that_is_no_keymap_is_told(tmp_path: Path, text: str) -> None:
    keys, wrong = keymap(tmp_path, text)
    assert keys == KEYS
    assert len(wrong) == 1
    assert "keys.toml" in wrong[0]


def test_a_folder_or_bytes_that_are_no_text_are_told(tmp_path: Path) -> None:
    assert read_keymap(tmp_path)[0] == KEYS
    assert read_keymap(tmp_path)[1]
    path = tmp_path / "keys.toml"
    path.write_bytes(b'[keys]\n"time.run" = "\xff"\n')
    assert read_keymap(path)[0] == KEYS
    assert "was not read" in read_keymap(path)[1][0]


IDS = st.sampled_from([key.id for key in KEYS])
LINES = st.one_of(
    st.tuples(IDS, st.text(max_size=8)),
    st.tuples(IDS, st.sampled_from(["r", "j", "f5,j", "up", "r,r", ",", "f3", "tab"])),
    st.tuples(st.text(max_size=8), st.text(max_size=8)),
).map(lambda pair: f"{_quoted(pair[0])} = {_quoted(pair[1])}")
ANY = st.one_of(
    st.text(max_size=60),
    st.lists(LINES, max_size=6).map(lambda lines: "[keys]\n" + "\n".join(lines)),
)


def _quoted(text: str) -> str:
    inside = "".join(
        c if (c.isalnum() and c.isascii()) or c in ".,_+ " else f"\\U{ord(c):08X}" for c in text
    )
    return f'"{inside}"'


@settings(max_examples=80)
@given(ANY)
def test_any_text_gives_a_table_and_words(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    path = tmp_path_factory.mktemp("keys") / "keys.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    keys, wrong = read_keymap(path)
    assert [key.id for key in keys] == [key.id for key in KEYS]
    assert clashes(keys) == ()
    assert all(name for key in keys for name in names_of(key))
    assert all(line.isprintable() for line in wrong)


@pytest.mark.parametrize(
    "name", ["contrl+x", "F5", "fifty", "++", "ctrl+", "", " ", "QUESTION_MARK"]
)
def test_a_key_that_does_not_exist_is_told(tmp_path: Path, name: str) -> None:
    keys, wrong = keymap(tmp_path, f'[keys]\n"time.run" = "j,{name}"\n')
    assert keys == KEYS
    assert wrong[0].endswith(f"'time.run': there is no key called '{name}'")


@pytest.mark.parametrize(
    ("name", "pressed"),
    [("+", "plus"), ("ä", "ä"), ("ctrl+g", "ctrl+g"), ("full_stop", "full_stop"), ("f4", "f4")],
)
async def test_keys_go_by_their_names_or_characters(
    tmp_path: Path, name: str, pressed: str
) -> None:
    free = '"text.take" = "j"\n'
    keys, wrong = keymap(tmp_path, f'[keys]\n{free}"time.scan" = "{name}"\n')
    assert wrong == ()
    async with bench(keys=keys) as b:
        await b.press(pressed)
        assert b.session.panel.scan_number == 1
