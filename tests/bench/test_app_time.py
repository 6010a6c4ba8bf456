"""Time on the bench: running, stepping, walking back, and going to a moment."""

from __future__ import annotations

import pytest

from rungs.bench.app import GAP_MS, BenchApp, real_clock
from rungs.bench.work import work_of
from tests.bench.harness import Bench, bench
from tests.bench.panels import BUZZ, SHED, session_of

# --- real time


async def test_time_follows_the_clock_and_not_the_frames() -> None:
    async with bench() as b:
        for _ in range(7):
            await b.look()
        assert b.session.panel.now == 0
        await b.wait(1_234)
        assert b.session.panel.now == 1_234
        assert "22:45:01.234" in b.lines("#top")


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
        assert "8h00m passed while the machine slept: paused; r runs on" in b.says
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


async def test_frames_come_by_themselves() -> None:
    app = BenchApp(session_of(), work_of(SHED))
    async with app.run_test(size=(80, 24)) as pilot:
        for _ in range(100):
            await pilot.pause(0.05)
            if app.session.panel.now >= 100:
                break
        assert app.session.panel.now >= 100


async def test_time_runs_on_below_a_dialog() -> None:
    async with bench() as b:
        await b.press("t")
        await b.wait(500)
        assert b.session.panel.now == 500


@pytest.mark.parametrize("key", ["r", "f5"])
async def test_pause_and_run(key: str) -> None:
    async with bench() as b:
        await b.press(key)
        assert "paused" in b.lines("#top")
        assert b.says == "paused"
        await b.wait(500)
        assert b.session.panel.now == 0
        await b.press(key)
        assert "running" in b.lines("#top")


async def test_messages_go_after_a_while() -> None:
    async with bench() as b:
        await b.press("u")
        assert "one second" in b.text
        for _ in range(4):
            await b.wait(GAP_MS - 100)
        assert "one second" not in b.text
        assert "lamp_switch: released" in b.lines("#detail")


# --- speeds


async def test_speeds_are_shown_and_hold() -> None:
    async with bench() as b:
        said = []
        for _ in range(4):
            await b.press("u")
            said.append(b.says)
        assert said[:2] == ["one second is 10.0 s", "one second is 60.0 s"]
        assert said[2] == said[3] == "one second is 60m00s"
        assert "running x3600" in b.lines("#top")
        await b.press("d", "d")
        await b.wait(100)
        assert b.session.panel.now == 1_000
        assert "running x10" in b.lines("#top")


async def test_a_lagging_panel_is_said_to_lag() -> None:
    async with bench(BUZZ) as b:
        await b.press("space", "u", "u", "u")
        await b.wait(50)
        assert "lagging" in b.lines("#top")


# --- steps, on and back


async def test_a_scan_on_and_back() -> None:
    async with bench() as b:
        await b.press("r", "space", "o")
        assert b.session.at == 10
        assert "one scan after 0.010 s: lamp_switch closed, lamp on" in b.says
        await b.press("o")
        assert b.says == "one scan after 0.010 s: nothing moved"
        await b.press("O")
        assert b.session.at == 10
        assert "a scan back, 0.010 s earlier: lamp_switch closed, lamp on" in b.says
        assert "in the past" in b.lines("#top")
        await b.press("o")
        assert "(the present)" in b.says
        assert "paused" in b.lines("#top")


async def test_the_record_has_a_beginning() -> None:
    async with bench() as b:
        for key in "OINE":
            # rung after rung, then the inputs
            await b.press(*([key] * (len(b.session.program.rungs) + 2) if key == "I" else [key]))
            assert b.says == "this is where the record begins", key
            assert b.session.at == 0


async def test_a_change_on_and_back() -> None:
    async with bench() as b:
        await b.press("space")
        await b.wait(1_000)
        await b.press("space", "n")
        assert b.session.at == 1_010
        assert "lamp_switch open, lamp off" in b.says
        await b.press("N")
        assert b.session.at == 10
        assert "lamp_switch closed, lamp on" in b.says
        assert "in the past" in b.lines("#top")
        assert "lamp" in b.on()
        await b.press("n")
        assert b.session.at == 1_010


