"""Hands on the panel, and what the screen then shows of current, times and devices."""

from __future__ import annotations

import pytest
from textual.widgets import Input

from rungs.bench.session.run import FORCE_MS
from tests.bench.harness import Bench, bench

# --- switches and buttons


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


async def test_a_held_button_is_let_go_by_the_key_that_taps() -> None:
    async with bench() as b:
        await b.press("down", "down", "h")
        await b.wait(100)
        await b.press("space")
        assert not b.session.switch("start").operated


async def test_arrows_walk_round_the_switches() -> None:
    async with bench() as b:
        seen = []
        for key in ("down", "down", "down", "up", "up"):
            await b.press(key)
            seen.append(b.app.chosen_switch)
        assert seen == ["stop", "start", "lamp_switch", "start", "stop"]
        assert "▸stop" in b.lines("#switches")


async def test_wires_are_broken_shorted_and_mended() -> None:
    async with bench() as b:
        for key, fault in (("b", "broken"), ("s", "shorted"), ("m", "sound")):
            await b.press(key)
            assert b.session.switch("lamp_switch").fault == fault
            assert ("1 wire" in b.lines("#switches")) == (fault != "sound")
            assert (f"wire {fault}" in b.lines("#detail")) == (fault != "sound")


async def test_power_and_start_again() -> None:
    async with bench() as b:
        await b.press("space")
        await b.wait(100)
        await b.press("p")
        assert "no power" in b.lines("#top")
        assert "all that is not retained has dropped" in b.says
        await b.press("n")
        assert "has no power: p switches it on" in b.says
        await b.press("space")
        assert "has no power: p switches it on" in b.says
        await b.press("p")
        assert "the next scan is the first" in b.says
        await b.press("a")
        assert b.session.panel.now == 0
        assert not b.session.switch("lamp_switch").operated


async def test_a_panel_without_switches_says_so() -> None:
    async with bench("output o at R1\nrung not o -> o") as b:
        for key in ("space", "h", "down", "b", "s", "m"):
            await b.press("tab", "shift+tab", key)
            assert "no switches" in b.says, key


async def test_the_chosen_switch_is_kept_in_view() -> None:
    inputs = "\n".join(f"input switch_{n} at I{n}" for n in range(60))
    async with bench(f"{inputs}\noutput o at R1\nrung switch_0 -> o") as b:
        await b.press("up")
        assert "▸switch_59" in b.text
        await b.press("up")
        assert "▸switch_58" in b.text
        await b.press("down", "down", "down")
        assert "▸switch_1 " in b.text


async def test_a_click_operates_a_switch() -> None:
    async with bench() as b:
        await b.click_on("#switches", "lamp_switch")
        assert b.session.switch("lamp_switch").operated
        await b.click_on("#switches", "stop")
        assert b.app.chosen_switch == "stop"
        assert b.session.switch("stop").operated


async def test_a_click_in_a_list_that_is_scrolled_meets_what_stands_there() -> None:
    inputs = "\n".join(f"input switch_{n} at I{n}" for n in range(60))
    async with bench(f"{inputs}\noutput o at R1\nrung switch_0 -> o") as b:
        await b.press("up")
        await b.click_on("#switches", "switch_50")
        assert [v.name for v in b.session.switches() if v.operated] == ["switch_50"]


async def test_a_click_on_a_word_of_the_footer_does_it() -> None:
    async with bench() as b:
        await b.click_on("#bottom", "run/pause")
        assert not b.session.running


async def test_a_switch_says_what_follows_when_nothing_can() -> None:
    async with bench() as b:
        await b.press("r", "space")
        assert "time stands still: r lets it run, o makes one scan" in b.says


# --- in the ladder


async def test_space_operates_the_switch_of_the_chosen_contact() -> None:
    async with bench() as b:
        await b.to("ladder")
        await b.press("space")
        assert b.session.switch("lamp_switch").operated
        await b.press("right", "space")
        assert "lamp is no switch: hands cannot move it; f forces it" in b.says
        await b.press("right")
        assert b.app.chosen_in_ladder == "start"
        await b.press("space")
        assert b.session.switch("start").operated


