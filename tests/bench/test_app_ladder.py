"""Changing the ladder: every entry of its menu, and what wrong answers bring."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual import _wait

from rungs.bench import app
from rungs.bench.dialogs import Menu, Prompt
from rungs.program.nodes import leaves
from rungs.program.words import circuit_text
from tests.bench.harness import Bench, bench
from tests.helpers import program_of

SMALL = """
input  a at I1
input  b at I2
input  c at I3
output one at R1
output two at R2
relay  held retained
timer  slow accumulating 5s
counter many to 3
rung "First" a and b -> one
# of the second
rung a or c -> two, slow
rung b -> latch held
rung c -> unlatch held
rung rising c -> many
rung b -> reset slow
"""
FORBIDDEN = ("lamp)", "a -> two", "nobody", "", "a b", 'a "x"', "a # x", "a >= 3")


@pytest.fixture(autouse=True)
def own_state(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    # the tests call for frames themselves, and their screens come to rest quickly
    monkeypatch.setattr(app, "FRAMES", 0.01)
    monkeypatch.setattr(_wait, "SLEEP_GRANULARITY", 0.005)
    monkeypatch.setattr(_wait, "SLEEP_IDLE", 0.0025)


async def menu_at(b: Bench, rung: int, element: int) -> None:
    """Open the menu at a contact or coil."""
    await b.to("ladder")
    b.app.choose_element(rung - 1, element)
    await b.press("enter")
    assert isinstance(b.app.screen, Menu)


def rungs_of(b: Bench) -> list[str]:
    """The rungs of the text as they are written in one line, without labels."""
    assert b.app.work.program is not None
    return [
        f"{circuit_text(rung.circuit)} -> "
        + ", ".join(f"{'' if x.verb == 'coil' else x.verb + ' '}{x.name}" for x in rung.actions)
        for rung in b.app.work.program.rungs
    ]


async def changed(b: Bench, before: str) -> None:
    """The change was made as one step, is told, and is shown by text and ladder alike."""
    assert b.dialogs == 0
    assert b.app.work.text != before
    assert b.app.bench.text.text == b.app.work.text
    assert b.app.shown_program == program_of(b.app.work.text)
    assert "; z takes it back, F4 takes it into the panel" in b.says
    after = b.app.work.text
    await b.press("z")
    assert b.app.work.text == before
    await b.press("Z")
    assert b.app.work.text == after


@pytest.mark.parametrize(
    ("letter", "typed", "outcome"),
    [
        ("s", "not c", "a and not c and b -> one"),
        ("b", "rising c", "rising c and a and b -> one"),
        ("p", "c", "a or c and b -> one"),
        ("q", "many >= 2", "a and b or many >= 2 -> one"),
        ("o", "c", "c and b -> one"),
        ("c", None, "not a and b -> one"),
        ("d", None, "b -> one"),
    ],
)
async def test_a_contact_is_changed_as_the_menu_says(
    letter: str, typed: str | None, outcome: str
) -> None:
    async with bench(SMALL) as b:
        before = b.app.work.text
        await menu_at(b, 1, 0)
        assert "rung 1, a" in b.lines("#head")
        await b.press(letter)
        if typed is not None:
            assert isinstance(b.app.screen, Prompt)
            await b.fill_in(typed)
        rungs = rungs_of(b)
        assert rungs[0].replace("(", "").replace(")", "") == outcome
        assert rungs[1:] == [
            "a or c -> two, slow",
            "b -> latch held",
            "c -> unlatch held",
            "rising c -> many",
            "b -> reset slow",
        ]
        await changed(b, before)
        assert "# of the second\n" in b.app.work.text


@pytest.mark.parametrize(
    ("rung", "element", "keys", "typed", "outcome"),
    [
        (3, 1, "vu", None, "b -> unlatch held"),
        (3, 1, "vi", None, "b -> impulse held"),
        (5, 1, "vd", None, "rising c -> down many"),
        (6, 1, "o", "many", "b -> reset many"),
        (2, 3, "d", None, "a or c -> two"),
        (4, 1, "al", "held", "c -> unlatch held, latch held"),
        (4, 1, "ar", "many", "c -> unlatch held, reset many"),
        (4, 0, "ai", "held", "c -> unlatch held, impulse held"),
    ],
)
async def test_a_coil_is_changed_as_the_menu_says(
    rung: int, element: int, keys: str, typed: str | None, outcome: str
) -> None:
    async with bench(SMALL) as b:
        before, others = b.app.work.text, rungs_of(b)
        await menu_at(b, rung, element)
        await b.press(*keys)
        if typed is not None:
            assert isinstance(b.app.screen, Prompt)
            await b.fill_in(typed)
        assert b.app.work.text != before, b.says
        rungs = rungs_of(b)
        assert rungs[rung - 1] == outcome
        others[rung - 1] = outcome
        assert rungs == others
        await changed(b, before)


async def test_what_the_language_forbids_is_refused_in_words() -> None:
    async with bench(SMALL) as b:
        before = b.app.work.text
        await menu_at(b, 3, 1)
        await b.press("v", "c")
        assert b.dialogs == 0
        assert b.app.work.text == before
        assert "held" in b.says
        assert "; " in b.says
        await menu_at(b, 3, 0)
        await b.press("d")
        assert "the only contact" in b.says
        assert b.app.work.text == before


async def test_the_label_of_a_rung_is_written_changed_and_taken_away() -> None:
    async with bench(SMALL) as b:
        for rung, label in ((1, "New words"), (2, "Now it has one"), (1, "")):
            await menu_at(b, rung, 0)
            await b.press("l")
            await b.fill_in(label)
            assert b.app.work.program is not None
            assert b.app.work.program.rungs[rung - 1].label == label
        assert "New words" not in b.app.work.text
        await menu_at(b, 1, 0)
        await b.press("l")
        await b.fill_in('a "quote"')
        assert isinstance(b.app.screen, Prompt)
        assert "quotes" in b.lines("#wrong")


async def test_a_rung_is_moved_and_stays_chosen() -> None:
    async with bench(SMALL) as b:
        first = rungs_of(b)
        await menu_at(b, 1, 0)
        await b.press("m")
        assert rungs_of(b) == [first[1], first[0], *first[2:]]
        assert b.app.rung_index == 1
        await b.press("enter", "u")
        assert rungs_of(b) == first
        assert b.app.rung_index == 0
        before = b.app.work.text
        await b.press("enter", "u")
        assert "is the first one" in b.says
        await b.press("end", "enter", "m")
        assert "is the last one" in b.says
        assert b.app.work.text == before


async def test_a_rung_is_written_below_and_chosen() -> None:
    async with bench(SMALL) as b:
        before = b.app.work.text
        await menu_at(b, 4, 0)
        await b.press("n")
        assert "such as: start and not stop -> lamp" in b.lines("#wrong")
        await b.fill_in("a and b")
        assert "an arrow" in b.lines("#wrong")
        await b.fill_in("a and b -> latch held, reset many")
        assert rungs_of(b)[4] == "a and b -> latch held, reset many"
        assert b.app.rung_index == 4
        await changed(b, before)


async def test_a_rung_is_deleted_with_its_comment() -> None:
    async with bench(SMALL) as b:
        before = b.app.work.text
        await menu_at(b, 6, 1)
        await b.press("x")
        assert len(rungs_of(b)) == 5
        assert b.app.rung_index == 4
        await changed(b, before)


@pytest.mark.parametrize(
    ("letter", "word"),
    [
        ("r", "relay"),
        ("o", "output"),
        ("i", "input"),
        ("t", "timer"),
        ("c", "counter"),
        ("k", "clock"),
    ],
)
async def test_a_device_is_declared(letter: str, word: str) -> None:
    async with bench(SMALL) as b:
        before = b.app.work.text
        await menu_at(b, 1, 0)
        await b.press("w", letter)
        assert f"The name of the {word}" in b.lines("#head")
        await b.fill_in("one")
        assert "one" in b.lines("#wrong")
        await b.fill_in("fresh")
        assert any(line.split()[:2] == [word, "fresh"] for line in b.app.work.text.splitlines()), (
            b.app.work.text
        )
        await changed(b, before)


async def test_the_first_rung_of_a_file_is_written_in_the_ladder() -> None:
    async with bench("input a at I1\noutput o at R1\n") as b:
        await b.to("ladder")
        await b.press("enter")
        assert "no rung yet" in b.lines("#head")
        await b.press("n")
        await b.fill_in("a -> o")
        assert rungs_of(b) == ["a -> o"]


@pytest.mark.parametrize("typed", FORBIDDEN)
async def test_a_wrong_contact_keeps_the_question_open_and_says_why(typed: str) -> None:
    async with bench(SMALL) as b:
        before = b.app.work.text
        await menu_at(b, 1, 0)
        await b.press("s")
        assert "not lamp, rising start" in b.lines("#wrong")
        await b.fill_in(typed)
        assert isinstance(b.app.screen, Prompt)
        assert ";" in b.lines("#wrong")
        assert b.app.work.text == before
        await b.fill_in("c")
        assert rungs_of(b)[0] == "a and c and b -> one"


async def test_escape_leaves_everything_as_it_was() -> None:
    async with bench(SMALL) as b:
        before = b.app.work.text
        for keys in ("", "s", "o", "a", "ac", "l", "n", "w", "wr"):
            await menu_at(b, 1, 0)
            await b.press(*keys)
            await b.press("escape")
            assert b.dialogs == 0
        assert b.app.work.text == before
        assert not b.app.work.document.can_undo


async def test_a_change_that_changes_nothing_is_no_step_of_undo() -> None:
    async with bench(SMALL) as b:
        await menu_at(b, 1, 0)
        await b.press("o")
        await b.fill_in("a")
        assert b.says == "it stands like that already: nothing is changed"
        assert not b.app.work.document.can_undo


async def test_the_choice_stays_inside_a_rung_that_undo_made_shorter() -> None:
    async with bench(SMALL) as b:
        await menu_at(b, 1, 0)
        await b.press("s")
        await b.fill_in("c")
        await b.press("right", "right", "right")
        assert b.app.chosen_in_ladder == "one"
        await b.press("z", "right", "right", "enter")
        assert isinstance(b.app.screen, Menu)
        await b.press("escape")
        b.app.element = 99
        await b.press("enter")
        assert "rung 2, slow" in b.lines("#head")


async def test_the_choice_stays_inside_a_ladder_that_was_typed_away() -> None:
    async with bench(SMALL) as b:
        await b.to("ladder")
        await b.press("end")
        pane = b.app.bench.text
        await b.press("f3")
        at = b.app.work.text.index("rung rising c")
        pane.selection = type(pane.selection)(pane.location_of(at), pane.document.end)
        await b.press("delete")
        pane.move_cursor((1, 0))
        # the check is not due yet
        await b.press("escape", "enter")
        assert isinstance(b.app.screen, Menu)
        assert "rung 4, c" in b.lines("#head")
        await b.press("escape", "right")
        assert b.app.chosen_in_ladder == "held"


async def test_a_text_with_errors_is_mended_before_the_ladder_is_changed() -> None:
    async with bench(SMALL) as b:
        pane = b.app.bench.text
        await b.press("f3")
        pane.move_cursor(pane.location_of(b.app.work.text.index("-> one") + 6))
        await b.type("x")
        # also while the check is not due yet
        await b.press("escape", "enter")
        assert b.dialogs == 0
        assert "the text has errors" in b.says


async def test_arrows_walk_through_contacts_and_coils_of_all_rungs() -> None:
    async with bench(SMALL) as b:
        await b.to("ladder")
        seen = []
        for _ in range(8):
            seen.append(b.app.chosen_in_ladder)
            await b.press("right")
        assert seen == ["a", "b", "one", "a", "c", "two", "slow", "b"]
        await b.press("left", "left")
        assert b.app.chosen_in_ladder == "slow"
        await b.press("home", "left")
        assert (b.app.rung_index, b.app.element) == (0, 0)
        await b.press("down")
        assert (b.app.rung_index, b.app.element) == (1, 0)
        await b.press("end", "down")
        last = b.app.shown_program.rungs[-1]
        assert b.app.rung_index == last.number - 1
        assert len(leaves(last.circuit)) == 1


async def test_every_entry_of_the_menu_fits_the_smallest_screen() -> None:
    async with bench(SMALL, size=(60, 16)) as b:
        await menu_at(b, 1, 0)
        shown = []
        for choice in b.app.screen.choices:  # type: ignore[attr-defined]
            assert choice.text in b.text, choice.text
            shown.append(choice.letter)
            await b.press("down")
        assert len(set(shown)) == len(shown)