async def test_an_event_on_and_back() -> None:
    async with bench() as b:
        await b.press("e")
        assert "23:00:00.000" in b.lines("#top")
        assert "night on" in b.says
        await b.press("e")
        assert "06:00:00.000" in b.lines("#top")
        await b.press("E")
        assert "23:00:00.000" in b.lines("#top")
        assert "night on" in b.says
        await b.press("l")
        assert "06:00:00.000" in b.lines("#top")
        assert b.says == "the present, paused: r lets time run"
        await b.press("l")
        assert b.says == "this is the latest moment"


async def test_nothing_to_come_is_said() -> None:
    async with bench("input a at I1\noutput o at R1\nrung a -> o") as b:
        await b.press("n")
        assert b.says == "at rest: nothing will move of itself"
        await b.press("e")
        assert b.says == "at rest: nothing will move of itself"


# --- part-way through a scan


async def test_one_rung_lights_the_rung_and_says_what_it_does() -> None:
    async with bench(size=(80, 40)) as b:
        await b.press("r", "space", "i")
        assert b.says == "the inputs and clocks are read; no rung is worked yet"
        assert "inputs read" in b.lines("#top")
        assert "2·The pump" in b.text
        await b.press("i")
        assert "rung 1 worked" in b.lines("#top")
        assert "1▸The lamp follows" in b.text
        assert "2·The pump" in b.text
        assert "rung 1 has power: lamp on" in b.says
        await b.press("i")
        assert "2▸The pump" in b.text
        assert "1 The lamp follows" in b.text
        assert "rung 2 has no power: moves nothing" in b.says


async def test_rung_after_rung_comes_to_the_same_as_one_scan_and_back_again() -> None:
    async with bench() as b:
        count = len(b.session.program.rungs)
        await b.press("r", "space", "i")
        seen = [b.session.status().rung]
        for _ in range(count):
            await b.press("i")
            seen.append(b.session.status().rung)
        assert seen == list(range(count + 1))
        await b.press("i")
        assert b.says == "the outputs are written: the scan is over"
        assert b.session.status().rung is None
        assert b.session.at == 10
        await b.press("I")
        assert b.session.status().rung == count
        await b.press(*["I"] * count)
        assert b.session.status().rung == 0
        assert b.says == "the inputs and clocks are read; no rung is worked yet"
        await b.press("I")
        assert b.session.status().rung is None
        assert b.session.at == 0
        assert "lamp" not in b.on()


async def test_running_on_or_a_scan_ends_a_scan_that_is_part_way() -> None:
    for key in ("r", "o", "l"):
        async with bench() as b:
            await b.press("r", "space", "i", "i", key)
            assert b.session.status().rung is None
            assert b.session.at == 10
            assert b.session.running == (key == "r")


async def test_stepping_without_power_says_why_not() -> None:
    async with bench() as b:
        await b.press("p")
        for key in "oine":
            await b.press(key)
            assert b.says == "the panel has no power: p switches it on", key


# --- to a time, or until a circuit closes


async def go(b: Bench, text: str) -> None:
    await b.press("t")
    await b.fill_in(text)


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("22:45", 0),  # over for today, yet recorded
        ("22:46", 60_000),
        ("22:45:12.5", 12_500),
        ("+90s", 91_000),
        ("+1m30s", 91_000),
        ("+1min30s", 91_000),
        ("12.5s", 12_500),
        ("-500ms", 500),
        ("0s", 0),
    ],
)
async def test_times_are_understood(text: str, at: int) -> None:
    async with bench() as b:
        await b.wait(1_000)
        await go(b, text)
        assert b.dialogs == 0
        assert b.session.at == at
        assert not b.session.running
        assert b.says.startswith("there")


async def test_a_clock_time_that_is_over_and_not_recorded_is_tomorrows() -> None:
    async with bench() as b:
        await go(b, "22:00")
        assert "Thu 26 Nov  22:00:00.000" in b.lines("#top")