async def test_a_second_click_on_a_contact_operates_its_switch() -> None:
    async with bench() as b:
        await b.click_on("#ladder", "start")
        assert b.app.chosen_in_ladder == "start"
        assert not b.session.switch("start").operated
        await b.click_on("#ladder", "start")
        assert b.session.switch("start").operated
        assert b.dialogs == 0


async def test_a_second_click_on_a_coil_says_that_no_hand_moves_it() -> None:
    async with bench() as b:
        await b.click_on("#ladder", "lamp ┃")
        await b.click_on("#ladder", "lamp ┃")
        assert "lamp is no switch" in b.says


async def test_arrows_walk_through_every_contact_and_coil_and_back() -> None:
    async with bench() as b:
        await b.to("ladder")
        count = sum(len(b.session.reading(r)) + len(r.actions) for r in b.session.program.rungs)
        seen = [(0, 0)]
        for _ in range(count):
            await b.press("right")
            seen.append((b.app.rung_index, b.app.element))
        assert len(set(seen)) == count
        assert seen[-1] == seen[-2]  # it stays at the last
        for place in reversed(seen[-8:-2]):
            await b.press("left")
            assert (b.app.rung_index, b.app.element) == place


# --- what is seen


def rows_of_rung(b: Bench, label: str) -> list[str]:
    region = b.ladder.region
    rows = [row[region.x : region.right] for row in b.text.split("\n")]
    at = next(i for i, row in enumerate(rows) if label in row)
    return rows[at : at + 3]


async def test_live_is_heavy_dead_is_light_and_the_stop_is_marked() -> None:
    async with bench() as b:
        label = "The lamp follows"
        _, wire, names = rows_of_rung(b, label)
        assert "┤ ├╌╌" in wire.replace("┫ ├", "┤ ├")
        assert "( )╌┃" in wire
        assert "▲lamp_switch" in names
        await b.press("space", "o")
        _, wire, names = rows_of_rung(b, label)
        assert "╌" not in wire
        assert "┣━━" in wire
        assert "( )━┃" in wire
        assert "▲" not in names


async def test_coil_and_load_of_a_relay_on_an_nc_contact_stand_beside_each_other() -> None:
    async with bench() as b:
        row = next(r for r in b.lines("#devices").split("\n") if "flap" in r)
        assert row.split()[-2:] == ["○", "●"]
        await b.press("e")
        row = next(r for r in b.lines("#devices").split("\n") if "flap" in r)
        assert row.split()[-2:] == ["●", "○"]


async def test_timers_show_their_time_and_a_bar() -> None:
    async with bench(size=(140, 45)) as b:
        await b.press("down", "down", "h")
        await b.wait(1_540)
        await b.wait(1_000)
        lines = b.lines("#devices").split("\n")
        at = next(i for i, row in enumerate(lines) if "warm" in row)
        bar, time = lines[at + 1].split()[0], lines[at + 1].split()[1]
        assert time == "2.5"
        assert bar.count("█") == len(bar) // 2
        await b.wait(1_900)
        await b.wait(1_900)
        lines = b.lines("#devices").split("\n")
        assert set(lines[at + 1].split()[0]) == {"█"}
        assert "●" in lines[at]


def clock_row(b: Bench) -> str:
    return next(row for row in b.lines("#devices").split("\n") if "night" in row)


async def test_a_clock_says_when_it_moves_next() -> None:
    async with bench(size=(140, 45)) as b:
        assert clock_row(b).split() == ["○", "night", "from", "23:00"]
        await b.press("e")
        assert clock_row(b).split() == ["●", "night", "until", "06:00"]