async def test_back_by_a_stretch_and_to_a_moment_of_the_run() -> None:
    async with bench() as b:
        await go(b, "+90s")
        await go(b, "-5s")
        assert b.session.at == 85_000
        assert "in the past" in b.lines("#top")
        await go(b, "12.5s")
        assert b.session.at == 12_500
        await go(b, "90s")
        assert b.session.at == 90_000
        assert not b.past()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("25:00", "a day has 24 hours"),
        ("-5s", "the record begins later than that"),
        ("+400d", "more than a year ahead"),
        ("", "write a time or a circuit"),
        ("nothing", "nothing"),
        ("lamp and", "a contact is missing"),
    ],
)
async def test_what_is_no_time_and_no_circuit_is_told_and_can_be_mended(
    text: str, words: str
) -> None:
    async with bench() as b:
        await go(b, text)
        assert b.dialogs == 1
        assert words in b.lines("#wrong")
        await b.fill_in("+1s")
        assert b.dialogs == 0
        assert b.session.at == 1_000


async def test_until_a_circuit_closes() -> None:
    async with bench() as b:
        await b.press("down", "down", "h")
        await go(b, "warm and pump")
        assert b.session.at == 40 + 5_000  # 30 ms of debounce, seen first at 10 ms; then the timer
        assert b.says.startswith("warm and pump is closed after 5.040 s: flap on, warm on")
        await b.press("O", "O")
        await go(b, "rising warm")
        assert b.session.at == 5_040


async def test_a_circuit_that_never_closes_is_given_up() -> None:
    async with bench("input a at I1\noutput o at R1\nrung a -> o") as b:
        await go(b, "o")
        assert b.says == "at rest: nothing will move of itself"


async def test_a_question_left_by_escape_does_nothing() -> None:
    async with bench() as b:
        await b.press("t")
        await b.type("+90s")
        await b.press("escape")
        assert b.dialogs == 0
        assert b.session.at == 0
        assert b.session.running


# --- in the past


async def in_the_past(b: Bench) -> None:
    await b.press("space")
    await b.wait(500)
    await b.press("space")
    await b.wait(500)
    await go(b, "200ms")
    assert b.past()
    assert "lamp" in b.on()


async def test_running_in_the_past_replays_and_ends_in_the_present() -> None:
    async with bench() as b:
        await in_the_past(b)
        await b.press("r")
        assert "replay" in b.lines("#top")
        assert "l shows the latest" in b.says
        await b.wait(200)
        assert b.session.at == 400
        assert "lamp" in b.on()
        await b.wait(200)
        assert "lamp" not in b.on()
        await b.wait(1_000)
        assert b.session.at == 1_000
        assert not b.session.running
        assert "paused" in b.lines("#top")


@pytest.mark.parametrize("key", ["space", "h", "b", "p"])
async def test_hands_in_the_past_ask_and_begin_another_future(key: str) -> None:
    async with bench() as b:
        await in_the_past(b)
        await b.press(key)
        assert b.dialogs == 1
        assert "This moment is past" in b.text
        assert b.past()
        await b.press("a")
        assert b.dialogs == 0
        assert not b.past()
        assert b.session.recorder.ends <= 210
        # only once: now it is the present
        await b.press(key)
        assert b.dialogs == 0


async def test_hands_in_the_past_can_be_called_back() -> None:
    async with bench() as b:
        await in_the_past(b)
        await b.press("space", "l")
        assert b.dialogs == 0
        assert b.session.at == 1_000
        assert b.says == "the present: nothing was done"
        assert not b.session.switch("lamp_switch").operated


async def test_escape_leaves_the_past_as_it_was() -> None:
    async with bench() as b:
        await in_the_past(b)
        await b.press("space", "escape")
        assert b.dialogs == 0
        assert b.past()
        assert b.session.at == 200
        assert b.session.recorder.ends == 1_000


async def test_a_force_in_the_past_asks_as_well() -> None:
    async with bench() as b:
        await in_the_past(b)
        await b.press("f", "f")
        assert "This moment is past" in b.text
        await b.press("l")
        assert b.session.panel.forces == {}


async def test_start_again_in_the_past_is_a_new_panel() -> None:
    async with bench() as b:
        await in_the_past(b)
        await b.press("a")
        assert b.session.at == 0
        assert not b.past()