@pytest.mark.parametrize("size", [(80, 24), (140, 45)])
async def test_outputs_visibly_wait_for_the_end_of_the_scan(size: tuple[int, int]) -> None:
    async with bench(size=size) as b:

        def row() -> str:
            return next(r for r in b.lines("#devices").split("\n") if r.startswith("R1"))

        await b.press("r", "space", "i", "i")
        assert ("waits" in row()) == (size[0] > 100)
        if size[0] < 100:
            assert row().split()[-2:] == ["●", "○"]
        assert "rung 1 has power: lamp on; outputs wait for the end of the scan" in b.says
        await b.press(*["i"] * len(b.session.program.rungs))
        assert "the outputs are written: the scan is over" in b.says
        assert "waits" not in row()
        assert "●" in row()
        assert "○" not in row()


async def test_a_change_glows_for_a_moment() -> None:
    async with bench() as b:
        await b.press("space")
        await b.wait(50)
        assert "glow" in b.toned("#switches", "lamp_switch")
        await b.wait(800)
        assert "glow" not in b.toned("#switches", "lamp_switch")


async def test_only_rungs_that_changed_are_painted(monkeypatch: pytest.MonkeyPatch) -> None:
    async with bench(size=(80, 40)) as b:
        await b.wait(1_000)
        painted: list[int] = []
        monkeypatch.setattr(b.ladder, "refresh_lines", lambda y, n: painted.append(y))
        await b.wait(100)
        assert painted == []
        await b.press("space")
        await b.wait(50)
        assert set(painted) == {0}
        painted.clear()
        monkeypatch.undo()


def many(count: int) -> str:
    devices = "".join(f"relay r{n}\n" for n in range(count))
    rungs = "".join(f'rung "Label {n}" a -> r{n}\n' for n in range(count))
    return f"input a at I1\n{devices}{rungs}"


async def test_a_long_program_is_looked_at_only_where_it_is_seen() -> None:
    asked: dict[int, set[int]] = {}
    for count in (20, 2_000):
        async with bench(many(count)) as b:
            await b.press("r")
            await b.to("ladder")
            look = b.app.painting.look
            seen: set[int] = set()

            def asking(index: int, seen: set[int] = seen, look: object = look) -> object:
                seen.add(index)
                assert callable(look)
                return look(index)

            b.app.painting.look = asking  # type: ignore[method-assign, assignment]
            await b.press("end")
            assert f"Label {count - 1}" in b.text
            seen.clear()
            await b.look()
            assert set(b.ladder.in_view()) == seen
            asked[count] = set(seen)
            await b.press("home")
            assert "Label 0" in b.text
    assert len(asked[2_000]) <= len(asked[20]) + 1 <= 10


# --- forces


async def test_a_force_is_counted_named_and_let_go() -> None:
    async with bench() as b:
        await b.to("devices")
        await b.press("f", "n")
        await b.press("o")
        assert "lamp" in b.on()
        assert "!1 forced" in b.lines("#top")
        assert "!lamp" in b.lines("#devices")
        assert "forced" in b.toned("#devices", "!lamp")
        await b.press("F")
        assert "let go of lamp" in b.says
        assert "forced" not in b.lines("#top")
        await b.press("F")
        assert "nothing is forced" in b.says


async def test_a_force_lets_go_by_itself() -> None:
    async with bench() as b:
        await b.press("r")
        await b.to("devices")
        await b.press("f", "n")
        await b.wait(FORCE_MS - 100)
        assert b.session.panel.forces == {"lamp": True}
        await b.wait(200)
        assert b.session.panel.forces == {}
        assert "forced" not in b.lines("#top")


async def test_an_input_that_is_forced_shows_it_in_its_list() -> None:
    async with bench() as b:
        await b.press("f", "n", "o", "down", "up")
        assert "!━!" in b.lines("#switches")
        assert "FORCED closed" in b.lines("#detail")
        assert "lamp" in b.on()


async def test_a_force_can_be_left_by_escape() -> None:
    async with bench() as b:
        await b.press("f")
        assert b.dialogs == 1
        await b.press("escape")
        assert b.dialogs == 0
        assert b.session.panel.forces == {}


# --- why and where


async def test_why_explains_the_chosen_device() -> None:
    async with bench(size=(100, 40)) as b:
        await b.to("devices")
        await b.press("w")
        assert b.dialogs == 1
        assert "lamp" in b.text
        assert "lamp_switch" in b.text
        assert "failed its own check" not in b.text
        await b.press("escape")
        assert b.dialogs == 0


async def test_find_goes_round_the_rungs_of_a_device() -> None:
    rungs = "\n".join(f"rung a -> o{n}" for n in range(30))
    outputs = "\n".join(f"output o{n} at R{n}" for n in range(30))
    text = f"input a at I1\ninput z at I2\n{outputs}\noutput p at R99\n{rungs}\nrung z or a -> p"
    async with bench(text) as b:
        await b.press("down", "g")
        assert "z: driven by no rung, read by 31; here read by rung 31" in b.says
        assert b.ladder.scroll_offset.y > 20
        assert b.app.rung_index == 30
        await b.press("up", "g", "g")
        assert "here read by rung 2" in b.says


# --- what a terminal sends


async def test_a_paste_into_the_panel_runs_no_command() -> None:
    async with bench() as b:
        for pane in ("switches", "ladder", "devices", "chart"):
            await b.to(pane)
            before = (b.session.panel.now, b.session.running, b.session.switches(), b.session.speed)
            await b.paste("q r p space O enter\nqaxF" * 500)
            assert b.app.is_running
            assert b.dialogs == 0
            after = (b.session.panel.now, b.session.running, b.session.switches(), b.session.speed)
            assert after == before


async def test_a_paste_into_a_question_is_text_and_answers_nothing() -> None:
    async with bench() as b:
        await b.press("t")
        await b.paste("22:50\nq\nq\n")
        assert b.dialogs == 1
        assert b.app.screen.query_one(Input).value == "22:50"
        await b.press("escape", "f")
        await b.paste("nnn\n")
        assert b.dialogs == 1
        assert b.session.panel.forces == {}


HOSTILE = """
title "[bold red]Title[/] [@click=app.quit]x[/]"
input  a at I1 "[reverse]label[/reverse] [link=x]"
output o at R1 "[b]out[/b] [/nope]"
timer  tm on-delay 1s "[$error]tm"
never  "[blink]never" a and o and tm
rung "[bold]shown[/bold] as it stands [/nope]" a -> o, tm
"""


async def test_markup_is_shown_as_it_stands_everywhere() -> None:
    async with bench(HOSTILE, size=(200, 50)) as b:
        assert "[bold red]Title[/] [@click=app.quit]x[/]" in b.lines("#top")
        assert "[bold]shown[/bold] as it stands [/nope]" in b.text
        assert "[reverse]label[/reverse]" in b.lines("#switches")
        assert "[reverse]label[/reverse] [link=x]" in b.lines("#detail")
        await b.to("devices")
        assert "o - [b]out[/b] [/nope]" in b.lines("#detail")
        await b.to("chart")
        await b.press("enter")
        assert "[$error]tm" in b.text
        assert "[reverse]label[/reverse] [link=x]" in b.text
        await b.press("escape")
        b.app.say("a message [b]with[/b] [/signs]")
        await b.look()
        assert "a message [b]with[/b] [/signs]" in b.text
        await b.press("P")
        await b.fill_in("[bold]x[/nope].txt/none")
        assert "[bold]x[/nope].txt" in b.text


async def test_markup_in_the_title_of_a_menu_and_in_a_wrong_answer() -> None:
    async with bench(HOSTILE, size=(120, 40)) as b:
        await b.press("t")
        await b.fill_in("[b]a[/nope]")
        assert b.dialogs == 1
        assert "[b]" in b.text
        await b.press("escape", "x")
        await b.fill_in("[link=a]b.svg[/wrong]")
        assert b.dialogs == 1
